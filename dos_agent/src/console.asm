; The console buffer: what the program printed, until it can go into the record.
;
; It is written when DOS is free: at a call of INT 21h that finds InDOS at 0 and the buffer filling up, after a
; printing call, and at the end. What an INT 29h or INT 10h brings goes to the buffer only; when that is full, it is
; written if DOS is free, no critical error is being dealt with and no hardware interrupt is in service.
; From the first octet that can't be kept on nothing more is: two halves of a number must never be joined.

INDOS_TO_ERROR_MODE     equ -1          ; the octet before InDOS, from DOS 3.10 on
DOS_310                 equ 030Ah

section .staydata
        align   2
guarded_work:           dw console_flush

section .staybss
        alignb  2
console_kept:           resd 1          ; octets in the record
console_lost:           resd 1          ; octets that were printed and are not kept
extended_error:         resw 11         ; AX BX CX DX SI DI DS ES, 0, 0, 0 as INT 21h AX=5D0Ah takes it
programs_psp:           resw 1
programs_critical:      resd 1
console_cut:            resb 1          ; 1: some are not kept
spool_full:             resb 1          ; 1: DOS could not write a part
programs_break:         resb 1

section .stay

; console_reset: begin anew for a run.
; Input: none.  Output: none.  Destroys: AX.
console_reset:
        xor     ax, ax
        mov     [console_lost], ax
        mov     [console_lost + 2], ax
        mov     [console_kept], ax
        mov     [console_kept + 2], ax
        mov     [console_used], ax
        mov     [screen_waits], ax
        mov     word [console_limit], SCRATCH_SIZE
        mov     [picture_waits], al
        mov     [picture_last], ax
        mov     [picture_last + 2], ax
        mov     [screens_kept], al
        mov     [screens_missed], al
        mov     [wait_kept], al
        mov     [console_cut], al
        mov     [spool_full], al
        jmp     console_bounds

; octet_printed, string_printed: take what DOS is about to print; write_taken: what it has written; octet_shown: the
; character of an INT 29h or INT 10h. Called on the hook's stack, interrupts off.
; Input: DL; DS:DX; AX and DS:DX; AL; ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, DS.
octet_printed:
        mov     al, dl
        call    octet_taken
        mov     al, 1
        jmp     short console_take
octet_shown:
        call    octet_taken
        xor     al, al
        jmp     short console_take
octet_taken:
        push    cs
        pop     ds
        mov     [print_octet], al
        mov     si, print_octet
        mov     cx, 1
        ret
string_printed:
        push    es
        push    ds
        pop     es
        mov     di, dx
        xor     cx, cx
        dec     cx                      ; at most the whole segment
        mov     al, '$'
        repne   scasb
        pop     es
        jne     .endless
        inc     cx
.endless:
        not     cx
        jmp     short octets_taken
write_taken:
        mov     cx, ax                  ; as many as DOS says that it wrote
octets_taken:
        mov     si, dx
        mov     al, 1
        sti
        ; fall through

; console_take: keep octets in the buffer, write it out when it is full.
; Input: DS:SI, CX; AL = 1: DOS is surely free; ES = CS.  Output: none.
; Destroys: AX, BX, CX, DX, SI, DI, DS.
console_take:
        mov     bl, al
.more:
        jcxz    .leave
        cmp     byte [cs:console_cut], 0
        jne     .lost
        mov     ax, [cs:console_limit]
        sub     ax, [cs:console_used]
        jz      .full
        cmp     ax, cx
        jbe     .fits
        mov     ax, cx
.fits:
        push    cx
        mov     cx, ax
        mov     di, scratch
        add     di, [cs:console_used]
        add     [cs:console_used], cx
        shr     cx, 1
        rep     movsw
        adc     cx, cx
        rep     movsb
        pop     cx
        sub     cx, ax
        jmp     short .more
.full:
        push    cx
        push    si
        push    ds
        push    bx
        push    cs
        pop     ds
        test    bl, bl
        jnz     .free
        call    no_interrupt
        jc      .cut
.free:
        sti
        call    console_flush_guarded
        jnc     .flushed
.cut:
        mov     byte [console_cut], 1
.flushed:
        pop     bx
        pop     ds
        pop     si
        pop     cx
        jmp     short .more
.lost:
        add     [cs:console_lost], cx
        adc     word [cs:console_lost + 2], 0
.leave:
        ; fall through

; console_bounds: up to where an octet may be kept without further thought, and whether something waits to be written.
; Input: console_*, screen_waits, picture_waits.  Output: [console_quick], GATE_WORK in [gate].  Destroys: AX.
console_bounds:
        mov     al, [cs:picture_waits]
        xor     ah, ah
        or      ax, [cs:screen_waits]
        jnz     .work
        cmp     word [cs:console_used], CONSOLE_HIGH
        jb      .low
.work:
        or      byte [cs:gate], GATE_WORK
        mov     ax, [cs:console_limit]
        jmp     short .set
.low:
        and     byte [cs:gate], ~GATE_WORK & 0FFh
        mov     ax, CONSOLE_HIGH
.set:
        cmp     byte [cs:console_cut], 0
        je      .quick
        xor     ax, ax                  ; nothing more is kept
.quick:
        mov     [cs:console_quick], ax
        ret

; room_make: write what waits, now that DOS is free. Called on the hook's stack, interrupts off.
; Input: ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, DS.
room_make:
        push    cs
        pop     ds
        sti
        call    console_flush_guarded
        jmp     short console_bounds

; handle_ask: ask DOS what a handle of the program stands for. Called on the hook's stack, interrupts off.
; Input: BX, AH = function.  Output: [handle_device].  Destroys: AX, CX, DX.
handle_ask:
        mov     cl, DEVICE_CONSOLE
        cmp     ah, 40h
        je      .ask
        mov     cl, DEVICE_KEYS
.ask:
        mov     ax, 4400h
        pushf
        call    far [cs:old_dos]
        jc      .leave
        and     dl, cl
        mov     [cs:handle_device], dl
.leave:
        ret

; no_interrupt: is no hardware interrupt in service?
; Input: none, interrupts off.  Output: CF=1 when one is.  Destroys: AX.
no_interrupt:
        mov     al, PIC_READ_ISR
        out     PIC_COMMAND, al
        jmp     short $+2
        in      al, PIC_COMMAND
        mov     ah, al
        mov     al, PIC_READ_IRR        ; as the BIOS has it
        out     PIC_COMMAND, al
        cmp     ah, 1
        cmc
        ret

; dos_is_free: is DOS not at work?
; Input: none; any DS.  Output: ZF=1 when it is not.  Destroys: nothing.
dos_is_free:
        push    ds
        push    bx
        lds     bx, [cs:indos_at]
        cmp     byte [bx], 0
        pop     bx
        pop     ds
        ret

; no_critical_error: is DOS not in the middle of a critical error? There InDOS is 0, and yet files can't be written.
; Input: none.  Output: CF=1 when it is.  Destroys: BX.
no_critical_error:
        cmp     word [dos_version], DOS_310
        cmc
        jnc     .leave                  ; older: nothing tells, CF=0
        push    ds
        lds     bx, [indos_at]
        cmp     byte [bx + INDOS_TO_ERROR_MODE], 1
        pop     ds
        cmc
.leave:
        ret

; console_flush_guarded: console_flush from inside a hook: under our own PSP and critical error handler, without
; a look for Ctrl-C; the program finds all of that, and its last DOS error, as it left them.
; Input: DS = ES = SS = CS, InDOS is 0.  Output: CF=1 when the spool could not, or must not, be written.
; Destroys: AX, BX, CX, DX, SI, DI.
console_flush_guarded:
        cmp     byte [spool_full], 0
        jne     .no
        call    no_critical_error
        jc      .no
        call    critical_swap
        cmp     word [dos_version], DOS_310
        jb      .no_error_yet
        push    ds
        push    es
        push    bp
        xor     bx, bx
        mov     ah, 59h
        call    dos
        mov     [cs:extended_error], ax
        mov     [cs:extended_error + 2], bx
        mov     [cs:extended_error + 4], cx
        mov     [cs:extended_error + 10], di
        mov     [cs:extended_error + 14], es
        pop     bp
        pop     es
        pop     ds
.no_error_yet:
        mov     ax, 3300h
        call    dos
        mov     [programs_break], dl
        xor     dl, dl
        mov     ax, 3301h
        call    dos
        mov     ah, 51h
        call    dos
        mov     [programs_psp], bx
        mov     bx, [agent_psp]
        mov     ah, 50h
        call    dos
        call    [guarded_work]
        pushf
        mov     bx, [programs_psp]
        mov     ah, 50h
        call    dos
        mov     dl, [programs_break]
        mov     ax, 3301h
        call    dos
        cmp     word [dos_version], DOS_310
        jb      .no_error_back
        mov     dx, extended_error
        mov     ax, 5D0Ah
        call    dos
.no_error_back:
        call    critical_swap
        popf
        ret
.no:
        stc
        ret

; critical_swap: exchange the vector of INT 24h with the one in programs_critical.
; The first time ours goes in, the second time the program's comes back.
; Input: programs_critical = our handler when the program's is in place.  Output: exchanged.
; Destroys: AX, BX.
critical_swap:
        push    es
        xor     bx, bx
        mov     es, bx
        pushf
        cli
        mov     ax, [programs_critical]
        xchg    ax, [es:VECTOR_CRITICAL * 4]
        mov     [programs_critical], ax
        mov     ax, [programs_critical + 2]
        xchg    ax, [es:VECTOR_CRITICAL * 4 + 2]
        mov     [programs_critical + 2], ax
        popf
        pop     es
        ret

; console_flush: write the buffer as a section, and the screen that waits behind it. What can't be written stays,
; for a second try at the end.
; Input: DS = ES = SS = CS.  Output: CF=1 when it could not be written; [spool_full].
; Destroys: AX, BX, CX, DX, SI, DI.
console_flush:
        mov     al, [picture_waits]
        xor     ah, ah
        or      ax, [console_used]
        or      ax, [screen_waits]
        jz      .good
        mov     ax, [record_length]     ; the record must stay short enough for its last sections
        mov     dx, [record_length + 2]
        add     ax, ROOM_SIZE + SCRATCH_SIZE
        adc     dx, 0
        cmp     dx, RECORD_LIMIT >> 16
        jae     .over
        mov     cx, [console_used]
        jcxz    .screen
        mov     al, TAG_CONSOLE
        call    section_in_scratch
        jc      .failed
        add     [console_kept], cx
        adc     word [console_kept + 2], 0
        mov     word [console_used], 0
.screen:
        mov     cx, [screen_waits]
        jcxz    .picture
        mov     al, TAG_SCREEN
        mov     si, scratch
        add     si, [console_limit]
        call    section_whole
        jc      .failed
        mov     word [screen_waits], 0
        mov     word [console_limit], SCRATCH_SIZE
.picture:
        cmp     byte [picture_waits], 0
        je      .good
        call    picture_section
        jc      .failed
        mov     byte [picture_waits], 0
.good:
        clc
        ret
.failed:
        mov     byte [spool_full], 1
.over:
        stc
        ret
