; Keys by script: typed for the program when it waits for one.
;
; A key goes into the BIOS's buffer, one at a time, when the program asks for one and there is none: at INT 16h AH=00, 10, 20,
; and at the POLLS_OF_A_WAIT'th poll in vain within one tick (AH=01, 11, 21). DOS asks by INT 16h as well, so its functions
; are reached there. What follows a pause or a text is not held back for a wait: after a pause it comes with the timer's
; tick, after a text with the next look at the keyboard.
; A program with its own INT 09h, or one that reads the buffer by itself, is reached after a pause, or not at all.

BDA_KEYS_BEGIN          equ 80h         ; offsets in segment 40h; nothing of use on the earliest machines
BDA_KEYS_END            equ 82h
KEYS_BEGIN              equ 1Eh
KEYS_END                equ 3Eh
KEY_WORD_CTRL_C         equ 2E03h       ; scan code and character
KEY_WORD_ESCAPE         equ 011Bh
STALLED_TICKS           equ 18          ; between two keys that end a wait

section .hookdata
script_left:            db 0            ; 1 while something of the script is to come
script_pausing:         db 0            ; 1 in a pause
script_now:             db 0            ; 1: a text is waited for

section .staybss
        alignb  2
script_at:              resw 1          ; the element to come
script_due:             resw 1          ; tick at which a pause ends
script_typed:           resw 1          ; keys
script_done:            resw 1          ; elements
script_end_key:         resw 1          ; the last key that was to end a wait

section .stay

; script_begin: begin the script for a run.
; Input: script_code, [script_elements].  Output: none.  Destroys: AX, SI.
script_begin:
        mov     word [script_at], script_code
        xor     ax, ax
        mov     [script_typed], ax
        mov     [script_done], ax
        mov     word [script_end_key], KEY_WORD_ESCAPE
        mov     [script_pausing], al
        mov     [script_now], al
        mov     [script_left], al
        cmp     ax, [script_elements]
        je      .leave
        inc     byte [script_left]
        mov     si, script_code
        jmp     short script_enter
.leave:
        ret

; wait_met: the program, or DOS for it, waits for a key. Called on the hook's stack, interrupts off.
; Input: ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, DS.
wait_met:
        call    dos_is_free
        jne     script_step             ; what DOS asks for: its affair, but for the keys
        call    wait_keep
        ; fall through

; script_step: what comes next in the script.
; Input: ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, DS.
script_step:
        push    cs
        pop     ds
        cmp     byte [script_left], 0
        je      .leave
        mov     si, [script_at]
        mov     ax, [si + 1]
        cmp     ah, SCRIPT_OPERATION
        je      .operation
        call    key_put
        jc      .leave
        inc     word [script_typed]
        mov     ax, 3
        jmp     script_on
.operation:
        cmp     ax, SCRIPT_PAUSE
        je      .pause
        cmp     ax, SCRIPT_AFTER
        je      .after
        mov     byte [script_left], 0
.leave:
        ret
.pause:
        call    pause_on
        jc      .leave
        jmp     short script_step
.after:
        call    text_shown
        jc      .leave
        mov     byte [script_now], 0
        push    si
        mov     al, MOMENT_KEY_WAIT     ; before the key changes what is shown
        call    screen_keep
        cli
        push    cs
        pop     ds
        pop     si
        mov     al, [si + 3]
        xor     ah, ah
        add     ax, 4
        call    script_on
        jmp     short script_step

; script_on: go on to the next element.
; Input: AX = octets of this one.  Output: SI = the next.  Destroys: AX.
script_on:
        add     [script_at], ax
        inc     word [script_done]
        mov     si, [script_at]
        ; fall through

; script_enter: what begins as soon as an element is the next.
; Input: SI = element.  Output: none.  Destroys: AX.
script_enter:
        mov     ax, [si + 1]
        cmp     ax, SCRIPT_END
        je      .end
        cmp     ax, SCRIPT_PAUSE
        je      .pause
        cmp     ax, SCRIPT_AFTER
        jne     .leave
        mov     byte [script_now], 1
        ret
.pause:
        call    script_ticks
        add     ax, [si + 3]
        mov     [script_due], ax
        mov     byte [script_pausing], 1
        ret
.end:
        mov     byte [script_left], 0
.leave:
        ret

; pause_on: go on where the pause is over.
; Input: none.  Output: CF=1 when it is not.  Destroys: AX, SI.
pause_on:
        call    script_ticks
        sub     ax, [script_due]
        js      .no
        mov     byte [script_pausing], 0
        mov     ax, 5
        call    script_on
        clc
        ret
.no:
        stc
        ret

; script_pause_over: in a pause, at a tick: is it over? Called on the hook's stack.
; Input: ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, DS.
script_pause_over:
        push    cs
        pop     ds
        call    pause_on
        jc      .leave
        cmp     byte [si + 2], SCRIPT_OPERATION
        jne     script_step             ; a key
.leave:
        ret

; script_stalled: the run is over its time, and something of the script is still to come. What waits is given a key that
; usually ends a wait: Ctrl-C and ESC in turns, one a second, as long as nothing else is in the keyboard's buffer.
; Called on the hook's stack. Input: DS = ES = CS, interrupts off.  Output: none.  Destroys: AX, BX, CX, DX, DI.
script_stalled:
        mov     word [ticks_left], STALLED_TICKS
        cmp     byte [script_left], 0
        je      .leave
        push    ds
        mov     bx, BIOS_DATA
        mov     ds, bx
        mov     ax, [BDA_KEYS_HEAD]
        cmp     ax, [BDA_KEYS_TAIL]
        pop     ds
        jne     .leave
        xor     word [script_end_key], KEY_WORD_CTRL_C ^ KEY_WORD_ESCAPE
        mov     ax, [script_end_key]
        jmp     key_put
.leave:
        ret

; script_ticks: the BIOS's ticks.
; Input: none.  Output: AX.  Destroys: nothing.
script_ticks:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     ax, [es:BDA_TICKS]
        pop     es
        ret

; key_put: put a key into the BIOS's buffer, within its bounds.
; Input: AX = key, interrupts off.  Output: CF=1 when it is full.  Destroys: BX, CX, DX, DI.
key_put:
        push    ds
        mov     bx, BIOS_DATA
        mov     ds, bx
        mov     cx, [BDA_KEYS_BEGIN]
        mov     dx, [BDA_KEYS_END]
        cmp     cx, KEYS_BEGIN
        jb      .usual
        cmp     cx, dx
        jae     .usual
        cmp     dx, 100h
        jbe     .bounds
.usual:
        mov     cx, KEYS_BEGIN
        mov     dx, KEYS_END
.bounds:
        mov     bx, [BDA_KEYS_TAIL]
        mov     di, bx
        inc     di
        inc     di
        cmp     di, dx
        jb      .next
        mov     di, cx
.next:
        cmp     di, [BDA_KEYS_HEAD]
        stc
        je      .leave
        mov     [bx], ax
        mov     [BDA_KEYS_TAIL], di
        clc
.leave:
        pop     ds
        ret

; text_shown: is a text on the screen? It may go on from one row to the next.
; Input: SI = element; DS = ES = CS.  Output: CF=1 when not.  Destroys: AX, BX, CX, DX, DI.
text_shown:
        push    si
        push    si
        mov     al, MOMENT_KEY_WAIT
        call    screen_measure
        pop     di                      ; CX = octets of cells, SI = where
        jc      .leave
        shr     cx, 1
        mov     bl, [di + 3]            ; BX = length
        xor     bh, bh
        add     di, 4
        mov     dl, [di]
        call    screen_display
        push    ds
        mov     ds, ax
.cell:
        cmp     cx, bx
        jb      .over                   ; CF=1
        lodsw
        dec     cx
        cmp     al, dl
        jne     .cell
        push    cx
        push    si
        push    di
        mov     cx, bx
.same:
        inc     di
        dec     cx
        jz      .all
        lodsw
        cmp     al, [es:di]
        je      .same
.all:
        pop     di
        pop     si
        test    cx, cx
        pop     cx
        jnz     .cell
        clc
.over:
        pop     ds
.leave:
        pop     si
        ret

; script_end_section: the section `keys_end`, where there is a script: how far it got.
; Input: [script_*].  Output: CF=1 when it could not be written.  Destroys: AX, BX, CX, SI.
script_end_section:
        mov     ax, [script_elements]
        test    ax, ax
        jz      .leave                  ; CF=0
        mov     [script_part + L_keys_end.elements], ax
        mov     ax, [script_done]
        mov     [script_part + L_keys_end.done], ax
        mov     ax, [script_typed]
        mov     [script_part + L_keys_end.typed], ax
        mov     bx, [script_at]
        mov     al, [bx]
        mov     [script_part + L_keys_end.place], al
        mov     si, script_part
        mov     cx, L_keys_end_size
        mov     al, TAG_KEYS_END
        jmp     section_whole
.leave:
        ret

section .staybss
script_part:            resb L_keys_end_size
section .stay
