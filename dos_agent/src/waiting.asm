; Waiting on the line: its own clock, and the person who may have enough of it.

INT_KEYBOARD            equ 16h
KEY_LOOK                equ 01h
KEY_TAKE                equ 00h
KEY_ESCAPE              equ 1Bh
KEY_CTRL_C              equ 03h
BDA_BREAK               equ 71h         ; bit 7: Ctrl-Break was pressed
BDA_BREAK_PRESSED       equ 80h
PATIENCE_STEP           equ 64          ; looks at the clock between two looks at the timer's counter
DEAD_COUNTS             equ 3           ; timer counts, in units of 65536, after which ticks are taken to stand still

; ----------------------------------------------------------------------------------------------
; ticks_begin: start the line's own clock.
; Input: none.  Output: none.  Destroys: AX.
ticks_begin:
        xor     ax, ax
        mov     [ticks_count], ax
        mov     [ticks_idle], ax
        mov     [ticks_idle + 2], ax
        mov     [uart_sent_tick], ax
        mov     [ticks_until_look], ax
        ret

; ticks_now: the line's own clock.
; Input: none.  Output: AX = ticks of 54.9 ms since ticks_begin (mod 65536).  Destroys: CX.
;
; It goes by the BIOS's ticks. Where these stand still (a program left the timer interrupt masked, or another rate),
; it goes by the counter of the timer itself: look now and then, and add what it has counted down.
ticks_now:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     ax, [es:BDA_TICKS]
        pop     es
        cmp     ax, [ticks_seen]
        jne     .ticked
        dec     word [ticks_until_look]
        jg      .done
        mov     word [ticks_until_look], PATIENCE_STEP
        call    pit_count
        mov     cx, [ticks_counter]
        mov     [ticks_counter], ax
        sub     cx, ax                  ; CX = counted down since
        jnc     .add
        add     cx, ax                  ; began anew in between: at least what was left then
.add:
        add     [ticks_idle], cx
        adc     word [ticks_idle + 2], 0
        cmp     word [ticks_idle + 2], DEAD_COUNTS
        jb      .done
        dec     word [ticks_idle + 2]   ; each 65536 counts more is a tick
        inc     word [ticks_count]
        jmp     short .done
.ticked:
        mov     [ticks_seen], ax
        mov     word [ticks_idle], 0
        mov     word [ticks_idle + 2], 0
        inc     word [ticks_count]
.done:
        mov     ax, [ticks_count]
        ret

; ----------------------------------------------------------------------------------------------
; stop_wanted: has the person asked to stop: ESC, Ctrl-C or Ctrl-Break? Other keys stay in the buffer.
; Input: none.  Output: CF=1 when so.  Destroys: AX.
stop_wanted:
        cmp     byte [ctrl_c_seen], 1
        cmc
        jc      .done
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        test    byte [es:BDA_BREAK], BDA_BREAK_PRESSED
        pop     es
        stc
        jnz     .wanted
        mov     ah, KEY_LOOK
        int     INT_KEYBOARD
        jz      .no
        cmp     al, KEY_ESCAPE
        je      .take
        cmp     al, KEY_CTRL_C
        jne     .no
.take:
        mov     ah, KEY_TAKE
        int     INT_KEYBOARD
.wanted:
        mov     byte [ctrl_c_seen], 1
        stc
.done:
        ret
.no:
        clc
        ret

        section .bss
ctrl_c_seen:            resb 1          ; Ctrl-C was met on the way
        alignb  2
ticks_count:            resw 1
ticks_seen:             resw 1
ticks_counter:          resw 1
ticks_idle:             resd 1          ; timer counts since the BIOS's ticks last moved
ticks_until_look:       resw 1
        section .text
