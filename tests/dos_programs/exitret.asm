; EXITRET.COM: prints a line and ends by a near RET to the INT 20h at PSP:0000.
; nasm -f bin -o EXITRET.COM exitret.asm

        cpu     8086
        bits    16
        org     100h

        mov     dx, text
        mov     ah, 09h
        int     21h
        ret                             ; DOS has put a zero on the stack

text:           db "Exit: by RET", 0Dh, 0Ah, '$'
