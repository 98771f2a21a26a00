; The overlay: all of the agent that is not needed while a program runs. Its memory goes back to DOS before the
; program starts; afterwards it is read again from READOFF.COM, to where it was, and its sum must be the one that
; it had when this copy was started. Where that fails, what stayed says so and ends the agent: the record is closed by
; then, and waits in the spool.
;
; Where DOS does not tell the path of READOFF.COM, or it can't be opened there, the overlay stays in memory.
; The overlay's variables do not survive it; what must be remembered stands in .staydata and .staybss.

section .staydata
overlay_there:          db 1            ; 0 while its memory is not ours
text_overlay_lost:      db "Readoff: record ", 0
text_overlay_file:      db CR, LF, "Readoff: READOFF.COM could not be read again (another disk?), or has changed;", CR, LF, 0
text_overlay_memory:    db CR, LF, "Readoff: the program stays resident where the rest of Readoff was;", CR, LF, 0
text_overlay_over:      db "the run is kept, and READOFF SEND offers it. No more is done.", CR, LF, 0

text_hooks_left:        db "Readoff: it sits on our vectors; some of our memory stays taken until a reset.", CR, LF, 0

section .staybss
        alignb  2
overlay_sum:            resd 1          ; running value over it, as it was loaded
overlay_read_sum:       resd 1
overlay_path:           resw 1          ; offset in the environment; 0: it stays in memory
all_paragraphs:         resw 1          ; PSP to the end of everything

section .start

; overlay_place: put the overlay from where DOS loaded it to where it belongs.
; Input: none, any stack above all of our memory.  Output: none.  Destroys: CX, SI, DI.
overlay_place:
        pop     bx
        mov     cx, overlay_end
        mov     di, cx
        dec     di
        sub     cx, overlay_begin
        mov     si, OVERLAY_LOADED - 1
        add     si, cx
        std                             ; it goes up, over itself
        rep     movsb
        cld
        jmp     bx

; overlay_learn: note the overlay's sum, and where READOFF.COM lies. Nothing of the overlay may have changed yet.
; Input: none.  Output: the variables above.  Destroys: AX, BX, CX, DX, SI.
overlay_learn:
        mov     bx, overlay_sum
        call    overlay_add
        mov     ax, [PSP_ENVIRONMENT]
        test    ax, ax
        jz      .leave
        push    es
        call    environment_end
        jc      .none
        call    program_path
        jc      .none
        push    ds
        push    es
        pop     ds
        mov     dx, si
        mov     ax, DOS_OPEN_SHARED
        call    dos
        pop     ds
        jc      .none
        mov     bx, ax
        mov     ah, DOS_CLOSE
        call    dos
        mov     [overlay_path], si
.none:
        pop     es
.leave:
        ret

section .stay

; overlay_add: let the overlay into a running value.
; Input: BX = where that goes.  Output: [BX].  Destroys: AX, CX, SI.
overlay_add:
        mov     ax, -1
        mov     [bx], ax
        mov     [bx + 2], ax
        mov     si, overlay_begin
        mov     cx, overlay_end
        sub     cx, si
        jmp     crc32_update

; overlay_give: give the overlay's memory back to DOS, where it can be read again.
; Input: none.  Output: [overlay_there].  Destroys: AX, BX, CX.
overlay_give:
        cmp     word [overlay_path], 0
        je      .leave
        mov     bx, stay_end
        mov     cl, 4
        shr     bx, cl
        mov     ah, 4Ah
        call    dos
        jc      .leave
        mov     byte [overlay_there], 0
.leave:
        ret

; overlay_take: take the overlay's memory again, read the overlay, check it, clear its variables.
; Input: none.  Output: [overlay_there]; CF=1: it could not be had, SI = text that says why.
; Destroys: AX, BX, CX, DX, SI, DI.
overlay_take:
        cmp     byte [overlay_there], 0
        jne     .leave                  ; CF=0
        mov     bx, [all_paragraphs]
        mov     ah, 4Ah
        call    dos
        mov     si, text_overlay_memory
        jc      .leave
        push    ds
        mov     dx, [overlay_path]
        mov     ds, [PSP_ENVIRONMENT]
        mov     ax, DOS_OPEN_SHARED
        call    dos
        pop     ds
        jc      .failed
        mov     bx, ax
        mov     dx, OVERLAY_LOADED - 100h
        xor     cx, cx
        mov     ax, DOS_SEEK
        call    dos
        jc      .unread
        mov     dx, overlay_begin
        mov     cx, overlay_end
        sub     cx, dx
        mov     ah, DOS_READ
        call    dos
        jc      .unread
        sub     cx, ax
        neg     cx                      ; CF=1 when some are missing
.unread:
        pushf
        mov     ah, DOS_CLOSE
        call    dos
        popf
        jc      .failed
        mov     bx, overlay_read_sum
        call    overlay_add
        mov     ax, [bx]
        cmp     ax, [overlay_sum]
        jne     .failed
        mov     ax, [bx + 2]
        cmp     ax, [overlay_sum + 2]
        jne     .failed
        call    overlay_clear
        mov     byte [overlay_there], 1
        clc
.leave:
        ret
.failed:
        mov     si, text_overlay_file
        stc
        ret

; overlay_clear: clear the overlay's variables that have no first value.
; Input: none.  Output: none.  Destroys: AX, CX, DI.
overlay_clear:
        mov     di, bss_begin
        mov     cx, agent_end
        sub     cx, di
        xor     al, al
        rep     stosb
        ret

; overlay_lost: end the agent without the overlay.
; Input: SI = text that says why, run_end_part, [repeat].  Output: never comes back.
overlay_lost:
        push    si
        mov     si, text_overlay_lost
        call    put_string
        mov     si, spool_path
        call    put_string
        pop     si
        call    put_string
        mov     si, text_overlay_over
        call    put_string
        test    byte [run_end_part + L_run_end.flags], RUN_END_FLAGS_HOOKS_LEFT
        jz      .outcome
        mov     si, text_hooks_left
        call    put_string
.outcome:
        mov     bl, [run_end_part + L_run_end.outcome]
        mov     al, EXIT_SPOOL
        cmp     bl, OUTCOME_SPOOL_FAILED
        je      .leave
        mov     al, EXIT_NOTHING
        cmp     bl, OUTCOME_NOT_FOUND
        jb      .finished
        cmp     bl, OUTCOME_REFUSED_BY_DOS
        jbe     .leave
.missing:
        mov     al, EXIT_MISSING
.leave:
        jmp     leave
.finished:
        cmp     byte [option_port], 0
        jne     .missing                ; the host has it not
        test    byte [run_end_part + L_run_end.flags], RUN_END_MISSING
        jnz     .missing
        mov     ax, [repeat]
        cmp     ax, [option_repeats]
        jb      .missing
        mov     al, [missing]           ; of the snapshot, of an earlier run
        jmp     short .leave

section .text
