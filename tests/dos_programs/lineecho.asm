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
BDA_TICKS       equ 6Ch
WAIT_TICKS      equ 2

start:
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_DIVISOR
        call    take_number
        jc      .usage
        test    ax, ax
        jz      .usage
        mov     cx, ax
        call    open_line               ; BX = base from here on
        jz      .none
        mov     al, 'A'
.letter:
        call    send
        inc     ax
        cmp     al, 'Z'
        jbe     .letter
        xor     cx, cx                  ; CX = octets sent back
.echo:
        mov     ah, RECEIVED
        call    wait_status
        lea     dx, [bx + DATA]
        in      al, dx
        call    send
        inc     cx
        cmp     al, 'q'
        jne     .echo
        mov     ah, ALL_SENT
        call    wait_status
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

; send: wait until the port takes an octet, give it one.
; Input: AL, BX = base.  Output: none.  Destroys: DX.
send:
        push    ax
        mov     ah, CAN_SEND
        call    wait_status
        pop     ax
        lea     dx, [bx + DATA]
        out     dx, al
        ret

usage:          db "LINEECHO [divisor]   divisor 1 to 65535", CR, LF, '$'
text_line:      db "Line: $"
text_back:      db " octets sent back", CR, LF, '$'
text_none:      db "Line: there is no COM1", CR, LF, '$'

%include "common.inc"
%include "line.inc"
