; The ROM of the test machine: the last 8 KB below 1 MB. 8086 instructions only.
;
; What has a flow of its own (ticks, key waits, the line) is written here. The rest are gates: two
; octets, NOP and the way back, at addresses that the Python side watches. It does the service
; while the NOP is fetched and changes registers, memory and the flags on the stack.
; nasm -f bin -o rom.bin rom.asm      (a test assembles this file and compares)
;
; The first words are a table of addresses for the Python side; its order is ROM_LABELS in images.py.

        cpu     8086
        bits    16
        org     0E000h

BIOS_DATA       equ 40h
BDA_COM1        equ 00h
BDA_TICKS       equ 6Ch
BDA_MIDNIGHT    equ 70h
TICKS_A_DAY_LOW equ 00B0h
TICKS_A_DAY_TOP equ 0018h
PIC_COMMAND     equ 20h
PIC_EOI         equ 20h
KEYBOARD_DATA   equ 60h
UART_LCR        equ 3
UART_MCR        equ 4
UART_LSR        equ 5
UART_MSR        equ 6
LSR_READY       equ 01h
LSR_THRE        equ 20h
MCR_DTR_RTS     equ 03h
LCR_DLAB        equ 80h
SERIAL_TIMEOUT  equ 80h                 ; in AH after INT 14h

table:
        dw      gates, gates_end
        dw      int05, int08, int09, gate_int10, gate_int11, gate_int12, gate_int13, int14
        dw      gate_int15, int16, int17, gate_int18, gate_int19, gate_int1a, nothing, date, model
        dw      disk_table, system_table, ident, font

; ----------------------------------------------------------------------------------------------
; Gates. Those that end an interrupt return by IRET; those that routines below call, by RET.
gates:
gate_int10:     nop
                iret
gate_int11:     nop
                iret
gate_int12:     nop
                iret
gate_int13:     nop
                iret
gate_int15:     nop
                iret
gate_int16:     nop
                iret
gate_int18:     nop
                iret
gate_int19:     nop
                iret
gate_int1a:     nop
                iret
gate_key_ready: nop                     ; AL = 1 when a key waits, else 0
                ret
gate_key:       nop                     ; takes the scan code in AL; AL = 1 for Ctrl-Break
                ret
gate_reset:     nop                     ; does not come back
                ret
gate_far:       nop                     ; the command processor's gate
                retf
gates_end:

        times 5Bh - ($ - $$) db 0FFh    ; where jumps to the start of the machine have always gone
; reset: the first instructions after power-on and FFFF:0.
; Input: none.  Does not return.
reset:
        cli
        call    gate_reset
.stay:  hlt
        jmp     short .stay

; ----------------------------------------------------------------------------------------------
; int08: the tick. Counts, marks midnight, calls INT 1Ch.
; Input, Output: none.  Destroys: nothing.
int08:
        sti
        push    ax
        push    dx
        push    ds
        mov     ax, BIOS_DATA
        mov     ds, ax
        inc     word [BDA_TICKS]
        jnz     .same
        inc     word [BDA_TICKS + 2]
.same:
        cmp     word [BDA_TICKS + 2], TICKS_A_DAY_TOP
        jne     .chain
        cmp     word [BDA_TICKS], TICKS_A_DAY_LOW
        jne     .chain
        xor     ax, ax
        mov     [BDA_TICKS], ax
        mov     [BDA_TICKS + 2], ax
        mov     byte [BDA_MIDNIGHT], 1
.chain:
        int     1Ch
        mov     al, PIC_EOI
        out     PIC_COMMAND, al
        pop     ds
        pop     dx
        pop     ax
        iret

; int09: a key went down or up.
; Input, Output: none.  Destroys: nothing.
int09:
        push    ax
        in      al, KEYBOARD_DATA
        call    gate_key
        test    al, al
        jz      .done
        int     1Bh
.done:
        mov     al, PIC_EOI
        out     PIC_COMMAND, al
        pop     ax
        iret

; int16: keyboard. Functions 00 and 10 wait until a key is there.
; Input: AH.  Output: by function.  Destroys: by function.
int16:
        sti
        test    ah, 0EFh
        jnz     .ready
.wait:
        push    ax
        call    gate_key_ready
        test    al, al
        pop     ax
        jz      .wait
.ready:
        jmp     gate_int16

; int14: serial ports. 00 initialise, 01 send, 02 receive, 03 status.
; Input: AH, AL, DX = port number from 0.  Output: AH status (bit 7 no answer in time), AL.
; Destroys: nothing else.
int14:
        sti
        push    bx
        push    cx
        push    dx
        push    ds
        mov     bx, BIOS_DATA
        mov     ds, bx
        mov     bx, dx
        shl     bx, 1
        cmp     bx, 6
        ja      .leave
        mov     dx, [bx + BDA_COM1]
        test    dx, dx
        jz      .leave
        test    ah, ah
        jz      .initialise
        dec     ah
        jz      .send
        dec     ah
        jz      .receive
        dec     ah
        jnz     .leave
.status:
        add     dx, UART_LSR
        in      al, dx
        mov     ah, al
        inc     dx
        in      al, dx
.leave:
        pop     ds
        pop     dx
        pop     cx
        pop     bx
        iret
.initialise:
        mov     ah, al
        add     dx, UART_LCR
        mov     al, LCR_DLAB
        out     dx, al
        mov     bl, ah                  ; bits 7-5: 110 150 300 600 1200 2400 4800 9600 baud
        mov     cl, 4
        shr     bl, cl
        and     bx, 0Eh
        mov     bx, [cs:bx + divisors]
        sub     dx, UART_LCR
        mov     al, bl
        out     dx, al
        inc     dx
        mov     al, bh
        out     dx, al
        add     dx, UART_LCR - 1
        mov     al, ah
        and     al, 1Fh
        out     dx, al
        sub     dx, UART_LCR - 1
        xor     al, al
        out     dx, al
        dec     dx
        jmp     short .status
.send:
        push    ax
        add     dx, UART_MCR
        mov     al, MCR_DTR_RTS
        out     dx, al
        inc     dx
        mov     bh, LSR_THRE
        call    wait_line
        sub     dx, UART_LSR
        pop     cx
        mov     al, cl
        jc      .late
        out     dx, al
        add     dx, UART_LSR
        mov     bl, al
        in      al, dx
        mov     ah, al
        mov     al, bl
        jmp     short .leave
.late:
        mov     ah, SERIAL_TIMEOUT
        jmp     short .leave
.receive:
        add     dx, UART_LSR
        mov     bh, LSR_READY
        call    wait_line
        mov     ah, SERIAL_TIMEOUT
        jc      .leave
        sub     dx, UART_LSR
        in      al, dx
        mov     ah, 0
        jmp     short .leave

; wait_line: wait for a bit of the line status, at most about two ticks' worth of polls.
; Input: DX = line status port, BH = bit.  Output: CF = 1 when it did not come.  Destroys: AL, CX.
wait_line:
        mov     cx, 20000
.poll:
        in      al, dx
        test    al, bh
        jnz     .there
        loop    .poll
        stc
        ret
.there:
        clc
        ret

; int17: no printer answers.
; Input: AH.  Output: AH = 30h (selected, out of paper: nobody there).  Destroys: nothing else.
int17:
        mov     ah, 30h
        iret

int05:
nothing:
        iret

divisors:       dw 1047, 768, 384, 192, 96, 48, 24, 12
disk_table:     db 0DFh, 02h, 25h, 2, 18, 1Bh, 0FFh, 6Ch, 0F6h, 0Fh, 8
system_table:   dw 8                    ; INT 15h C0h: model, submodel and revision are filled in
                db 0FCh, 0, 1, 74h, 40h, 0, 0, 0
ident:          times 64 db 0           ; the machine's own words, filled in
font:           times 8 * 128 db 0      ; INT 1Fh / 43h point here; blank glyphs: pictures are not drawn

        times 1FF0h - ($ - $$) db 0FFh
        jmp     0F000h:reset
date:           db "01/01/80"
                db 0
model:          db 0FCh
                db 0
        %if ($ - $$) != 2000h
        %error "the ROM does not end at 1 MB"
        %endif
