; GRAPHICS.COM [mode]: prints a line in text mode, goes to a graphics mode, draws, and ends there.
; The mode is typed as its two hexadecimal digits, of those 0 to 9 only: 04, 06, 13 (default).
; A display adapter that does not take the mode gets 80 x 25 text back, a line and exit code 1.
; nasm -f bin -I tests/dos_programs/ -o GRAPHICS.COM graphics.asm

        cpu     8086
        bits    16
        org     100h

DEFAULT_MODE    equ 13

start:
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_MODE
        call    take_number
        jc      .usage
        cmp     ax, 99
        ja      .usage
        mov     cl, 10                  ; tens and units become two hexadecimal digits
        div     cl
        mov     bx, '00'
        add     bx, ax
        mov     [mode_digits], bx
        mov     cl, 4
        shl     al, cl
        or      al, ah
        mov     [mode], al
        mov     dx, text_leaving
        call    put_mode_line
        mov     al, [mode]
        mov     ah, 00h
        int     10h
        mov     ah, 0Fh
        int     10h
        cmp     al, [mode]
        jne     .not_there
        mov     cx, 100                 ; a diagonal of 100 points
.point:
        push    cx
        mov     ax, 0C01h
        mov     bh, 0
        mov     dx, cx
        int     10h
        pop     cx
        loop    .point
        mov     ax, DOS_EXIT << 8
        int     21h
.not_there:
        mov     ax, 0003h
        int     10h
        mov     dx, text_not_there
        call    put_mode_line
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

; put_mode_line: print a text, the mode and the end of the line.
; Input: DX = text.  Output: none.  Destroys: DX.
put_mode_line:
        call    put_text
        mov     dx, mode_digits
        jmp     put_text

usage:          db "GRAPHICS [mode]   mode 04, 06 or 13", CR, LF, '$'
text_leaving:   db "Graphics: leaving in mode $"
text_not_there: db "Graphics: this display adapter has no mode $"
mode_digits:    db "00h", CR, LF, '$'
mode:           db 0

%include "common.inc"
