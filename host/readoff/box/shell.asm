; COMMAND.COM of the test machine. 8086 instructions only.
;
; It makes the INT 21h calls that the Python side asks for, one after the other; what the lines mean
; is worked out there (shell.py). The calls are real ones, so hooks see what they would see.
; nasm -f bin -o shell.bin shell.asm      (a test assembles this file and compares)

        cpu     8086
        bits    16
        org     100h

start:
        jmp     short next
gate:   dw      0, 0F000h               ; filled in: the far gate in the ROM
        dw      buffer
next:
        cli                             ; after a program has run, the stack is taken anew
        mov     ax, cs
        mov     ss, ax
        mov     sp, stack_top
        sti
        mov     ds, ax
        mov     es, ax
        cld
        call    far [gate]              ; sets registers and the buffer for the next call
        int     21h
        pushf
        pop     word [cs:flags]
        mov     [cs:answer], ax
        jmp     short next

answer: dw      0                       ; AX and flags of the call, read by the Python side
flags:  dw      0
buffer: times 640 db 0
        times 128 dw 0
stack_top:
