; BLAST.COM file: sends a file's octets out of COM1 at 115,200 baud, bare and polled: the best that any line protocol
; could come to on the same port. 8N1, divisor 1, without interrupts or FIFO. Prints:
;       Blast: 65536 octets
; Where there is no COM1 or no such file it says so and ends with exit code 1.
; nasm -f bin -I tests/dos_programs/ -o BLAST.COM blast.asm

        cpu     8086
        bits    16
        org     100h

FASTEST         equ 1                   ; divisor
DOS_OPEN        equ 3D00h
DOS_READ        equ 3Fh
PIECE           equ 16384

start:
        cld
        mov     si, COMMAND_TAIL
        call    skip_blanks
        mov     dx, si
        cmp     al, CR
        je      .usage
.name:
        lodsb
        cmp     al, CR
        jne     .name
        mov     byte [si - 1], 0
        mov     ax, DOS_OPEN
        int     21h
        jc      .no_file
        mov     [handle], ax
        mov     cx, FASTEST
        call    open_line
        jz      .none
        mov     di, bx                  ; DI = base from here on
.piece:
        mov     bx, [handle]
        mov     cx, PIECE
        mov     dx, buffer
        mov     ah, DOS_READ
        int     21h
        jc      .no_file
        test    ax, ax
        jz      .sent
        add     [octets], ax
        adc     word [octets + 2], 0
        mov     cx, ax
        mov     si, buffer
        lea     dx, [di + LINE_STATUS]
.octet:
        in      al, dx
        test    al, CAN_SEND
        jz      .octet
        lodsb
        xchg    dx, di
        out     dx, al
        xchg    dx, di
        loop    .octet
        jmp     short .piece
.sent:
        mov     bx, di
        mov     ah, ALL_SENT
        call    wait_status
        mov     dx, text_blast
        call    put_text
        mov     ax, [octets]
        mov     dx, [octets + 2]
        mov     cl, 0
        call    put_fixed
        mov     dx, text_octets
        call    put_text
        mov     ax, DOS_EXIT << 8
        int     21h
.none:
        mov     dx, text_none
        jmp     short .failed
.no_file:
        mov     dx, text_no_file
.failed:
        call    put_text
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

usage:          db "BLAST file", CR, LF, '$'
text_blast:     db "Blast: $"
text_octets:    db " octets", CR, LF, '$'
text_none:      db "Blast: there is no COM1", CR, LF, '$'
text_no_file:   db "Blast: the file can not be read", CR, LF, '$'

%include "common.inc"
%include "line.inc"

section .data
octets:         dd 0

section .bss
handle:         resw 1
buffer:         resb PIECE
