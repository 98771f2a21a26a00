; EXIT20.COM: prints a line and ends by INT 20h, which never passes INT 21h AH=4Ch.
; nasm -f bin -o EXIT20.COM exit20.asm

        cpu     8086
        bits    16
        org     100h

        mov     dx, text
        mov     ah, 09h
        int     21h
        int     20h

text:           db "Exit: by INT 20h", 0Dh, 0Ah, '$'
