; One EXEC: what is set up before it, what is learned after it, the screen that it left.

section .staydata
        align   2
; INT 21h AX=4B00h
exec_block:             dw 0                            ; environment: ours
                        dw exec_tail
exec_tail_segment:      dw 0
                        dw exec_fcb_1
exec_fcb_1_segment:     dw 0
                        dw exec_fcb_2
exec_fcb_2_segment:     dw 0

section .staybss
        alignb  2
exec_stack:             resw 1
time_start:             resw 3                          ; ticks, counts
time_end:               resw 3
display_at_start:       resw 1
mode_at_start:          resb 1
program_broken:         resb 1                          ; 1: our INT 23h ended the program

section .stay

; program_execute: start the program and come back when it has ended.
; Input: exec_path, exec_tail.
; Output: run_end_part: exit_kind, exit_code, dos_error, times; outcome FINISHED, or what DOS had against it.
; Destroys: all but SP.
program_execute:
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
        mov     ax, [option_limit]
        mov     dx, [option_limit + 2]
        cmp     byte [option_reset], 0
        jne     .limit
        cmp     word [script_elements], 0       ; keys by script: what waits on and on is ended, see script_stalled
        je      .never
        mov     bx, ax
        or      bx, dx
        jnz     .limit
.never:
        mov     ax, -1                  ; nothing happens when it is over
        mov     dx, ax
.limit:
        mov     [ticks_left], ax
        mov     [ticks_left + 2], dx
        mov     byte [gate], 0
        call    console_bounds
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
        mov     byte [gate], GATE_IDLE
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
        call    elapsed_keep
        mov     cx, [option_limit]
        or      cx, [option_limit + 2]
        jz      .unhook
        sub     ax, [option_limit]
        sbb     dx, [option_limit + 2]
        jc      .unhook
        or      byte [run_end_part + L_run_end.flags], RUN_END_FLAGS_OVER_TIME
.unhook:
        call    hooks_clear
        mov     dx, critical_handler
        mov     ax, 2500h | VECTOR_CRITICAL
        call    dos
        mov     dx, ctrl_c_handler
        mov     ax, 2500h | VECTOR_CTRL_C
        jmp     dos
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

; elapsed_keep: keep the time between two readings.
; Input: SI = start, DI = end, as clock_keep leaves them.  Output: run_end_part, DX:AX = ticks.  Destroys: BX.
elapsed_keep:
        cmp     byte [clock_ambiguous], 0
        je      .elapsed
        mov     word [si + 4], 0        ; whole ticks only
        mov     word [di + 4], 0
.elapsed:
        call    clock_elapsed
        mov     [run_end_part + L_run_end.elapsed_ticks], ax
        mov     [run_end_part + L_run_end.elapsed_ticks + 2], dx
        mov     [run_end_part + L_run_end.elapsed_counts], bx
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
        mov     al, OUTCOME_DIVIDE_ERROR        ; DOS says Ctrl-C then, or nothing at all
        cmp     byte [program_divided], 0
        jne     .set
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
        test    al, RUN_END_FLAGS_GRAPHICS_LEFT
        jz      .noted
        call    picture_write
        mov     al, RUN_END_FLAGS_GRAPHICS_LEFT
        cmp     byte [picture_result], PICTURE_STATE_KEPT
        je      .noted
        cmp     byte [picture_result], PICTURE_STATE_BLANK
        je      .noted
        or      al, RUN_END_FLAGS_SCREEN_MISSING
.noted:
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
