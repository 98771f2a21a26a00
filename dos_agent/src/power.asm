; STANDBY's step power: the host is about to have the power switched off. Nothing that a sudden end could lose may be
; left: the spool is empty, DOS has written its buffers, the drives had a second to finish. Only then does the next
; question say so (told); the host switches after that word and no earlier. Until it does, or thinks otherwise, the
; agent does nothing but wait.

AT_REST_SECONDS         equ 5           ; between two questions while it is not, or not believed

; step_power: be ready for the power to go, and say so with the next question.
; Input: standby_step, [standby_same].  Output: [standby_told]; CF=1, AL = exit code when the person has had enough.
step_power:
        cmp     byte [standby_same], 0
        je      .look
        mov     word [standby_step + L_step.seconds], AT_REST_SECONDS
        call    standby_wait            ; it was said already: not again and again
        jc      step_stopped
.look:
        mov     dx, dta
        mov     ah, DOS_SET_DTA
        call    dos
        call    spool_count
        test    ax, ax
        jz      .empty
        call    line_offer_spool        ; AX = what the host has not kept
        test    ax, ax
        jnz     .not_yet
.empty:
        mov     ah, DOS_FLUSH
        call    dos
        mov     word [standby_step + L_step.seconds], PAUSE_FOR_DISKS
        call    standby_wait
        jc      step_stopped
        mov     byte [standby_told], ASK_FLAGS_TOLD
.not_yet:
        clc
        ret
