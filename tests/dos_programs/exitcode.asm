; EXITCODE.COM [n]: prints a line and ends by INT 21h AH=4Ch with code n (0 to 255, default 5).
; nasm -f bin -I tests/dos_programs/ -o EXITCODE.COM exitcode.asm

        cpu     8086
        bits    16
        org     100h

DEFAULT_CODE    equ 5

start:
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_CODE
        call    take_number
        jc      .usage
        test    ah, ah
        jnz     .usage
        mov     dx, text_exit
        call    put_text
        call    put_word
        mov     dx, text_end
        call    put_text
        mov     ah, DOS_EXIT
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

usage:          db "EXITCODE [n]   n 0 to 255", CR, LF, '$'
text_exit:      db "Exit: by 4Ch with code $"
text_end:       db CR, LF, '$'

%include "common.inc"
