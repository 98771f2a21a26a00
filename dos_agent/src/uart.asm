; The serial port, polled: no interrupt of its own is used, and everything is put back as it was found.
;
; While an octet waits to go out, one that comes in is taken at once, so that a port without FIFO loses nothing. What
; comes in lies in a small ring until frame_next looks at it.

UART_DATA               equ 0           ; read: received octet; write: octet to send; divisor low while DLAB
UART_IER                equ 1           ; interrupt enable; divisor high while DLAB
UART_FCR                equ 2           ; write: FIFO control
UART_LCR                equ 3           ; line control
UART_MCR                equ 4           ; modem control
UART_LSR                equ 5           ; line status
UART_LCR_8N1            equ 03h
UART_LCR_DLAB           equ 80h         ; the first two registers are the divisor
UART_MCR_READY          equ 03h         ; DTR, RTS; OUT2 off keeps the interrupt line quiet
UART_LSR_RECEIVED       equ 01h
UART_LSR_CAN_SEND       equ 20h
UART_LSR_ALL_SENT       equ 40h
UART_FCR_ON             equ 01h
UART_FCR_CLEAR          equ 06h         ; both FIFOs
UART_FCR_AS_USUAL       equ 0C1h        ; on, 14 octets: what a driver that used the FIFO most likely had
UART_IIR_FIFO           equ 0C0h        ; both bits: a FIFO that works; one alone: one that does not
UART_NOTHING            equ 0FFh        ; LSR where no port is: its top bit and the others are never all set
BDA_SERIAL              equ 00h         ; bases of COM1 to COM4
LISTEN_POLLS            equ 128         ; 4 ms on an 8088
LISTEN_PAUSE            equ 24
CLOSE_COUNTS            equ 8000h       ; of the timer: 27 ms; emulated ports gather what is sent for some 12
CLOSE_TICKS             equ 2           ; where the counter can't tell: 55 to 110 ms
STUCK_TICKS             equ 36          ; a port that takes no octet for so long takes none
UART_POLLS              equ 4096        ; looks at a port that is not ready between two looks at the clock
BURST_POLLS             equ 32          ; looks for the next octet: three octets' time at 115,200 on an 8088
RING_SIZE               equ 512         ; a power of 2
RING_WIDE               equ 2048        ; likewise: any frame, where octets may come faster than they are looked at

; io_pause: let a slow bus settle between two accesses of the port.
%macro io_pause 0
        jmp     short $+2
%endmacro

; uart_emit: wait until the port takes an octet, give it; what comes in meanwhile goes into the ring. Looks at a port
; that always has something count as looks at one that is not ready.
; Input: AH = octet, DX = the port's line status register.  Destroys: AL.
%macro uart_emit 0
%%poll:
        in      al, dx
        test    al, UART_LSR_RECEIVED
        jz      %%nothing_came
        call    uart_take
        jmp     short %%not_ready
%%nothing_came:
        test    al, UART_LSR_CAN_SEND
        jnz     %%ready
%%not_ready:
        inc     word [uart_polls]
        jnz     %%poll
        call    uart_patience
        jnc     %%poll
        jmp     short %%given_up
%%ready:
        sub     dx, UART_LSR - UART_DATA
        mov     al, ah
        out     dx, al
        add     dx, UART_LSR - UART_DATA
        inc     word [uart_sent]
%%given_up:
%endmacro

; ----------------------------------------------------------------------------------------------
; uart_open: take the port that option_port names, at the start rate, 8N1.
; Input: the options.  Output: CF=1 when there is no such port (nothing is changed then).  Destroys: AX BX CX DX.
uart_open:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     bl, [option_port]
        xor     bh, bh
        shl     bx, 1
        mov     dx, [es:BDA_SERIAL + bx - 2]
        pop     es
        test    dx, dx
        jz      .none
        mov     [uart_base], dx
        add     dx, UART_LSR
        in      al, dx
        cmp     al, UART_NOTHING
        je      .none
        mov     [uart_status], dx
        sub     dx, UART_LSR - UART_LCR
        in      al, dx
        mov     [uart_found_lcr], al
        mov     al, UART_LCR_8N1 | UART_LCR_DLAB
        io_pause
        out     dx, al
        io_pause
        sub     dx, UART_LCR - UART_DATA
        in      al, dx
        mov     ah, al                  ; AX = divisor as found, swapped
        inc     dx
        io_pause
        in      al, dx
        xchg    al, ah
        mov     [uart_found_divisor], ax
        call    rate_begin
        call    uart_divisor
        call    uart_divisor_read       ; a port that does not keep its divisor is none
        cmp     ax, [rate_now]
        je      .is_port
        mov     ax, [uart_found_divisor]
        call    uart_divisor
        mov     al, [uart_found_lcr]
        call    uart_lcr
.none:
        stc
        ret
.is_port:
        mov     al, UART_LCR_8N1
        call    uart_lcr
        mov     dx, [uart_base]
        inc     dx                      ; UART_IER
        in      al, dx
        mov     [uart_found_ier], al
        xor     al, al
        io_pause
        out     dx, al
        inc     dx                      ; UART_IIR
        io_pause
        in      al, dx
        mov     [uart_found_iir], al
        mov     al, UART_FCR_ON | UART_FCR_CLEAR
        io_pause
        out     dx, al
        io_pause
        in      al, dx
        and     al, UART_IIR_FIFO
        cmp     al, UART_IIR_FIFO
        je      .fifo
        xor     al, al                  ; a broken FIFO stays off; a port without one takes no notice
        io_pause
        out     dx, al
.fifo:
        add     dx, UART_MCR - UART_FCR
        io_pause
        in      al, dx
        mov     [uart_found_mcr], al
        mov     al, UART_MCR_READY
        io_pause
        out     dx, al
        xor     ax, ax
        mov     [ring_head], ax
        mov     [ring_tail], ax
        mov     word [ring_mask], RING_SIZE - 1
        mov     word [frame_looks], FRAME_LOOKS
        mov     byte [uart_is_stuck], al
        call    ticks_begin
        clc
        ret

; uart_lcr: write the line control register.
; Input: AL.  Output: DX = its address.  Destroys: nothing.
uart_lcr:
        mov     dx, [uart_base]
        add     dx, UART_LCR
        out     dx, al
        ret

; uart_divisor: set the divisor.
; Input: AX; DLAB is set.  Output: none.  Destroys: AX DX.
uart_divisor:
        mov     dx, [uart_base]
        out     dx, al
        inc     dx
        mov     al, ah
        io_pause
        out     dx, al
        ret

; uart_divisor_read: read the divisor.
; Input: DLAB is set.  Output: AX.  Destroys: DX.
uart_divisor_read:
        mov     dx, [uart_base]
        in      al, dx
        mov     ah, al
        inc     dx
        io_pause
        in      al, dx
        xchg    al, ah
        ret

; ----------------------------------------------------------------------------------------------
; uart_rate: let the last octet out, then go to another rate.
; Input: AX = divisor, BP = as uart_drain.  Output: rate_now.  Destroys: AX BX CX DX SI DI.
uart_rate:
        mov     [rate_now], ax
        call    uart_drain
        mov     al, UART_LCR_8N1 | UART_LCR_DLAB
        call    uart_lcr
        mov     ax, [rate_now]
        call    uart_divisor
        mov     al, UART_LCR_8N1
        jmp     uart_lcr

; uart_drain: let the last octet out. An emulated port may gather octets for a while, and lose them when it is set anew.
; Input: BP = the least that it may take, in counts of the timer: 65536 are a tick.
; Output: none.  Destroys: AX BX CX DX SI DI.
uart_drain:
        call    clock_read
        mov     si, bx                  ; DI:SI = ticks and counts at the beginning
        mov     di, ax
        call    ticks_now
        mov     [uart_drained_from], ax
.gathered:
        call    clock_read
        cmp     cx, WHOLE_STEP
        jne     .ticks
        sub     bx, si
        sbb     ax, di
        js      .ticks                  ; midnight, or ticks that stand still
        jnz     .drain
        cmp     bx, bp
        jae     .drain
.ticks:
        call    .passed
        cmp     ax, CLOSE_TICKS
        jb      .gathered
.drain:
        mov     dx, [uart_status]
        in      al, dx
        test    al, UART_LSR_ALL_SENT
        jnz     .drained
        call    .passed
        cmp     ax, STUCK_TICKS
        jb      .drain
.drained:
        ret
; .passed: AX = ticks since the beginning.
.passed:
        call    ticks_now
        sub     ax, [uart_drained_from]
        ret

; ----------------------------------------------------------------------------------------------
; uart_close: let the last octet out, put the port back as it was found.
; Input: none.  Output: none.  Destroys: AX BX CX DX SI DI BP.
uart_close:
        mov     bp, CLOSE_COUNTS
        call    uart_drain
        mov     dx, [uart_base]
        add     dx, UART_FCR
        mov     al, [uart_found_iir]
        and     al, UART_IIR_FIFO
        cmp     al, UART_IIR_FIFO
        mov     al, 0
        jne     .fifo
        mov     al, UART_FCR_AS_USUAL
.fifo:
        out     dx, al
        mov     al, UART_LCR_8N1 | UART_LCR_DLAB
        call    uart_lcr
        mov     ax, [uart_found_divisor]
        call    uart_divisor
        mov     al, [uart_found_lcr]
        call    uart_lcr
        inc     dx                      ; UART_MCR
        mov     al, [uart_found_mcr]
        io_pause
        out     dx, al
        mov     al, [uart_found_lcr]    ; with DLAB left set, the next register would be the divisor
        test    al, UART_LCR_DLAB
        jnz     .done
        sub     dx, UART_MCR - UART_IER
        mov     al, [uart_found_ier]
        io_pause
        out     dx, al
.done:
        ret

; ----------------------------------------------------------------------------------------------
; uart_send: send one octet as it is.
; Input: AL.  Output: none; uart_is_stuck when the port takes none.  Destroys: AX DX.
uart_send:
        mov     dx, [uart_status]
        mov     ah, al
        uart_emit
        ret

; uart_poll: take what has come in. Where one octet came, more may follow at once: stay for them, so that a slow machine
; without FIFO gets a whole frame before it begins to look at it; but no longer than the ring has room.
; Input: none.  Output: none.  Destroys: AL CX DX.
uart_poll:
        mov     dx, [uart_status]
        in      al, dx
        test    al, UART_LSR_RECEIVED
        jz      .done
.more:
        call    uart_take
        je      .done
        mov     cx, BURST_POLLS
.next:
        in      al, dx
        test    al, UART_LSR_RECEIVED
        jnz     .more
        loop    .next
.done:
        ret

; uart_listen: do nothing but listen for a while: a slow machine without FIFO must not be late for a frame's first octets.
; Input: none.  Output: CF=1 when nothing came.  Destroys: AL BX CX DX.
uart_listen:
        mov     dx, [uart_status]
        mov     cx, LISTEN_POLLS
.next:
        in      al, dx
        test    al, UART_LSR_RECEIVED
        jnz     uart_poll.more          ; CF=0 after its last TEST or CMP
        times LISTEN_PAUSE nop          ; 30 us a round on an 8088: an octet takes 87 us at the least
        loop    .next
        stc
        ret

; uart_take: move the octet that has come in into the ring; where the ring is full, it is lost.
; Input: DX = line status register.  Output: ZF=1 when the ring is full, CF=0.  Destroys: AL.
uart_take:
        push    bx
        sub     dx, UART_LSR - UART_DATA
        in      al, dx
        add     dx, UART_LSR - UART_DATA
        mov     bx, [ring_head]
        mov     [line_work + L_line_work.ring + bx], al
        inc     bx
        and     bx, [ring_mask]
        cmp     bx, [ring_tail]
        je      .full
        mov     [ring_head], bx
.full:
        pop     bx
        ret

; uart_patience: the port has not been ready for long: is it stuck?
; Input: none.  Output: CF=1 and uart_is_stuck when it has taken nothing for STUCK_TICKS.  Destroys: nothing else.
uart_patience:
        push    ax
        push    bx
        push    cx
        mov     word [uart_polls], -UART_POLLS
        mov     word [ticks_until_look], 1
        call    ticks_now
        mov     bx, [uart_sent]
        cmp     bx, [uart_sent_then]
        je      .nothing_went
        mov     [uart_sent_then], bx
        mov     [uart_sent_tick], ax
.nothing_went:
        sub     ax, [uart_sent_tick]
        cmp     ax, STUCK_TICKS
        cmc
        jnc     .done
        mov     byte [uart_is_stuck], 1
        mov     word [uart_polls], -1   ; from now on, no more patience
.done:
        pop     cx
        pop     bx
        pop     ax
        ret

        section .bss
        alignb  2
uart_base:              resw 1
uart_status:            resw 1          ; address of the line status register
uart_found_divisor:     resw 1
uart_found_lcr:         resb 1
uart_found_ier:         resb 1
uart_found_iir:         resb 1
uart_found_mcr:         resb 1
uart_is_stuck:          resb 1
        alignb  2
uart_polls:             resw 1          ; counts up to 0 while the port is not ready
uart_sent:              resw 1          ; octets given to the port, mod 65536
uart_sent_then:         resw 1          ; that, when it was last looked at
uart_sent_tick:         resw 1
uart_drained_from:      resw 1          ; tick
ring_head:              resw 1          ; where the next octet goes
ring_tail:              resw 1          ; where the next one is taken
ring_mask:              resw 1          ; RING_SIZE - 1 or RING_WIDE - 1
        section .text
