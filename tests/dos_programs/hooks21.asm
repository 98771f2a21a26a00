; HOOKS21.COM: hooks INT 21h itself, prints through its hook, unhooks and ends. Prints:
;       Hooks: INT 21h is mine
;       0123456789
;       Hooks: 14 calls seen
; Seen are one call of 09h, twelve of 02h and the 25h that takes the hook away; more means that
; someone else made calls through the hook while it was there.
; nasm -f bin -I tests/dos_programs/ -o HOOKS21.COM hooks21.asm

        cpu     8086
        bits    16
        org     100h

start:
        cld
        mov     ax, 3521h
        int     21h
        mov     [before], bx
        mov     [before + 2], es
        mov     dx, hook
        mov     ax, 2521h
        int     21h
        mov     dx, text_mine
        call    put_text
        mov     si, digits_line
.next:
        lodsb
        call    put_char
        cmp     al, LF
        jne     .next
        push    ds
        lds     dx, [before]
        mov     ax, 2521h
        int     21h
        pop     ds
        mov     dx, text_hooks
        call    put_text
        mov     ax, [calls]
        call    put_word
        mov     dx, text_seen
        call    put_text
        mov     ax, DOS_EXIT << 8
        int     21h

; hook: count the call and go on where INT 21h went before. Uses no stack of its own; the flags that
; the caller passes in are not changed for DOS, which takes none.
hook:
        inc     word [cs:calls]
        jmp     far [cs:before]

calls:          dw 0
before:         dw 0, 0
text_mine:      db "Hooks: INT 21h is mine", CR, LF, '$'
digits_line:    db "0123456789", CR, LF
text_hooks:     db "Hooks: $"
text_seen:      db " calls seen", CR, LF, '$'

%include "common.inc"
