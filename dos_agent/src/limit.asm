; /T:seconds,R: a run that is over its time is ended by a reset of the machine, where its timer interrupt still runs.
;
; At the first tick from then on at which DOS is free, no other interrupt is in service and the program's own code is what
; was interrupted (not the BIOS's: a disk might be at work), console, screen, run_end and END are written and DOS is
; told to empty its buffers. Where that moment does not come within OVER_TICKS, the machine is reset without: the record
; stays as it is on the disk.

OVER_TICKS              equ 55          ; three seconds
ROMS_BEGIN              equ 0C000h      ; from here on

section .hookdata
old_division:           dd 0
program_divided:        db 0            ; 1: a division without a result, and no handler of the program's
old_tick:               dd 0
ticks_left:             dd 0
section .staydata
over_ticks:             db OVER_TICKS

section .hooks

; hook_tick: INT 8; in the chain only where a reset was asked for, or keys are typed.
hook_tick:
        sub     word [cs:ticks_left], 1
        sbb     word [cs:ticks_left + 2], 0
        jc      .over
        cmp     byte [cs:script_pausing], 0
        jne     .pausing
.pass:
        jmp     far [cs:old_tick]
.pausing:
        test    byte [cs:gate], GATE_SHUT
        jnz     .pass
        pushf
        call    far [cs:old_tick]
        test    byte [cs:gate], GATE_BUSY       ; the handlers below may have let another tick in
        jnz     .done
        work    script_pause_over
.done:
        iret
.over:
        mov     word [cs:ticks_left], 0         ; and again at the next tick
        mov     word [cs:ticks_left + 2], 0
        test    byte [cs:gate], GATE_SHUT
        jnz     .pass
        pushf
        call    far [cs:old_tick]
        work    over_time
        iret

; hook_divide: INT 0. DOS's handler, behind, ends the program; its exit code may look like that of Ctrl-C.
hook_divide:
        mov     byte [cs:program_divided], 1
        jmp     far [cs:old_division]

section .stay

; over_time: the run is over its time. Called on the hook's stack, interrupts off.
; Input: ES = CS, [caller_stack] with IP and CS of the program on top.  Output: comes back when it is not the moment.
; Destroys: AX, BX, CX, DX, SI, DI, DS.
over_time:
        push    cs
        pop     ds
        cmp     byte [option_reset], 0
        je      script_stalled
        dec     byte [over_ticks]
        jz      .reset
        call    dos_is_free
        jne     .later
        call    no_critical_error
        jc      .later
        call    no_interrupt
        jc      .later
        push    ds
        lds     bx, [caller_stack]
        mov     ax, [bx + 4]            ; above the way back and IP
        pop     ds
        cmp     ax, ROMS_BEGIN
        jae     .later
        mov     al, MOMENT_OVER_TIME
        call    screen_keep
        mov     word [guarded_work], over_time_close
        call    console_flush_guarded
.reset:
        cli
        jmp     0FFFFh:0000h            ; where every one of these machines begins
.later:
        ret

; over_time_close: write what there is, close the record, let DOS empty its buffers.
; Input: DS = ES = SS = CS, our PSP.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI.
over_time_close:
        call    room_give
        call    console_flush
        mov     di, run_end_part
        mov     byte [di + L_run_end.outcome], OUTCOME_RESET
        or      byte [di + L_run_end.flags], RUN_END_FLAGS_OVER_TIME
        mov     di, time_end
        call    clock_read
        call    clock_keep
        mov     si, time_start
        call    elapsed_keep
        call    run_end_section
        jc      .close
        xor     al, al
        call    record_close
.close:
        call    spool_close
        mov     ah, 0Dh
        jmp     dos
