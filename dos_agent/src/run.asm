; RUN: one program, run so many times, a record each. What is said of it afterwards: run_said.asm.
;
;       snapshot
;       each repeat:
;           header, boot, run_start        the opened record: on disk before the program starts
;           hook, EXEC, unhook             console sections as the buffer fills
;           rest of the console, screen, run_end, END

section .staybss
        alignb  2
repeat:                 resw 1
run_end_part:           resb L_run_end_size
run_nothing:            resb 1                          ; 1: no program was run
spool_filled:           resb 1                          ; 1: the spool filled up while the program ran
run_spool:              resb 1                          ; 1: the spool failed during a run
spool_news:             resb 1                          ; 1: why it failed has not been said yet

; what run_end may say that stands against a whole record
RUN_END_MISSING         equ RUN_END_FLAGS_CONSOLE_CUT | RUN_END_FLAGS_SCREEN_MISSING | RUN_END_FLAGS_SCREENS_MISSED

section .text

; command_run: the whole of RUN.
; Output: AL = exit code.
command_run:
        cmp     byte [program_word], 0
        mov     si, text_no_program
        je      nothing_done
        call    program_find
        jnc     .found
        mov     si, text_long_tail
        test    ax, ax
        jnz     nothing_done
        mov     byte [exec_path], 0
        mov     byte [exec_tail], 0
.found:
        call    begin_records
        call    snapshot_record
        jc      .spool
        mov     word [repeat], 1
.next:
        call    run_record
        jc      .spool
        call    run_said
        jc      .over
        call    repeat_next
        jb      .next
.over:
        call    finish_line
        cmp     byte [run_spool], 0
        jne     .spool
        cmp     byte [run_nothing], 0
        je      .leave
        mov     al, EXIT_NOTHING
.leave:
        ret
.spool:
        mov     al, EXIT_SPOOL
        ret

; repeat_next: count one repeat more.
; Input: none.  Output: [repeat]; CF=1 when it is asked for.  Destroys: AX.
repeat_next:
        mov     ax, [repeat]
        inc     word [repeat]
        cmp     ax, [option_repeats]
        ret

; nothing_done: the end of a command that can do nothing.
; Input: SI = text that says why.  Output: AL = exit code.  Destroys: nothing else.
nothing_done:
        call    put_string
        mov     al, EXIT_NOTHING
        ret

; run_record: one run and its record.
; Input: [repeat], exec_path (empty: there is no such program), exec_tail.
; Output: run_end_part; CF=1 when the spool could not be written before the program ran (it has been said).
; Destroys: all but SP.
run_record:
        mov     di, run_end_part
        mov     cx, L_run_end_size
        call    clear
        mov     [clock_ambiguous], al
        mov     [program_broken], al
        mov     [program_divided], al
        mov     [spool_filled], al
        call    console_reset
        call    script_begin
        mov     al, RECORD_KIND_RUN
        call    record_open
        jc      .say
        call    boot_section
        jc      .discard
        call    run_start_section
        jc      .discard
        call    script_section
        jc      .discard
        call    files_list
        jc      .discard
        call    record_commit
        jc      .discard
        mov     byte [run_end_part + L_run_end.outcome], OUTCOME_NOT_FOUND
        mov     byte [spool_news], 0
        cmp     byte [exec_path], 0
        je      .none
        call    room_take
        jc      .discard
        call    screen_clear
        call    screen_first
        call    edge_before
        call    run_program
        cmp     word [files_list_size], 0
        je      .ended
        call    files_keep
        call    run_finish
        jmp     short .ended
.none:
        mov     word [files_list_size], 0
        call    run_close
.ended:
        cmp     byte [spool_news], 0
        je      .leave
        call    spool_say_error
.leave:
        clc
        ret
.discard:
        call    record_discard
.say:
        call    spool_say_error
        stc
        ret

section .stay

; run_program: run the program without the overlay, finish the record, have the overlay back.
; Input: as run_record, an opened record.  Output: run_end_part, [spool_news]; comes back only with the overlay.
; Destroys: all but SP.
run_program:
        call    overlay_give
        call    program_execute
        call    program_outcome
        call    room_give
        mov     al, [spool_full]
        mov     [spool_filled], al
        mov     byte [spool_full], 0    ; now there is room: once more
        call    console_flush
        jnc     .screen
        cmp     word [console_used], 0
        je      .waits
        mov     byte [console_cut], 1
.waits:
        cmp     word [screen_waits], 0
        je      .screen
        mov     byte [screens_missed], 1
.screen:
        call    screen_after
        call    edge_after
        mov     byte [files_missing], 0
        cmp     word [files_list_size], 0
        jne     .files
        call    run_close
        call    overlay_take
        jc      .lost
        ret
.files:                                 ; the overlay looks for them, and closes the record
        mov     byte [files_missing], 1
        call    run_end_section
        jc      .failed
        call    overlay_take
        jnc     .leave
        push    si
        call    run_finish
        pop     si
.lost:
        jmp     overlay_lost
.failed:
        mov     word [files_list_size], 0
        call    run_failed
        call    overlay_take
        jc      .lost
.leave:
        ret

; run_close: how it went, and END.
; Input: run_end_part.  Output: [spool_news], outcome.  Destroys: AX, BX, CX, DX, SI, DI.
run_close:
        call    run_end_section
        jc      run_failed
        ; fall through

; run_finish: END behind all that is in the record.
; Input: run_end_part, [files_missing].  Output: [spool_news], outcome.  Destroys: AX, BX, CX, DX, SI, DI.
run_finish:
        mov     al, [run_end_part + L_run_end.flags]
        and     al, RUN_END_MISSING
        or      al, [files_missing]
        mov     ah, [run_end_part + L_run_end.outcome]
        call    all_captured
        call    record_close
        jc      run_spoilt
        ret

; run_failed: the record could not be finished.
; Input: none.  Output: [spool_news], outcome.  Destroys: AX, BX.
run_failed:
        call    spool_close
run_spoilt:
        mov     byte [run_end_part + L_run_end.outcome], OUTCOME_SPOOL_FAILED
        mov     byte [spool_news], 1
        ret

; all_captured: the octet for END.
; Input: AL = flags that stand against it, AH = outcome.  Output: AL = 1 when all is there, else 0.
; Destroys: nothing.
all_captured:
        test    al, al
        mov     al, 0
        jnz     .leave
        cmp     ah, OUTCOME_NOT_FOUND
        jb      .all
        cmp     ah, OUTCOME_REFUSED_BY_DOS
        jbe     .leave                  ; there was no run
        cmp     ah, OUTCOME_SPOOL_FAILED
        je      .leave
.all:
        inc     ax
.leave:
        ret

section .stay

; run_end_section: how it went.
; Input: run_end_part, [console_*], [spool_full].  Output: CF=1 when it could not be written.
; Destroys: AX, BX, CX, DX, SI, DI.
run_end_section:
        call    script_end_section
        jc      .leave
        mov     di, run_end_part
        mov     al, RUN_END_FLAGS_CONSOLE_CUT
        cmp     byte [console_cut], 0
        je      .clock
        or      [di + L_run_end.flags], al
.clock:
        cmp     byte [screens_missed], 0
        je      .time
        or      byte [di + L_run_end.flags], RUN_END_FLAGS_SCREENS_MISSED
.time:
        cmp     byte [clock_ambiguous], 0
        je      .spool
        or      byte [di + L_run_end.flags], RUN_END_FLAGS_CLOCK_AMBIGUOUS
.spool:
        mov     al, [spool_full]
        or      al, [spool_filled]
        jz      .counts
        mov     byte [di + L_run_end.outcome], OUTCOME_SPOOL_FAILED
.counts:
        add     di, L_run_end.console_octets
        mov     ax, [console_kept]
        mov     dx, [console_kept + 2]
        mov     [di + 4], ax            ; L_run_end.console_kept
        mov     [di + 6], dx
        add     ax, [console_used]
        adc     dx, 0
        add     ax, [console_lost]
        adc     dx, [console_lost + 2]
        stosw
        mov     ax, dx
        stosw
        mov     al, TAG_RUN_END
        mov     si, run_end_part
        mov     cx, L_run_end_size
        jmp     section_whole
.leave:
        ret
