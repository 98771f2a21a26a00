; What the tester is told of a run once it is over.

section .text

; run_said: tell the tester how the run went.
; Input: run_end_part, [repeat].
; Output: CF=1 when there should be no further repeat; [missing], [run_nothing], [run_spool].
; Destroys: AX, BX, SI.
run_said:
        call    line_fresh
        call    say_record
        mov     si, text_run_of
        call    put_string
        mov     ax, [repeat]
        call    put_dec16
        mov     si, text_of
        call    put_string
        mov     ax, [option_repeats]
        call    put_dec16
        mov     si, text_closing
        call    put_string
        mov     bl, [run_end_part + L_run_end.outcome]
        xor     bh, bh
        shl     bx, 1
        mov     si, [text_outcomes + bx]
        call    put_string
        mov     al, [run_end_part + L_run_end.flags]
        mov     si, text_console_cut
        test    al, RUN_END_FLAGS_CONSOLE_CUT
        call    .say_if
        mov     si, text_graphics_left
        test    al, RUN_END_FLAGS_SCREEN_MISSING
        jz      .picture
        mov     si, text_picture_missing
.picture:
        test    al, RUN_END_FLAGS_GRAPHICS_LEFT
        call    .say_if
        mov     si, text_hooks_left
        test    al, RUN_END_FLAGS_HOOKS_LEFT
        call    .say_if
        mov     si, text_clock_ambiguous
        test    al, RUN_END_FLAGS_CLOCK_AMBIGUOUS
        call    .say_if
        mov     si, text_over_time
        test    al, RUN_END_FLAGS_OVER_TIME
        call    .say_if
        mov     si, text_keys_left
        mov     bx, [script_done]
        cmp     bx, [script_elements]
        je      .keys
        call    put_string
        mov     byte [missing], 1
.keys:
        mov     si, text_screens_missed
        test    al, RUN_END_FLAGS_SCREENS_MISSED
        call    .say_if
        cmp     byte [files_missing], 0
        je      .screens
        mov     byte [missing], 1
        mov     si, text_files_missing
        call    put_string
.screens:
        and     al, RUN_END_MISSING
        jz      .outcome
        mov     byte [missing], 1
        test    al, RUN_END_FLAGS_GRAPHICS_LEFT
        jnz     .outcome
        test    byte [run_end_part + L_run_end.flags], RUN_END_FLAGS_GRAPHICS_LEFT
        jnz     .outcome
        mov     si, text_screen_missing
        test    al, RUN_END_FLAGS_SCREEN_MISSING
        call    .say_if
.outcome:
        mov     al, [run_end_part + L_run_end.outcome]
        cmp     al, OUTCOME_FINISHED
        je      .go_on                  ; CF=0
        cmp     al, OUTCOME_SPOOL_FAILED
        jne     .program
        mov     byte [run_spool], 1
        jmp     short .stop
.program:
        mov     byte [missing], 1
        cmp     al, OUTCOME_REFUSED_BY_DOS
        ja      .stop
        mov     byte [run_nothing], 1
.stop:
        stc
.go_on:
        ret
.say_if:
        jz      .leave
        call    put_string
.leave:
        ret
