; RUN: one program, run so many times, a record each.
;
;       snapshot
;       each repeat:
;           header, boot, run_start        the opened record: on disk before the program starts
;           hook, EXEC, unhook             console sections as the buffer fills
;           rest of the console, screen, run_end, END

CONTINUE                equ 0

section .data
        align   2
; vectors that are hooked: vector, our handler, where the old one is kept
hook_table:             db VECTOR_DOS
                        dw hook_dos, old_dos
                        db VECTOR_CONSOLE
                        dw hook_console, old_console
                        db VECTOR_VIDEO
                        dw hook_video, old_video
hook_table_end:
HOOK_ENTRY              equ 5
; INT 21h AX=4B00h
exec_block:             dw 0                            ; environment: ours
                        dw exec_tail
exec_tail_segment:      dw 0
                        dw exec_fcb_1
exec_fcb_1_segment:     dw 0
                        dw exec_fcb_2
exec_fcb_2_segment:     dw 0

section .bss
        alignb  2
repeat:                 resw 1
time_start:             resw 3                          ; ticks, counts
time_end:               resw 3
exec_stack:             resw 1
old_divide:             resd 1
display_at_start:       resw 1
mode_at_start:          resb 1
run_end_part:           resb L_run_end_size
program_broken:            resb 1
hooks_left:             resb 3                          ; by hook_table: 1 when it is in the chain and must stay
run_nothing:            resb 1                          ; 1: no program was run
spool_filled:           resb 1                          ; 1: the spool filled up while the program ran
critical_seen:          resb 1                          ; 1 + code of the last critical error of our own calls
run_spool:              resb 1                          ; 1: the spool failed during a run

section .text

; command_run: the whole of RUN.
; Output: AL = exit code.
command_run:
        cmp     byte [program_word], 0
        mov     si, text_no_program
        je      .nothing
        call    program_find
        jnc     .found
        mov     si, text_long_tail
        test    ax, ax
        jnz     .nothing
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
        mov     ax, [repeat]
        inc     word [repeat]
        cmp     ax, [option_repeats]
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
.nothing:
        call    put_string
        mov     al, EXIT_NOTHING
        ret
.spool:
        mov     al, EXIT_SPOOL
        ret

; run_record: one run and its record.
; Input: [repeat], exec_path (empty: there is no such program), exec_tail.
; Output: run_end_part; CF=1 when the spool could not be written before the program ran (it has been said).
; Destroys: all but SP.
run_record:
        mov     di, run_end_part
        mov     cx, L_run_end_size
        xor     al, al
        rep     stosb
        mov     [clock_ambiguous], al
        mov     [program_broken], al
        mov     [spool_filled], al
        call    console_reset
        mov     al, RECORD_KIND_RUN
        call    record_open
        jc      .say
        call    boot_section
        jc      .discard
        call    run_start_section
        jc      .discard
        call    record_commit
        jc      .discard
        mov     byte [run_end_part + L_run_end.outcome], OUTCOME_NOT_FOUND
        cmp     byte [exec_path], 0
        je      .end
        call    room_take
        jc      .discard
        call    program_execute
        call    program_outcome
        call    room_give
        mov     al, [spool_full]
        mov     [spool_filled], al
        mov     byte [spool_full], 0    ; now there is room: once more
        call    console_flush
        jnc     .screen
        mov     byte [console_cut], 1
.screen:
        call    screen_after
.end:
        call    run_end_section
        jc      .failed
        mov     al, [run_end_part + L_run_end.flags]
        and     al, RUN_END_FLAGS_CONSOLE_CUT | RUN_END_FLAGS_SCREEN_MISSING
        mov     ah, [run_end_part + L_run_end.outcome]
        call    all_captured
        call    record_close
        jc      .closed
        clc
        ret
.failed:
        call    spool_close
.closed:
        mov     byte [run_end_part + L_run_end.outcome], OUTCOME_SPOOL_FAILED
        call    spool_say_error
        clc
        ret
.discard:
        call    record_discard
.say:
        call    spool_say_error
        stc
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

; run_start_section: what was asked for.
; Input: [repeat], options, exec_path, exec_tail.  Output: CF=1 when it could not be written.
; Destroys: AX, BX, CX, DX, SI, DI.
run_start_section:
        mov     ah, 48h                 ; more than there is: DOS tells the largest block
        mov     bx, 0FFFFh
        call    dos
        mov     di, scratch
        mov     ax, [repeat]
        mov     [di + L_run_start.repeat], ax
        mov     ax, [option_repeats]
        mov     [di + L_run_start.repeats], ax
        mov     ax, [snapshot_ordinal]
        mov     [di + L_run_start.snapshot_ordinal], ax
        mov     [di + L_run_start.free_paragraphs], bx
        add     di, L_run_start.label
        mov     si, option_label
        call    text_put
        mov     si, option_program
        cmp     byte [si], 0
        jne     .named
        mov     si, program_name
.named:
        call    text_put
        mov     si, exec_path
        cmp     byte [si], 0
        jne     .path
        mov     si, program_word
.path:
        call    text_put
        mov     si, exec_tail
        lodsb
        mov     cl, al
        xor     ch, ch
.blank:
        jcxz    .arguments
        cmp     byte [si], ' '
        jne     .arguments
        inc     si
        dec     cx
        jmp     short .blank
.arguments:
        mov     al, cl
        stosb
        rep     movsb
        mov     cx, di
        mov     si, scratch
        sub     cx, si
        mov     al, TAG_RUN_START
        jmp     section_whole

; program_execute: start the program and come back when it has ended.
; Input: exec_path, exec_tail.
; Output: run_end_part: exit_kind, exit_code, dos_error, times; outcome FINISHED, or what DOS had against it.
; Destroys: all but SP.
program_execute:
        call    screen_clear
        call    screen_display
        mov     [display_at_start], ax
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_VIDEO_MODE]
        mov     [mode_at_start], al
        pop     es
        mov     ax, cs
        mov     [exec_tail_segment], ax
        mov     [exec_fcb_1_segment], ax
        mov     [exec_fcb_2_segment], ax
        mov     si, exec_tail + 1
        mov     di, exec_fcb_1
        mov     ax, 2901h               ; as the shell does: the first two arguments as file names
        call    dos
        mov     di, exec_fcb_2
        mov     ax, 2901h
        call    dos
        mov     word [programs_critical], critical_handler
        mov     [programs_critical + 2], cs
        call    divide_vector
        mov     [old_divide], ax
        mov     [old_divide + 2], dx
        push    ds
        lds     dx, [PSP_OLD_CRITICAL]  ; critical errors of the program are DOS's and the user's affair
        mov     ax, 2500h | VECTOR_CRITICAL
        call    dos
        pop     ds
        call    hooks_set
        mov     [exec_stack], sp
        mov     di, time_start
        call    clock_start
        call    clock_keep
        mov     byte [program_active], 1
        mov     dx, exec_path
        mov     bx, exec_block
        mov     ax, 4B00h
        int     21h
        cli
        mov     bx, cs
        mov     ss, bx
        mov     sp, [cs:exec_stack]
        mov     ds, bx
        mov     es, bx
        mov     byte [program_active], 0
        sti
        cld
        push    ax
        pushf
        mov     di, time_end
        call    clock_end
        call    clock_keep
        popf
        pop     ax
        jc      .refused
        mov     ah, 4Dh
        int     21h
        mov     [run_end_part + L_run_end.exit_code], al
        mov     [run_end_part + L_run_end.exit_kind], ah
        mov     byte [run_end_part + L_run_end.outcome], OUTCOME_FINISHED
        mov     si, time_start
        mov     di, time_end
        cmp     byte [clock_ambiguous], 0
        je      .elapsed
        mov     word [si + 4], 0        ; whole ticks only
        mov     word [di + 4], 0
.elapsed:
        call    clock_elapsed
        mov     [run_end_part + L_run_end.elapsed_ticks], ax
        mov     [run_end_part + L_run_end.elapsed_ticks + 2], dx
        mov     [run_end_part + L_run_end.elapsed_counts], bx
.unhook:
        call    hooks_clear
        mov     dx, critical_handler
        mov     ax, 2500h | VECTOR_CRITICAL
        call    dos
        mov     dx, ctrl_c_handler
        mov     ax, 2500h | VECTOR_CTRL_C
        call    dos
        jmp     short divide_restore
.refused:
        mov     [run_end_part + L_run_end.dos_error], ax
        mov     bl, OUTCOME_NOT_FOUND
        cmp     ax, DOS_ERROR_FILE
        je      .outcome
        cmp     ax, DOS_ERROR_PATH
        je      .outcome
        mov     bl, OUTCOME_NO_MEMORY
        cmp     ax, DOS_ERROR_MEMORY
        je      .outcome
        mov     bl, OUTCOME_REFUSED_BY_DOS
.outcome:
        mov     [run_end_part + L_run_end.outcome], bl
        jmp     short .unhook

; divide_vector: the vector of INT 0.
; Input: none.  Output: DX:AX.  Destroys: nothing.
divide_vector:
        push    es
        xor     ax, ax
        mov     es, ax
        mov     ax, [es:VECTOR_DIVIDE * 4]
        mov     dx, [es:VECTOR_DIVIDE * 4 + 2]
        pop     es
        ret

; divide_restore: put the vector of INT 0 back when it leads into memory that was given back.
; Input: [old_divide].  Output: none.  Destroys: AX, BX, CX, DX.
divide_restore:
        call    divide_vector
        call    memory_is_free
        jnc     .leave
        push    ds
        lds     dx, [old_divide]
        mov     ax, 2500h | VECTOR_DIVIDE
        call    dos
        pop     ds
.leave:
        ret

; clock_keep: keep a reading of the clock. The coarser of two resolutions counts.
; Input: DX:AX, BX, CX as clock_read gives them, DI = ticks (dword), counts (word).
; Output: [DI], resolution in run_end_part.  Destroys: nothing.
clock_keep:
        mov     [di], ax
        mov     [di + 2], dx
        mov     [di + 4], bx
        cmp     cx, [run_end_part + L_run_end.resolution]
        jbe     .leave
        mov     [run_end_part + L_run_end.resolution], cx
.leave:
        ret

; program_outcome: what the exit tells.
; Input: run_end_part.  Output: its outcome.  Destroys: AX.
program_outcome:
        cmp     byte [run_end_part + L_run_end.outcome], OUTCOME_FINISHED
        jne     .leave
        mov     al, OUTCOME_STAYED_RESIDENT
        mov     ah, [run_end_part + L_run_end.exit_kind]
        cmp     ah, EXIT_KIND_RESIDENT
        je      .set
        mov     al, OUTCOME_CRITICAL_ERROR
        cmp     ah, EXIT_KIND_CRITICAL_ERROR
        je      .set
        mov     al, OUTCOME_CTRL_C
        cmp     ah, EXIT_KIND_CTRL_C
        je      .set
        cmp     byte [program_broken], 0
        je      .leave
.set:
        mov     [run_end_part + L_run_end.outcome], al
.leave:
        ret

; screen_after: keep the screen; bring a text mode back where the program left graphics.
; Input: [mode_at_start], [display_at_start].  Output: flags and video_mode in run_end_part.
; Destroys: AX, BX, CX, DX, SI, DI.
screen_after:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_VIDEO_MODE]
        mov     [run_end_part + L_run_end.video_mode], al
        pop     es
        mov     al, [run_end_part + L_run_end.outcome]
        dec     al                      ; NOT_FOUND to REFUSED: no program, no screen of its own
        cmp     al, OUTCOME_REFUSED_BY_DOS - 1
        jbe     .leave
        call    screen_display
        cmp     ax, [display_at_start]
        je      .same
        or      byte [run_end_part + L_run_end.flags], RUN_END_FLAGS_SWITCHED_DISPLAY
.same:
        mov     al, MOMENT_EXIT
        call    screen_section
        jnc     .leave
        test    al, al
        jnz     .flags
        mov     byte [spool_full], 1
        mov     al, RUN_END_FLAGS_SCREEN_MISSING
.flags:
        or      [run_end_part + L_run_end.flags], al
        test    al, RUN_END_FLAGS_GRAPHICS_LEFT
        jz      .leave
        mov     al, [mode_at_start]
        xor     ah, ah
        push    bp
        int     10h
        pop     bp
.leave:
        ret

; run_end_section: how it went.
; Input: run_end_part, [console_*], [spool_full].  Output: CF=1 when it could not be written.
; Destroys: AX, BX, CX, DX, SI, DI.
run_end_section:
        mov     di, run_end_part
        mov     al, RUN_END_FLAGS_CONSOLE_CUT
        cmp     byte [console_cut], 0
        je      .clock
        or      [di + L_run_end.flags], al
.clock:
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
        mov     si, console_octets      ; console_kept lies behind, there and here
        mov     cx, 4
        rep     movsw
        mov     al, TAG_RUN_END
        mov     si, run_end_part
        mov     cx, L_run_end_size
        jmp     section_whole

; run_said: tell the tester how the run went.
; Input: run_end_part, [repeat].
; Output: CF=1 when there should be no further repeat; [missing], [run_nothing], [run_spool].
; Destroys: AX, BX, SI.
run_said:
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
        test    al, RUN_END_FLAGS_GRAPHICS_LEFT
        call    .say_if
        mov     si, text_hooks_left
        test    al, RUN_END_FLAGS_HOOKS_LEFT
        call    .say_if
        mov     si, text_clock_ambiguous
        test    al, RUN_END_FLAGS_CLOCK_AMBIGUOUS
        call    .say_if
        and     al, RUN_END_FLAGS_CONSOLE_CUT | RUN_END_FLAGS_SCREEN_MISSING
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

section .start

; hooks_learn: what the hooks must know.
; Input: none.  Output: [indos_at], [own_segment].  Destroys: AX, BX.
hooks_learn:
        push    es
        mov     [own_segment], cs
        mov     ah, 34h
        int     21h
        mov     [indos_at], bx
        mov     [indos_at + 2], es
        pop     es
        ret

section .text

; hooks_set: put our handlers into the chains, those that are not there from an earlier repeat.
; Input: [hooks_left].  Output: old_*.  Destroys: AX, BX, CX, DX, SI, DI.
hooks_set:
        mov     si, hook_table
        mov     di, hooks_left
.next:
        cmp     byte [di], 0
        jne     .there
        push    es
        mov     al, [si]
        mov     ah, 35h
        call    dos
        mov     cx, si
        mov     si, [si + 3]
        mov     [si], bx
        mov     [si + 2], es
        mov     si, cx
        pop     es
        mov     dx, [si + 1]
        mov     al, [si]
        mov     ah, 25h
        call    dos
        cmp     byte [si], VECTOR_DOS
        jne     .there
        mov     byte [hooked_dos], 1
.there:
        inc     di
        add     si, HOOK_ENTRY
        cmp     si, hook_table_end
        jb      .next
        ret

; hooks_clear: take our handlers out again. One that another handler sits on must stay in the chain, unless
; that one's memory was given back: then it is gone, and the old handler comes back.
; Input: none.  Output: [hooks_left], [hooks_stay], flag HOOKS_LEFT.  Destroys: AX, BX, CX, DX, SI, DI.
hooks_clear:
        mov     si, hook_table
        mov     di, hooks_left
.next:
        mov     al, [si]
        mov     ah, 35h
        push    es
        call    dos
        mov     dx, es
        pop     es
        mov     cx, cs
        cmp     dx, cx
        jne     .others
        cmp     bx, [si + 1]
        je      .ours
.others:
        mov     ax, bx
        call    memory_is_free
        jc      .ours
        mov     byte [di], 1
        mov     byte [hooks_stay], 1
        or      byte [run_end_part + L_run_end.flags], RUN_END_FLAGS_HOOKS_LEFT
        jmp     short .after
.ours:
        mov     byte [di], 0
        mov     bx, [si + 3]
        mov     al, [si]
        mov     ah, 25h
        push    ds
        lds     dx, [bx]
        call    dos
        pop     ds
        cmp     byte [si], VECTOR_DOS
        jne     .after
        mov     byte [hooked_dos], 0
.after:
        inc     di
        add     si, HOOK_ENTRY
        cmp     si, hook_table_end
        jb      .next
        ret

; memory_is_free: does an address lie in memory that DOS has free?
; Input: DX:AX = segment, offset.  Output: CF=1 when it does.  Destroys: AX, BX, CX, DX.
memory_is_free:
        push    es
        mov     cl, 4
        shr     ax, cl
        add     dx, ax                  ; DX = its paragraph
        jc      .no
        mov     ah, 52h
        call    dos
        mov     ax, [es:bx - 2]         ; the first block's header
.block:
        mov     es, ax
        mov     bl, [es:0]
        cmp     bl, MCB_LAST
        je      .block_there
        cmp     bl, 'M'
        jne     .no
.block_there:
        cmp     dx, ax                  ; below this block: in none
        jb      .no
        add     ax, [es:3]
        jc      .no
        cmp     dx, ax
        jbe     .inside
        cmp     bl, MCB_LAST
        je      .no
        inc     ax
        jmp     short .block
.inside:
        cmp     word [es:1], 0
        jne     .no
        pop     es
        stc
        ret
.no:
        pop     es
        clc
        ret

; ctrl_c_handler: INT 23h. The program is ended, and that is noted; the agent itself goes on.
ctrl_c_handler:
        cmp     byte [cs:program_active], 0
        jne     .program
        mov     byte [cs:ctrl_c_seen], 1        ; the line looks at it
        iret
.program:
        mov     byte [cs:program_broken], 1
        stc
        retf                            ; with the flags left on the stack: DOS ends the program

; critical_handler: INT 24h of the agent: the call fails, the agent says so in its own words.
; Input: DI = what is wrong.  Output: AL, [critical_seen].
critical_handler:
        mov     ax, di
        inc     ax
        mov     [cs:critical_seen], al
        mov     al, CRITICAL_FAIL
        iret
