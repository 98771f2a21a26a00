; CLEARS.COM [S]: prints its number, then clears the screen and ends. Without an argument by setting
; the current video mode again, with S by scrolling the whole window. Prints:
;       Clears: score 88.75 points
; nasm -f bin -I tests/dos_programs/ -o CLEARS.COM clears.asm

        cpu     8086
        bits    16
        org     100h

PLAIN           equ 07h
BDA_COLUMNS     equ 4Ah
BDA_LAST_ROW    equ 84h                 ; EGA and later; 0 before

start:
        mov     dx, text_score
        call    put_text
        mov     si, COMMAND_TAIL
        call    skip_blanks
        and     al, 0DFh
        cmp     al, 'S'
        je      .scroll
        mov     ah, 0Fh
        int     10h
        and     al, 7Fh                 ; bit 7 would keep the memory
        mov     ah, 00h
        int     10h
        jmp     short .leave
.scroll:
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     dl, [es:BDA_COLUMNS]
        dec     dl
        mov     dh, [es:BDA_LAST_ROW]
        test    dh, dh
        jnz     .rows_known
        mov     dh, 24
.rows_known:
        xor     cx, cx
        mov     bh, PLAIN
        mov     ax, 0600h
        push    bp                      ; some BIOSes change it when they scroll
        int     10h
        pop     bp
        mov     ah, 0Fh                 ; BH = the page shown
        int     10h
        xor     dx, dx
        mov     ah, 02h
        int     10h
.leave:
        mov     ax, DOS_EXIT << 8
        int     21h

text_score:     db "Clears: score 88.75 points", CR, LF, '$'

%include "common.inc"
