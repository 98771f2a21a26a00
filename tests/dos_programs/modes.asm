; MODES.COM: writes a number straight to video memory, sets mode 04h, draws, goes back to the text mode from before (which
; clears the screen) and ends there:
;       Modes: score 640.5 points
; nasm -f bin -I tests/dos_programs/ -o MODES.COM modes.asm

        cpu     8086
        bits    16
        org     100h

start:
        cld
        mov     ah, 0Fh
        int     10h
        mov     [mode], al
        mov     ax, 0B800h
        mov     es, ax
        mov     di, 160                 ; the second row
        mov     si, text_score
        mov     cx, text_end - text_score
        mov     ah, 1Fh
.letter:
        lodsb
        stosw
        loop    .letter
        mov     ax, 0004h
        int     10h
        mov     cx, 100                 ; a diagonal of 100 points
.point:
        push    cx
        mov     ax, 0C01h
        mov     bh, 0
        mov     dx, cx
        int     10h
        pop     cx
        loop    .point
        mov     al, [mode]
        mov     ah, 00h
        int     10h
        mov     ax, DOS_EXIT << 8
        int     21h

mode:           db 0
text_score:     db "Modes: score 640.5 points"
text_end:

%include "common.inc"
