; The hot key: Ctrl-Alt and a letter keep the text screen while a program runs.
;
; It is seen at INT 09h, before the BIOS's handler, which then does with it what it does; the key that this may put into
; the buffer is taken out again. A program with its own INT 09h that does not pass keys on is out of reach.

KEYBOARD_DATA           equ 60h
BDA_SHIFTS              equ 17h
SHIFTS_CTRL_ALT         equ 0Ch
HOT_KEY                 equ 25h         ; K, unless told otherwise
VECTOR_KEYBOARD         equ 09h

section .hookdata
old_keyboard:           dd 0
hot_key:                db HOT_KEY      ; scan code; 0: none

section .hooks

; hook_keyboard: INT 09h.
hook_keyboard:
        test    byte [cs:gate], GATE_IDLE
        jnz     .pass
        push    ax
        in      al, KEYBOARD_DATA
        cmp     al, [cs:hot_key]
        pop     ax
        je      .key
.pass:
        jmp     far [cs:old_keyboard]
.key:
        push    ds
        push    ax
        mov     ds, [cs:bios_data]
        mov     al, [BDA_SHIFTS]
        and     al, SHIFTS_CTRL_ALT
        cmp     al, SHIFTS_CTRL_ALT
        je      .hot
        pop     ax
        pop     ds
        jmp     short .pass
.hot:
        push    word [BDA_KEYS_TAIL]
        pushf
        call    far [cs:old_keyboard]
        cli
        pop     word [BDA_KEYS_TAIL]
        pop     ax
        pop     ds
        test    byte [cs:gate], GATE_SHUT
        jnz     .leave
        work    hot_keep
.leave:
        iret

section .stay

; hot_keep: keep the screen. Called on the hook's stack, interrupts off.
; Input: ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, DS.
hot_keep:
        mov     al, MOMENT_HOT_KEY
        jmp     screen_keep

section .text

; option_take_hot: take the value of /H: a letter, or - for no hot key.
; Input: option_value.  Output: [hot_key]; CF=1 when it can't be taken.  Destroys: AX, BX, SI.
option_take_hot:
        mov     si, option_value
        cmp     word [si], '-'          ; and nothing behind it
        mov     ah, 0
        je      .set
        call    name_letter
        jc      .leave
.set:
        mov     [hot_key], ah
        clc
.leave:
        ret
