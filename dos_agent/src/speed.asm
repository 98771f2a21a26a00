; The processor's clock, estimated against the timer: by the processor's own counter of clocks where it has one,
; else by a loop whose clocks the makers' tables tell (AAM, which needs the bus for two octets and works on for long).
;
; The timer is read, never programmed. Interrupts are off for less than half a turn of its counter, so that neither a
; tick is lost nor the counter turns unseen.

FEATURE_COUNTER         equ 10h         ; CPUID leaf 1 EDX bit 4
SPEED_BLOCK             equ 60          ; AAMs in one block: what one LOOP reaches
SPEED_COUNTS_ENOUGH     equ 6000        ; 5 ms
SPEED_COUNTER_COUNTS    equ 16384       ; 14 ms
SPEED_BLOCKS_MOST       equ 4000h
SPEED_PASSES            equ 3
SPEED_READING           equ 2           ; counts that two readings may be off

; ----------------------------------------------------------------------------------------------
; speed_section: write the section speed.
; Input: processor_*.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI BP.
speed_section:
        call    timer_pace
        cmp     byte [processor_v86], PRESENCE_ABSENT
        jne     .loop                   ; a monitor may forbid the counter
        cmp     byte [processor_known], PROCESSOR_CPUID
        jne     .loop
        test    byte [processor_features], FEATURE_COUNTER
        jz      .loop
        call    speed_by_counter
        jmp     short .write
.loop:
        call    speed_by_loop
.write:
        mov     al, TAG_SPEED
        mov     cx, L_speed_size
        jmp     section_in_scratch

; timer_pace: does the timer's counter fall by one or by two?
; Input: clock_reads_back, clock_halves.  Output: timer_shift = 0 or 1.  Destroys: AX.
timer_pace:
        mov     al, [clock_halves]
        cmp     byte [clock_reads_back], 0
        je      .known
        pushf
        cli
        mov     al, PIT_READ_BACK_STATUS_0
        out     PIT_COMMAND, al
        pit_pause
        in      al, PIT_COUNTER_0
        popf
        and     al, PIT_STATUS_MODE_MASK
        cmp     al, PIT_MODE_3
        mov     al, 1
        je      .known
        dec     ax
.known:
        mov     [timer_shift], al
        ret

; timer_since: counts since a reading, less than half a turn of the counter ago.
; Input: BX = that reading.  Output: AX.  Destroys: CL.
timer_since:
        call    pit_count
        sub     ax, bx
        neg     ax                      ; it falls
        mov     cl, [timer_shift]
        shr     ax, cl
        ret

; ----------------------------------------------------------------------------------------------
; speed_by_loop: time blocks of AAM; twice as many until it takes long enough, then SPEED_PASSES times.
; Input: timer_shift.  Output: scratch.L_speed.  Destroys: AX BX CX DX SI DI BP.
speed_by_loop:
        mov     byte [scratch + L_speed.method], SPEED_METHOD_LOOP
        mov     si, 1                   ; SI = blocks
.longer:
        call    .time
        cmp     ax, SPEED_COUNTS_ENOUGH
        jae     .enough
        cmp     si, SPEED_BLOCKS_MOST
        jae     .enough
        shl     si, 1
        jmp     short .longer
.enough:
        mov     di, ax                  ; DI = least, DX = most
        mov     dx, ax
        mov     bp, SPEED_PASSES - 1
.pass:
        call    .time
        cmp     ax, di
        jae     .not_less
        mov     di, ax
.not_less:
        cmp     ax, dx
        jbe     .not_more
        mov     dx, ax
.not_more:
        dec     bp
        jnz     .pass
        mov     [scratch + L_speed.clocks], si
        mov     word [scratch + L_speed.clocks + 2], 0
        mov     [scratch + L_speed.counts], di
        sub     dx, di
        add     dx, SPEED_READING
        mov     [scratch + L_speed.resolution], dx
        ret

; .time: SI blocks.  Output: AX = counts, without what the readings take.  Destroys: BX CX.
.time:
        pushf
        cli
        call    pit_count
        mov     bx, ax
        call    timer_since
        push    ax                      ; what it takes to read
        call    pit_count
        mov     bx, ax
        mov     cx, si
.block:
%rep SPEED_BLOCK
        aam
%endrep
        loop    .block
        call    timer_since
        pop     bx
        popf
        sub     ax, bx
        ret

; ----------------------------------------------------------------------------------------------
; speed_by_counter: clocks of the time-stamp counter during SPEED_COUNTER_COUNTS of the timer.
; Input: timer_shift; the counter is there and may be read.  Output: scratch.L_speed.  Destroys: AX BX CX DX.
        cpu     586
guarded_counter_begin:
speed_by_counter:
        push    eax
        push    edx
        push    esi
        pushf
        cli
        call    pit_count
        mov     bx, ax
        rdtsc
        mov     esi, eax
.wait:
        call    timer_since
        cmp     ax, SPEED_COUNTER_COUNTS
        jb      .wait
        mov     cx, ax
        rdtsc
        popf
        sub     eax, esi
        mov     [scratch + L_speed.clocks], eax
        mov     [scratch + L_speed.counts], cx
        mov     word [scratch + L_speed.resolution], SPEED_READING
        mov     byte [scratch + L_speed.method], SPEED_METHOD_COUNTER
        pop     esi
        pop     edx
        pop     eax
        ret
guarded_counter_end:
        cpu     8086

        section .bss
timer_shift:            resb 1          ; counts are the timer's shifted right by this: 1 in mode 3
        section .text
