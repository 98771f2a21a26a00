; WAYS.COM way [number]: shows one line by one of the ways in which DOS programs show text.
;
;       Ways: score 1234.50 points
;
; way     how the line goes out
; 02      INT 21h AH=02h, a character a call
; 06      INT 21h AH=06h, a character a call
; 09      INT 21h AH=09h, the whole line
; 40      INT 21h AH=40h to handle 1, the whole line
; 29      INT 29h, a character a call
; 10      INT 10h AH=0Eh, a character a call
; V       written into video memory on the cursor's row; the cursor goes to the next row
; F       into the file WAYS.OUT in the current directory; nothing is shown
; The number is taken as it is typed (digits and a point, at most 12) and is 1234.50 without one.
; nasm -f bin -I tests/dos_programs/ -o WAYS.COM ways.asm

        cpu     8086
        bits    16
        org     100h

MOST_DIGITS     equ 12
BDA_MODE        equ 49h
BDA_COLUMNS     equ 4Ah
BDA_PAGE_START  equ 4Eh
BDA_PAGE        equ 62h
BDA_LAST_ROW    equ 84h                 ; EGA and later; 0 before
PLAIN           equ 07h                 ; attribute: light on dark

start:
        cld
        mov     si, COMMAND_TAIL
        call    skip_blanks
        lodsw                           ; the way: two characters, or one and what ends it
        cmp     al, CR
        je      .usage
        mov     bx, ways
        and     al, 0DFh                ; letters in either case, digits become 10h to 19h
        cmp     ah, ' '
        ja      .two
        dec     si                      ; only one was a character
        mov     ah, 0
        jmp     short .find
.two:
        and     ah, 0DFh
.find:
        cmp     [bx], ax
        je      .found
        add     bx, 4
        cmp     bx, ways_end
        jb      .find
.usage:
        mov     dx, usage
        jmp     leave_with_usage
.found:
        push    word [bx + 2]
        call    make_line
        pop     bx
        jc      .usage
        call    bx
        mov     ax, DOS_EXIT << 8
        int     21h

%define WAY(first, second) ((first) & 0DFh) | (((second) & 0DFh) << 8)
ways:           dw WAY('0', '2'), by_02
                dw WAY('0', '6'), by_06
                dw WAY('0', '9'), by_09
                dw WAY('4', '0'), by_40
                dw WAY('2', '9'), by_29
                dw WAY('1', '0'), by_10
                dw WAY('V', 0), by_video
                dw WAY('F', 0), by_file
ways_end:

; make_line: put the line together.
; Input: SI in the command tail.  Output: [line], [line_length], a '$' behind; CF=1 when the
; number is none.  Destroys: AX, CX, SI, DI.
make_line:
        call    skip_blanks
        cmp     al, CR
        jne     .number
        mov     si, default_number
.number:
        mov     di, line_number
        mov     cx, MOST_DIGITS
.digit:
        lodsb
        cmp     al, '.'
        je      .keep
        cmp     al, '0'
        jb      .end
        cmp     al, '9'
        ja      .end
.keep:
        stosb
        loop    .digit
        lodsb
.end:
        cmp     al, ' '                 ; a blank or the end of the tail must follow
        ja      .wrong
        cmp     di, line_number
        je      .wrong
        mov     si, line_rest
        mov     cx, line_rest_end - line_rest
        rep     movsb
        sub     di, line + 1            ; without the '$'
        mov     [line_length], di
        clc
        ret
.wrong:
        stc
        ret

; each_character: hand every character of the line to a routine in AL.
; Input: BX = routine.  Output: none.  Destroys: AX, CX, DX, SI.
each_character:
        mov     si, line
        mov     cx, [line_length]
.next:
        lodsb
        push    bx
        push    cx
        push    si
        call    bx
        pop     si
        pop     cx
        pop     bx
        loop    .next
        ret

; The ways. Input: [line], [line_length].  Output: none.  Destroys: all but SP.
by_02:
        mov     bx, put_char
        jmp     each_character

by_06:
        mov     bx, .one
        jmp     each_character
.one:
        mov     dl, al
        mov     ah, 06h
        int     21h
        ret

by_09:
        mov     dx, line
        jmp     put_text

by_40:
        mov     bx, 1                   ; standard output
        jmp     short write_handle

by_29:
        mov     bx, .one
        jmp     each_character
.one:
        int     29h
        ret

by_10:
        mov     bx, .one
        jmp     each_character
.one:
        mov     ah, 0Eh
        mov     bx, 0007h               ; page 0 and, in graphics, the colour
        push    bp                      ; some BIOSes change it when they scroll
        int     10h
        pop     bp
        ret

; write_handle: write the line to a handle; a failure or a short count ends the program.
; Input: BX.  Output: none.  Destroys: AX, CX, DX.
write_handle:
        mov     dx, line
        mov     cx, [line_length]
        mov     ah, 40h
        int     21h
        jc      failed
        cmp     ax, cx
        jne     failed
        ret

by_file:
        mov     dx, file_name
        xor     cx, cx
        mov     ah, 3Ch
        int     21h
        jc      failed
        mov     bx, ax
        call    write_handle
        mov     ah, 3Eh
        int     21h
        jc      failed
        ret

failed:
        mov     dx, text_failed
        call    put_text
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h

by_video:
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     bh, [es:BDA_PAGE]
        mov     ah, 03h                 ; DH = the cursor's row
        int     10h
        mov     al, [es:BDA_LAST_ROW]
        test    al, al
        jnz     .rows_known
        mov     al, 24
.rows_known:
        cmp     dh, al
        jb      .room
        push    bx                      ; on the last row: everything goes up by one
        mov     dh, al
        push    dx
        mov     dl, [es:BDA_COLUMNS]
        dec     dl
        mov     ax, 0601h
        mov     bh, PLAIN
        xor     cx, cx
        push    bp
        int     10h
        pop     bp
        pop     dx
        pop     bx
        dec     dh
.room:
        mov     al, dh                  ; row * columns * 2 + page start
        mov     ah, 0
        push    dx
        mul     word [es:BDA_COLUMNS]
        shl     ax, 1
        add     ax, [es:BDA_PAGE_START]
        mov     di, ax
        mov     ax, 0B800h
        cmp     byte [es:BDA_MODE], 7
        jne     .colour
        mov     ax, 0B000h
.colour:
        mov     es, ax
        mov     si, line
        mov     cx, [line_length]
        dec     cx                      ; without the end of line
        dec     cx
        mov     ah, PLAIN
.cell:
        lodsb
        stosw
        loop    .cell
        pop     dx
        inc     dh
        mov     dl, 0
        mov     ah, 02h
        int     10h
        ret

usage:          db "WAYS way [number]   way 02 06 09 40 29 10 V F", CR, LF, '$'
text_failed:    db "Ways: the line could not be written", CR, LF, '$'
file_name:      db "WAYS.OUT", 0
default_number: db "1234.50", CR
line_rest:      db " points", CR, LF, '$'
line_rest_end:
line:           db "Ways: score "
line_number:    times MOST_DIGITS + line_rest_end - line_rest db 0

%include "common.inc"

section .bss
line_length:    resw 1
