; Two clocks around a run: the real-time clock is read where its second changes, before and after, and the timer beside it.
; A program that has set the timer anew, or kept its interrupt waiting, shows in that the two disagree; the host says so.
;
; A change of the second shows when an update ends: while one is in progress only the timer is read. Some emulated clock
; tells of updates all the time; the second itself is what counts.

EDGE_ROUNDS             equ 16          ; times 65536 looks: the end of all patience
EDGE_ROUNDS_LEAST       equ 2           ; so many at least, however many ticks a program's timer makes of a second
EDGE_TICKS              equ 36          ; about 2 s
NO_SECOND               equ 0FFFFh

section .staybss
        alignb  2
edge_part:              resb L_run_clock_size
edge_reading:           resw 3          ; ticks, counts: at the start's edge
edge_reading_after:     resw 3          ; at the end's
edge_last:              resw 3          ; at the look before
edge_begun:             resw 1          ; low word of the ticks when the wait began
edge_rounds:            resw 1
edge_looks:             resw 1

section .text

; edge_before: the edge before a run.
; Input: none.  Output: edge_part.  Destroys: AX BX CX DX SI DI.
edge_before:
        mov     di, edge_part
        mov     cx, L_run_clock_size
        call    clear
        call    rtc_read
        mov     [edge_part + L_run_clock.start + L_clock_edge.state], al
        mov     [edge_part + L_run_clock.end + L_clock_edge.state], al
        mov     si, edge_part + L_run_clock.start
        mov     di, edge_reading
        jmp     edge_wait

section .stay

; edge_after: the edge after a run, and the section run_clock.
; Input: edge_part, run_end_part.  Output: none; what can't be written is missing.  Destroys: AX BX CX DX SI DI.
edge_after:
        cmp     byte [run_end_part + L_run_end.outcome], OUTCOME_NOT_FOUND
        jb      .ran
        cmp     byte [run_end_part + L_run_end.outcome], OUTCOME_REFUSED_BY_DOS
        jbe     .leave                  ; there was no run
.ran:
        mov     si, edge_part + L_run_clock.end
        mov     di, edge_reading_after
        call    edge_wait
        mov     al, RTC_STATE_STOPPED
        cmp     al, [edge_part + L_run_clock.start + L_clock_edge.state]
        je      .write
        cmp     al, [edge_part + L_run_clock.end + L_clock_edge.state]
        je      .write
        mov     si, edge_reading
        mov     di, edge_reading_after
        call    clock_elapsed
        mov     [edge_part + L_run_clock.ticks], ax
        mov     [edge_part + L_run_clock.ticks + 2], dx
        mov     [edge_part + L_run_clock.counts], bx
.write:
        mov     al, TAG_RUN_CLOCK
        mov     si, edge_part
        mov     cx, L_run_clock_size
        jmp     section_whole
.leave:
        ret

; edge_wait: wait for the second to change; read the timer there, then the clock.
; Input: SI = an edge of edge_part with its state, DI = ticks (dword), counts (word).
; Output: both filled; state STOPPED when no second changes in good time; nothing when the state says that there is no
; clock, or that it stands.  Destroys: AX BX CX DX SI.
edge_wait:
        cmp     byte [si + L_clock_edge.state], RTC_STATE_ABSENT
        je      .leave
        cmp     byte [si + L_clock_edge.state], RTC_STATE_STOPPED
        je      .leave
        push    bp
        mov     bp, NO_SECOND           ; BP = the second as last seen
        mov     word [edge_looks], 0
        mov     word [edge_rounds], 0
        call    clock_read
        mov     [edge_begun], ax
.look:
        call    clock_read
        mov     [edge_last], ax
        mov     [edge_last + 2], dx
        mov     [edge_last + 4], bx
        cmp     cx, [edge_part + L_run_clock.resolution]
        jbe     .finer
        mov     [edge_part + L_run_clock.resolution], cx
.finer:
        pushf
        cli                             ; an update begins 244 us after the flag at the earliest
        mov     al, RTC_STATUS_A
        call    cmos_read
        test    al, RTC_A_UPDATING
        mov     al, RTC_SECONDS
        jnz     .updating
        call    cmos_read
        popf
        xor     ah, ah
        cmp     ax, bp
        je      .again
        xchg    ax, bp
        inc     ax                      ; was it the first look?
        jnz     .edge
        jmp     short .again
.updating:
        popf
.again:
        inc     word [edge_looks]
        jnz     .look
        inc     word [edge_rounds]
        cmp     word [edge_rounds], EDGE_ROUNDS
        jae     .stands
        cmp     word [edge_rounds], EDGE_ROUNDS_LEAST
        jb      .look
        call    clock_read
        sub     ax, [edge_begun]
        cmp     ax, EDGE_TICKS
        jb      .look
.stands:
        mov     byte [si + L_clock_edge.state], RTC_STATE_STOPPED
        jmp     short .done
.edge:
        call    clock_read
        mov     [di], ax
        mov     [di + 2], dx
        mov     [di + 4], bx
        push    si
        mov     si, edge_last
        call    clock_elapsed
        pop     si
        or      ax, dx
        jz      .within
        mov     bx, TICK_STEP
.within:
        cmp     bx, cx
        jae     .kept
        mov     bx, cx
.kept:
        mov     [si + L_clock_edge.within], bx
        lea     bx, [si + L_clock_edge.rtc]
        mov     si, rtc_indexes
        mov     cx, L_clock_edge.within - L_clock_edge.rtc
.register:
        lodsb
        call    cmos_read
        mov     [bx], al
        inc     bx
        loop    .register
.done:
        pop     bp
.leave:
        ret

%if L_clock_edge.status_b != L_clock_edge.rtc + 8 || L_clock_edge.within != L_clock_edge.status_b + 1
%error "the registers of an edge are no longer what is read here"
%endif

        section .staydata
rtc_indexes:            db RTC_SECONDS, 2, 4, 6, 7, 8, 9, RTC_CENTURY, RTC_STATUS_B
        section .text
