; BLAST.COM file: sends a file's octets out of COM1 at 115,200 baud, bare and polled: the best that any line protocol
; could come to on the same port. 8N1, divisor 1, without interrupts or FIFO. Prints:
;       Blast: 65536 octets
; Where there is no COM1 or no such file it says so and ends with exit code 1.
; nasm -f bin -I tests/dos_programs/ -o BLAST.COM blast.asm

        cpu     8086
        bits    16
        org     100h

BDA_COM1        equ 00h
DATA            equ 0                   ; registers, from the port's base
LINE_CONTROL    equ 3
MODEM_CONTROL   equ 4
LINE_STATUS     equ 5
DIVISOR_ACCESS  equ 80h                 ; LINE_CONTROL
EIGHT_N_ONE     equ 03h
DTR_RTS         equ 03h                 ; MODEM_CONTROL
CAN_SEND        equ 20h                 ; LINE_STATUS
ALL_SENT        equ 40h
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
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     di, [es:BDA_COM1]       ; DI = base from here on
        test    di, di
        jz      .none
        call    set_line
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
        lea     dx, [di + LINE_STATUS]
.drain:
        in      al, dx
        test    al, ALL_SENT
        jz      .drain
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

; set_line: 8N1 at divisor 1, DTR and RTS on.
; Input: DI = base.  Output: none.  Destroys: AX, DX.
set_line:
        lea     dx, [di + LINE_CONTROL]
        mov     al, DIVISOR_ACCESS
        out     dx, al
        mov     dx, di
        mov     al, 1
        out     dx, al
        inc     dx
        mov     al, 0
        out     dx, al
        lea     dx, [di + LINE_CONTROL]
        mov     al, EIGHT_N_ONE
        out     dx, al
        lea     dx, [di + MODEM_CONTROL]
        mov     al, DTR_RTS
        out     dx, al
        ret

usage:          db "BLAST file", CR, LF, '$'
text_blast:     db "Blast: $"
text_octets:    db " octets", CR, LF, '$'
text_none:      db "Blast: there is no COM1", CR, LF, '$'
text_no_file:   db "Blast: the file can not be read", CR, LF, '$'

%include "common.inc"

section .data
octets:         dd 0

section .bss
handle:         resw 1
buffer:         resb PIECE
