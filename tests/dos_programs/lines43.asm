; LINES43.COM: sets 43 (EGA) or 50 lines (VGA), prints one line through DOS and writes another
; straight into the last row of video memory. The lines stay set. Prints:
;       Lines: 50 rows
; and, in the last row, from its first column:
;       Lines: row 50 written directly
; Without an EGA or VGA it says so and ends with exit code 1.
; nasm -f bin -I tests/dos_programs/ -o LINES43.COM lines43.asm

        cpu     8086
        bits    16
        org     100h

BDA_COLUMNS     equ 4Ah
BDA_PAGE_START  equ 4Eh
BDA_LAST_ROW    equ 84h
PLAIN           equ 07h

start:
        cld
        mov     ah, 12h                 ; an EGA or VGA BIOS answers in BL
        mov     bl, 10h
        int     10h
        cmp     bl, 10h
        je      .none
        mov     ah, 0Fh
        int     10h
        mov     bx, 0B000h
        cmp     al, 7
        je      .set
        mov     bx, 0B800h
        mov     al, 3
.set:
        push    bx
        mov     ah, 00h
        int     10h
        mov     ax, 1112h               ; the 8 x 8 font, with as many rows as fit
        mov     bl, 0
        int     10h
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_LAST_ROW]
        mov     ah, 0
        inc     ax
        mov     [rows], ax
        mov     dx, text_lines
        call    put_text
        call    put_word
        mov     dx, text_rows
        call    put_text
        mov     ax, [rows]              ; two digits into the text for the last row
        mov     cl, 10
        div     cl
        add     ax, '00'
        mov     [direct_row], ax
        mov     ax, [rows]
        dec     ax
        mul     word [es:BDA_COLUMNS]
        shl     ax, 1
        add     ax, [es:BDA_PAGE_START]
        mov     di, ax
        pop     es
        mov     si, direct
        mov     cx, direct_end - direct
        mov     ah, PLAIN
.cell:
        lodsb
        stosw
        loop    .cell
        mov     ax, DOS_EXIT << 8
        int     21h
.none:
        mov     dx, text_none
        call    put_text
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h

text_lines:     db "Lines: $"
text_rows:      db " rows", CR, LF, '$'
text_none:      db "Lines: this display adapter has 25 rows only", CR, LF, '$'
direct:         db "Lines: row "
direct_row:     db "00 written directly"
direct_end:

%include "common.inc"

section .bss
rows:           resw 1
