; CELLS.COM [8]: fills the whole text screen, each of the 256 codes again and again in all attributes, with a
; double frame above and below; then writes the video memory, as it lies there, into the file CELLS.OUT.
; With 8 it first sets the font of 8 lines: 43 rows on an EGA, 50 on a VGA. The rows stay set.
; For tests that hold what was captured against the display adapter's own memory.
; nasm -f bin -I tests/dos_programs/ -o CELLS.COM cells.asm

        cpu     8086
        bits    16
        org     100h

TAIL            equ 81h
BDA_LAST_ROW    equ 84h
COLUMNS         equ 80
VIDEO           equ 0B800h
ROW             equ 2 * COLUMNS

start:
        cld
        mov     ax, 0003h
        int     10h
        mov     si, TAIL
.skip:
        lodsb
        cmp     al, ' '
        je      .skip
        cmp     al, '8'
        jne     .set
        mov     ax, 1112h               ; the 8 x 8 font, with as many rows as fit
        mov     bl, 0
        int     10h
.set:
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_LAST_ROW]
        mov     ah, 0
        inc     ax
        cmp     al, 1                   ; an adapter older than the EGA leaves it 0
        jne     .known
        mov     al, 25
.known:
        mov     cx, ROW
        mul     cx
        mov     [octets], ax
        mov     ax, VIDEO
        mov     es, ax
        mov     di, 0
        mov     ax, 0
.cell:
        mov     [es:di], ax
        add     di, 2
        inc     al                      ; the next code; after the last one the next attribute, too
        jnz     .same
        add     ah, 11h
.same:
        add     ah, 3
        cmp     di, [octets]
        jb      .cell
        mov     di, 0
        mov     bx, 0C9BBh              ; corners above: left, right
        call    put_frame
        mov     di, [octets]
        sub     di, ROW
        mov     bx, 0C8BCh              ; and below
        call    put_frame
        mov     ah, 3Ch                 ; create the file
        mov     cx, 0
        mov     dx, name
        int     21h
        jc      .failed
        mov     bx, ax
        mov     ah, 40h                 ; write the video memory
        mov     cx, [octets]
        push    ds
        mov     dx, VIDEO
        mov     ds, dx
        mov     dx, 0
        int     21h
        pop     ds
        jc      .failed
        mov     ah, 3Eh
        int     21h
        mov     ax, DOS_EXIT << 8
        int     21h
.failed:
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h

; put_frame: a row of a double frame.
; Input: ES:DI = row, BH, BL = its corners.  Output: none.  Destroys: AX, CX, DI.
put_frame:
        mov     ah, 1Fh
        mov     al, bh
        stosw
        mov     al, 0CDh
        mov     cx, COLUMNS - 2
        rep     stosw
        mov     al, bl
        stosw
        ret

name:           db "CELLS.OUT", 0

%include "common.inc"

section .bss
octets:         resw 1
