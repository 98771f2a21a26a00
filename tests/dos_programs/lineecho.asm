; LINEECHO.COM [divisor]: sends the alphabet out of COM1, then sends back what comes in, up to and
; with a 'q'. 8N1; the divisor of 1.8432 MHz / 16 is 12 (9600 baud) unless given. Polled, without
; interrupts or FIFO: whoever sends waits for each octet to come back. Prints:
;       Line: 14 octets sent back
; Where the BIOS has no COM1 (the word at 40:00 is zero) it says so and ends with exit code 1.
; nasm -f bin -I tests/dos_programs/ -o LINEECHO.COM lineecho.asm

        cpu     8086
        bits    16
        org     100h

DEFAULT_DIVISOR equ 12
BDA_COM1        equ 00h
BDA_TICKS       equ 6Ch
WAIT_TICKS      equ 2
DATA            equ 0                   ; registers, from the port's base
DIVISOR_LOW     equ 0
DIVISOR_HIGH    equ 1
LINE_CONTROL    equ 3
MODEM_CONTROL   equ 4
LINE_STATUS     equ 5
DIVISOR_ACCESS  equ 80h                 ; LINE_CONTROL
EIGHT_N_ONE     equ 03h
DTR_RTS         equ 03h                 ; MODEM_CONTROL
RECEIVED        equ 01h                 ; LINE_STATUS
CAN_SEND        equ 20h
ALL_SENT        equ 40h

start:
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_DIVISOR
        call    take_number
        jc      .usage
        test    ax, ax
        jz      .usage
        mov     cx, ax
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     bx, [es:BDA_COM1]       ; BX = base from here on
        test    bx, bx
        jz      .none
        call    set_line
        mov     al, 'A'
.letter:
        call    send
        inc     ax
        cmp     al, 'Z'
        jbe     .letter
        xor     cx, cx                  ; CX = octets sent back
.echo:
        lea     dx, [bx + LINE_STATUS]
.wait:
        in      al, dx
        test    al, RECEIVED
        jz      .wait
        lea     dx, [bx + DATA]
        in      al, dx
        call    send
        inc     cx
        cmp     al, 'q'
        jne     .echo
        lea     dx, [bx + LINE_STATUS]
.drain:
        in      al, dx
        test    al, ALL_SENT
        jz      .drain
        mov     si, WAIT_TICKS          ; whatever carries the line on passes the last octet on
.tick:
        mov     di, [es:BDA_TICKS]
.same:
        cmp     di, [es:BDA_TICKS]
        je      .same
        dec     si
        jnz     .tick
        mov     dx, text_line
        call    put_text
        mov     ax, cx
        call    put_word
        mov     dx, text_back
        call    put_text
        mov     ax, DOS_EXIT << 8
        int     21h
.none:
        mov     dx, text_none
        call    put_text
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

; set_line: 8N1 at the divisor, DTR and RTS on.
; Input: BX = base, CX = divisor.  Output: none.  Destroys: AX, DX.
set_line:
        lea     dx, [bx + LINE_CONTROL]
        mov     al, DIVISOR_ACCESS
        out     dx, al
        lea     dx, [bx + DIVISOR_LOW]
        mov     al, cl
        out     dx, al
        lea     dx, [bx + DIVISOR_HIGH]
        mov     al, ch
        out     dx, al
        lea     dx, [bx + LINE_CONTROL]
        mov     al, EIGHT_N_ONE
        out     dx, al
        lea     dx, [bx + MODEM_CONTROL]
        mov     al, DTR_RTS
        out     dx, al
        ret

; send: wait until the port takes an octet, give it one.
; Input: AL, BX = base.  Output: none.  Destroys: DX.
send:
        push    ax
        lea     dx, [bx + LINE_STATUS]
.wait:
        in      al, dx
        test    al, CAN_SEND
        jz      .wait
        pop     ax
        lea     dx, [bx + DATA]
        out     dx, al
        ret

usage:          db "LINEECHO [divisor]   divisor 1 to 65535", CR, LF, '$'
text_line:      db "Line: $"
text_back:      db " octets sent back", CR, LF, '$'
text_none:      db "Line: there is no COM1", CR, LF, '$'

%include "common.inc"
