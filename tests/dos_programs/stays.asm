; STAYS.COM [27 | 31 [code]]: prints a line and stays resident, by INT 27h (as without an argument)
; or by INT 21h AH=31h with a code (0 to 255, default 9). Nothing is hooked: what stays is the PSP
; and a block of 256 octets, 512 in all.
; nasm -f bin -I tests/dos_programs/ -o STAYS.COM stays.asm

        cpu     8086
        bits    16
        org     100h

DEFAULT_CODE    equ 9
STAYING         equ 512                 ; octets from the start of the PSP

start:
        mov     si, COMMAND_TAIL
        mov     ax, 27
        call    take_number
        jc      .usage
        cmp     ax, 27
        je      .by_27
        cmp     ax, 31
        jne     .usage
        mov     ax, DEFAULT_CODE
        call    take_number
        jc      .usage
        test    ah, ah
        jnz     .usage
        mov     dx, text_31
        call    put_text
        call    put_word
        mov     dx, text_end
        call    put_text
        mov     ah, 31h
        mov     dx, STAYING / 16
        int     21h
.by_27:
        mov     dx, text_27
        call    put_text
        mov     dx, STAYING             ; offset behind what stays
        int     27h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

usage:          db "STAYS [27 | 31 [code]]   code 0 to 255", CR, LF, '$'
text_27:        db "Stays: by INT 27h", CR, LF, '$'
text_31:        db "Stays: by 31h with code $"
text_end:       db CR, LF, '$'

%include "common.inc"
