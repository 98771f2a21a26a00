; CTRLC.COM: waits for a key through DOS (INT 21h AH=08h), where Ctrl-C ends a program. Any other
; key is reported and the program ends with exit code 0. Prints:
;       CtrlC: waiting for a key
;       CtrlC: key 65
; nasm -f bin -I tests/dos_programs/ -o CTRLC.COM ctrlc.asm

        cpu     8086
        bits    16
        org     100h

start:
        mov     dx, text_waiting
        call    put_text
        mov     ah, 08h
        int     21h
        mov     dx, text_key
        call    put_text
        mov     ah, 0
        call    put_word
        mov     dx, text_end
        call    put_text
        mov     ax, DOS_EXIT << 8
        int     21h

text_waiting:   db "CtrlC: waiting for a key", CR, LF, '$'
text_key:       db "CtrlC: key $"
text_end:       db CR, LF, '$'

%include "common.inc"
