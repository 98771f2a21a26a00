; SCREEN.COM: prints what stands on the text screen, for a look at it from outside by redirection.
; The first line tells mode, size and cursor (row, column, from 0); then the rows, without blanks at
; their ends; rows after the last one with text are left out. Characters below 20h show as '?'.
;       Screen: mode 03h, 80 x 25, cursor 4 0
; In a graphics mode only the first line, with the BIOS's columns and rows.
; nasm -f bin -I tests/dos_programs/ -o SCREEN.COM screen.asm

        cpu     8086
        bits    16
        org     100h

BDA_MODE        equ 49h
BDA_COLUMNS     equ 4Ah
BDA_PAGE_START  equ 4Eh
BDA_PAGE        equ 62h
BDA_LAST_ROW    equ 84h                 ; EGA and later; 0 before
MOST_CELLS      equ 132 * 60

start:
        cld
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     bh, [es:BDA_PAGE]
        mov     ah, 03h
        int     10h
        mov     [cursor], dx
        mov     al, [es:BDA_MODE]
        mov     [mode], al
        mov     ax, [es:BDA_COLUMNS]
        mov     [columns], ax
        mov     al, [es:BDA_LAST_ROW]
        mov     ah, 0
        test    al, al
        jnz     .rows_known
        mov     al, 24
.rows_known:
        inc     ax
        mov     [rows], ax
        mul     word [columns]
        cmp     ax, MOST_CELLS
        jbe     .fits
        mov     ax, MOST_CELLS
.fits:
        mov     cx, ax
        mov     si, [es:BDA_PAGE_START]
        mov     ax, 0B800h
        mov     bl, [mode]
        cmp     bl, 7
        jne     .colour
        mov     ax, 0B000h
.colour:
        mov     di, cells               ; all of it first: printing may move the screen
        push    ds
        pop     es
        push    ds
        mov     ds, ax
.cell:
        lodsw
        stosb
        loop    .cell
        pop     ds
        call    put_heading
        cmp     bl, 7
        je      .text
        cmp     bl, 3
        ja      .leave
.text:
        call    last_row
        mov     cx, ax
        jcxz    .leave
        mov     si, cells
.row:
        call    put_row
        loop    .row
.leave:
        mov     ax, DOS_EXIT << 8
        int     21h

; put_heading: the first line.
; Input: [mode], [columns], [rows], [cursor].  Output: none.  Destroys: AX, CX, DX, DI.
put_heading:
        mov     al, [mode]
        mov     ah, 0
        mov     cl, 4
        shl     ax, cl
        shr     al, cl                  ; AH, AL = the two digits
        mov     di, mode_digits
        xchg    al, ah
        call    .hex
        mov     al, ah
        call    .hex
        mov     dx, text_mode
        call    put_text
        mov     ax, [columns]
        call    put_word
        mov     dx, text_by
        call    put_text
        mov     ax, [rows]
        call    put_word
        mov     dx, text_cursor
        call    put_text
        mov     al, [cursor + 1]
        mov     ah, 0
        call    put_word
        mov     al, ' '
        call    put_char
        mov     al, [cursor]
        mov     ah, 0
        call    put_word
        jmp     put_newline
.hex:
        add     al, '0'
        cmp     al, '9'
        jbe     .digit
        add     al, 'A' - '9' - 1
.digit:
        stosb
        ret

put_newline:
        mov     dx, text_end
        jmp     put_text

; row_length: how long a row is without the blanks at its end.
; Input: SI = row.  Output: DX = length.  Destroys: BX.
row_length:
        mov     dx, [columns]
        mov     bx, dx
.back:
        test    bx, bx
        jz      .done
        dec     bx
        cmp     byte [si + bx], 0       ; zeros are blank too
        je      .blank
        cmp     byte [si + bx], ' '
        jne     .done
.blank:
        dec     dx
        jmp     short .back
.done:
        ret

; last_row: how many rows there are up to the last with text.
; Input: [cells], [rows].  Output: AX.  Destroys: BX, CX, DX, SI.
last_row:
        mov     ax, 0
        mov     cx, 0
        mov     si, cells
.next:
        inc     cx
        call    row_length
        test    dx, dx
        jz      .empty
        mov     ax, cx
.empty:
        add     si, [columns]
        cmp     cx, [rows]
        jb      .next
        ret

; put_row: print a row.
; Input: SI = row.  Output: SI = next row.  Destroys: AX, BX, DX.
put_row:
        push    cx
        call    row_length
        mov     cx, dx
        push    si
        jcxz    .end
.next:
        lodsb
        cmp     al, ' '
        jae     .put
        mov     al, '?'
.put:
        call    put_char
        loop    .next
.end:
        call    put_newline
        pop     si
        add     si, [columns]
        pop     cx
        ret

text_mode:      db "Screen: mode "
mode_digits:    db "00h, $"
text_by:        db " x $"
text_cursor:    db ", cursor $"
text_end:       db CR, LF, '$'

%include "common.inc"

section .bss
cursor:         resw 1
columns:        resw 1
rows:           resw 1
mode:           resb 1
cells:          resb MOST_CELLS
