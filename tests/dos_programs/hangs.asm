; HANGS.COM [C]: prints a line and then waits for interrupts for ever; with C it turns them off and goes round. Prints:
;       Hangs: from here on nothing happens
; nasm -f bin -I tests/dos_programs/ -o HANGS.COM hangs.asm

        cpu     8086
        bits    16
        org     100h

start:
        mov     dx, text_hangs
        call    put_text
        mov     si, COMMAND_TAIL
        call    skip_blanks
        and     al, 0DFh
        cmp     al, 'C'
        jne     .for_ever
        cli
.deaf:
        jmp     short .deaf
.for_ever:
        hlt
        jmp     short .for_ever

text_hangs:     db "Hangs: from here on nothing happens", CR, LF, '$'

%include "common.inc"
