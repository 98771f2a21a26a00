; DIVZERO.COM: prints a line and divides by zero. Whoever owns INT 0 decides what follows; if the
; program goes on behind the division (an 8086 with a handler that returns) it says so.
; nasm -f bin -I tests/dos_programs/ -o DIVZERO.COM divzero.asm

        cpu     8086
        bits    16
        org     100h

start:
        mov     dx, text_now
        call    put_text
        xor     cx, cx
        mov     ax, 1
        div     cl
        mov     dx, text_behind
        call    put_text
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h

text_now:       db "Divide: by zero now", CR, LF, '$'
text_behind:    db "Divide: went on behind it", CR, LF, '$'

%include "common.inc"
