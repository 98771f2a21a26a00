; The clock: BIOS ticks (54.9 ms) and the count of PIT channel 0 within the tick (264/315 us a count).
;
; In mode 2 the counter falls by one; in mode 3 by two, twice a tick, and only its OUT pin says which half
; it is in. An 8254 tells mode and OUT (read-back), the 8253 of the first PCs does not: there mode 3 shows
; by counts that are all even, and the half is found by watching until the next tick: one reload of the counter
; on the way means the second half, two the first. Where neither fits, a reading is good to the tick only.
; The timer is read, never programmed.

PIT_MODE_2              equ 34h         ; status: both octets, mode 2, binary
PIT_MODE_3              equ 36h
READ_BACK_TRIES         equ 8
EVEN_TRIES              equ 48
WHOLE_STEP              equ 1
HALF_TICK               equ 8000h
TICK_STEP               equ 0FFFFh      ; resolution when only ticks can be told, as near as a word comes

section .staybss
clock_reads_back:       resb 1          ; 1: an 8254
clock_halves:           resb 1          ; 1 on an 8253 in mode 3
clock_ambiguous:        resb 1          ; 1: a reading was good to the tick only

section .stay

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
        push    cx                      ; on the first PCs processor and timer run in step: without a pause that
.spin:                                  ; differs from round to round, all counts might be even by chance
        nop                             ; 20 clocks of an 8088 a turn, 5 counts
        loop    .spin
        pop     cx
        loop    .count
        mov     byte [clock_halves], 0
        test    dl, 1
        jnz     .leave
        mov     byte [clock_halves], 1
.leave:
        ret

section .stay

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
; (1; on an 8253 in mode 3 BX is 0 and CX TICK_STEP: see clock_start and clock_end).
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
        xor     bx, bx
        mov     cx, TICK_STEP
        jmp     short .counted
.have:
        mov     al, PIC_READ_IRR
        out     PIC_COMMAND, al
        pit_pause
        in      al, PIC_COMMAND
        mov     si, BIOS_DATA
        mov     ds, si
        test    al, 1                   ; bit 0: the timer asks
        mov     si, 0
        jz      .ticks
        test    bx, bx
        js      .ticks                  ; asked after the latch
        inc     si
        jmp     short .ticks
.counted:
        mov     si, BIOS_DATA
        mov     ds, si
        xor     si, si
.ticks:
        mov     ax, [BDA_TICKS]
        mov     dx, [BDA_TICKS + 2]
        add     ax, si
        adc     dx, 0
        popf
        pop     ds
        pop     si
        ret

; clock_start, clock_end: read the clock around something that is timed.
; On an 8253 in mode 3 the start is put right behind a tick, and the end is placed by watching the next one come.
; Input: interrupts on.  Output: as clock_read.  Destroys: nothing else.
clock_start:
        cmp     byte [clock_halves], 0
        je      clock_read
        call    half_watch
        jc      clock_unclear
        call    pit_count               ; a new tick has just begun: the first half
        neg     ax
        shr     ax, 1
        mov     bx, ax
        push    ds
        mov     ax, BIOS_DATA
        mov     ds, ax
        mov     ax, [BDA_TICKS]
        mov     dx, [BDA_TICKS + 2]
        pop     ds
        mov     cx, WHOLE_STEP
        ret

clock_end:
        cmp     byte [clock_halves], 0
        je      clock_read
        call    half_watch
        mov     cx, WHOLE_STEP
        jc      clock_unclear
        ret

clock_unclear:
        mov     byte [clock_ambiguous], 1
        jmp     clock_read

; half_watch: read the clock, then watch until the next tick to learn which half of the tick it was.
; Input: interrupts on.
; Output: DX:AX = ticks, BX = counts into the tick, both as they were at the beginning; CF=1 when the counter
; does not behave as in mode 3 with 65536.  Destroys: CX.
half_watch:
        push    bp
        push    si
        push    di
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
.again:
        mov     dx, [es:BDA_TICKS + 2]
        mov     si, [es:BDA_TICKS]
        call    pit_count
        cmp     si, [es:BDA_TICKS]      ; a tick in between
        jne     .again
        mov     bp, ax                  ; BP = all counts or'ed
        neg     ax
        mov     bx, ax                  ; BX = since the reload, in steps of half a count
        mov     di, ax                  ; DI = the last one
        xor     cx, cx
        push    dx
        xor     dx, dx                  ; DX = reloads
.watch:
        push    word [es:BDA_TICKS]
        call    pit_count
        or      bp, ax
        neg     ax
        cmp     ax, di
        jae     .no_reload
        inc     dx
.no_reload:
        mov     di, ax
        pop     ax
        cmp     ax, si
        loope   .watch
        mov     ax, dx
        pop     dx
        jcxz    .unclear                ; the counter stands, or nobody counts ticks
        test    bp, 1
        jnz     .unclear
        shr     bx, 1
        dec     ax                      ; 1 reload: the second half; 2: the first
        jz      .second
        dec     ax
        jz      .found
.unclear:
        stc
        jmp     short .leave
.second:
        add     bx, HALF_TICK
.found:
        mov     ax, si
        clc
.leave:
        pop     es
        pop     di
        pop     si
        pop     bp
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

section .text

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
