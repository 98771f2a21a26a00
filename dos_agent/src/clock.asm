; The clock: BIOS ticks (54.9 ms) and the count of PIT channel 0 within the tick (264/315 us a count).
;
; In mode 2 the counter falls by one; in mode 3 by two, twice a tick, and only its OUT pin says which half
; it is in. An 8254 tells mode and OUT (read-back), the 8253 of the first PCs does not: there mode 3 shows
; by counts that are all even, and then a reading is only good to half a tick.
; The timer is read, never programmed.

PIT_MODE_2              equ 34h         ; status: both octets, mode 2, binary
PIT_MODE_3              equ 36h
READ_BACK_TRIES         equ 8
EVEN_TRIES              equ 48
WHOLE_STEP              equ 1
HALF_TICK               equ 8000h

section .bss
clock_reads_back:       resb 1          ; 1: an 8254
clock_halves:           resb 1          ; 1 on an 8253 in mode 3
clock_ambiguous:        resb 1          ; 1: a reading was good to half a tick only

section .text

; pit_pause: let a slow bus settle between two accesses of the timer.
%macro pit_pause 0
        jmp     short $+2
%endmacro

section .start

; clock_learn: find out what kind of timer this is.
; Input: none.  Output: the variables above.  Destroys: AX, CX, DX.
clock_learn:
        mov     cx, READ_BACK_TRIES
.try:
        pushf
        cli
        mov     al, PIT_READ_BACK_STATUS_0
        out     PIT_COMMAND, al
        pit_pause
        in      al, PIT_COUNTER_0       ; an 8253 ignores the command and gives its count,
        mov     ah, al                  ; low octet and high octet: the two reads keep its order
        mov     al, PIT_READ_BACK_STATUS_0
        out     PIT_COMMAND, al
        pit_pause
        in      al, PIT_COUNTER_0
        popf
        and     ax, PIT_STATUS_MODE_MASK << 8 | PIT_STATUS_MODE_MASK
        cmp     al, ah
        jne     .old
        cmp     al, PIT_MODE_2
        je      .next
        cmp     al, PIT_MODE_3
        jne     .old
.next:
        loop    .try
        mov     byte [clock_reads_back], 1
        ret
.old:
        mov     byte [clock_reads_back], 0
        mov     cx, EVEN_TRIES
        xor     dl, dl
.count:
        call    pit_count
        or      dl, al
        loop    .count
        mov     byte [clock_halves], 0
        test    dl, 1
        jnz     .leave
        mov     byte [clock_halves], 1
.leave:
        ret

section .text

; pit_count: the counter, latched.
; Input: none.  Output: AX.  Destroys: nothing.
pit_count:
        pushf
        cli
        mov     al, PIT_LATCH_0
        out     PIT_COMMAND, al
        pit_pause
        in      al, PIT_COUNTER_0
        mov     ah, al
        pit_pause
        in      al, PIT_COUNTER_0
        xchg    al, ah
        popf
        ret

; clock_read: what time it is.
; A tick that the timer has asked for and nobody has counted yet is added: the request is looked at after the
; latch, so it belongs to this reading when the counter has just begun anew.
; Input: none.
; Output: DX:AX = ticks (0 at midnight), BX = counts into the tick, CX = step of BX in counts
; (1, or 8000h where the half of the tick is not known; then [clock_ambiguous] is 1 too).
; Destroys: nothing else.
clock_read:
        push    si
        push    ds
        pushf
        cli
        mov     cx, WHOLE_STEP
        cmp     byte [cs:clock_reads_back], 0
        je      .old
        mov     al, PIT_READ_BACK_BOTH_0
        out     PIT_COMMAND, al
        pit_pause
        in      al, PIT_COUNTER_0
        mov     dl, al                  ; DL = status
        pit_pause
        in      al, PIT_COUNTER_0
        mov     ah, al
        pit_pause
        in      al, PIT_COUNTER_0
        xchg    al, ah
        neg     ax                      ; counts since the reload
        mov     bx, ax
        mov     al, dl
        and     al, PIT_STATUS_MODE_MASK
        cmp     al, PIT_MODE_3
        jne     .have
        shr     bx, 1                   ; two steps a count
        test    dl, PIT_STATUS_OUT
        jnz     .have                   ; OUT is high in the first half
        add     bx, HALF_TICK
        jmp     short .have
.old:
        call    pit_count
        neg     ax
        mov     bx, ax
        cmp     byte [cs:clock_halves], 0
        je      .have
        shr     bx, 1
        mov     cx, HALF_TICK
        mov     byte [cs:clock_ambiguous], 1
.have:
        mov     al, PIC_READ_IRR
        out     PIC_COMMAND, al
        pit_pause
        in      al, PIC_COMMAND
        mov     si, BIOS_DATA
        mov     ds, si
        xor     si, si
        test    al, 1                   ; bit 0: the timer asks
        jz      .ticks
        test    bx, bx
        js      .ticks                  ; asked after the latch
        inc     si
.ticks:
        mov     ax, [BDA_TICKS]
        mov     dx, [BDA_TICKS + 2]
        add     ax, si
        adc     dx, 0
        popf
        pop     ds
        pop     si
        ret

; clock_elapsed: the time between two readings, less than a day.
; Input: SI = start, DI = end, each: ticks (dword), counts (word).
; Output: DX:AX = ticks, BX = counts.  Destroys: nothing else.
clock_elapsed:
        mov     bx, [di + 4]
        mov     ax, [di]
        mov     dx, [di + 2]
        sub     bx, [si + 4]
        sbb     ax, [si]
        sbb     dx, [si + 2]
        jnc     .leave
        add     ax, TICKS_A_DAY_LOW     ; midnight went by; 40:70 stays for DOS to see
        adc     dx, TICKS_A_DAY_HIGH
.leave:
        ret

; dos_time_now: the machine's clock as DOS has it.
; Input: none.  Output: AX = DOS time, DX = DOS date.  Destroys: nothing else.
dos_time_now:
        push    bx
        push    cx
        mov     ah, 2Ch
        call    dos                     ; CH hour, CL minute, DH second
        mov     bl, dh
        shr     bl, 1
        xor     bh, bh
        mov     al, cl
        xor     ah, ah
        mov     dl, ch
        mov     cl, 5
        shl     ax, cl
        or      bx, ax
        mov     dh, dl
        xor     dl, dl
        mov     cl, 3
        shl     dx, cl
        or      bx, dx                  ; BX = hour << 11 | minute << 5 | second / 2
        mov     ah, 2Ah
        call    dos                     ; CX year, DH month, DL day
        sub     cx, 1980
        mov     ch, cl
        xor     cl, cl
        shl     cx, 1                   ; year << 9
        mov     al, dh
        xor     ah, ah
        xor     dh, dh
        or      dx, cx
        mov     cl, 5
        shl     ax, cl
        or      dx, ax
        mov     ax, bx
        pop     cx
        pop     bx
        ret
