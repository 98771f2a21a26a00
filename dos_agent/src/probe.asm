; PROBE: the agent's own measurements, each a record like a run's: opened and on disk before it begins, so that one
; that hangs the machine is found there afterwards.
;
;       snapshot
;       each repeat, each probe:
;           header, boot, run_start        the opened record
;           the probe's section            what it measured, or why not
;           run_end, END
;
; A probe is timed by latching channel 0 of the timer, which is never programmed. While it times, interrupts are off
; for less than half a tick (27 ms): so no tick is lost, and two latched counts are enough. A timer that does not run
; through all of its 65536 counts would show wrong times; then nothing is measured, and the record says so.
;
; All of this lies in the overlay: no program runs meanwhile.

PROBE_TICK_LOOKS        equ 4           ; times 65536 looks at the timer until two ticks must have gone by
PIT_HIGH_ENOUGH         equ 0E000h      ; what a count seen within two ticks must reach
OVERHEAD_TRIES          equ 16

section .data
        align   2
; each: its bit, its name, what measures it, its section
%macro probe 3
                        dw %1, text_probe_%2, probe_%2
                        db %3
%endmacro
probes:
        probe   01h, memory, TAG_PROBE_MEMORY
        probe   01h, extended, TAG_PROBE_EXTENDED
        probe   02h, display, TAG_PROBE_DISPLAY
        probe   02h, graphics, TAG_PROBE_GRAPHICS
        probe   04h, disk, TAG_PROBE_DISK
        probe   04h, sectors, TAG_PROBE_SECTORS
        probe   08h, integer, TAG_PROBE_INTEGER
        probe   10h, float, TAG_PROBE_FLOAT
probes_end:
PROBE_SIZE              equ 7

probe_words:            db "MEMORY", 0, 01h
                        db "DISPLAY", 0, 02h
                        db "DISK", 0, 04h
                        db "INTEGER", 0, 08h
                        db "FLOAT", 0, 10h
                        db "ALL", 0, 0FFh
                        db 0
text_probe:             db "probe ", 0
text_probe_memory:      db "memory", 0
text_probe_extended:    db "extended", 0
text_probe_display:     db "display", 0
text_probe_graphics:    db "graphics", 0
text_probe_disk:        db "disk", 0
text_probe_sectors:     db "sectors", 0
text_probe_integer:     db "integer", 0
text_probe_float:       db "float", 0
text_probe_path:        db "READOFF.COM", 0
text_probe_tail:        db "PROBE ", 0
text_which_probe:       db "Readoff: PROBE what? memory, display, disk, integer, float, or all.", CR, LF, 0
text_probe_open:        db " (", 0
text_probe_problems:    dw 0, text_problem_timer, text_problem_memory, text_problem_386, text_problem_v86
                        dw text_problem_xms, text_problem_a20, text_problem_block
                        dw text_problem_fpu, text_problem_mode, text_problem_drive, text_problem_drive
                        dw text_problem_read, text_problem_graphics
text_problem_timer:     db "Readoff: the timer is not as the BIOS left it; nothing was measured.", CR, LF, 0
text_problem_memory:    db "Readoff: not enough free memory to measure.", CR, LF, 0
text_problem_386:       db "Readoff: not measured: that takes a 386 or later.", CR, LF, 0
text_problem_v86:       db "Readoff: not measured: a memory manager runs DOS in virtual-8086 mode.", CR, LF, 0
text_problem_xms:       db "Readoff: not measured: there is no XMS manager.", CR, LF, 0
text_problem_a20:       db "Readoff: not measured: the A20 line stays closed.", CR, LF, 0
text_problem_block:     db "Readoff: not measured: the XMS manager has no block to give.", CR, LF, 0
text_problem_fpu:       db "Readoff: not measured: there is no FPU.", CR, LF, 0
text_problem_mode:      db "Readoff: not measured: the display has no graphics.", CR, LF, 0
text_problem_drive:     db "Readoff: not measured: no such drive.", CR, LF, 0
text_problem_read:      db "Readoff: it could not be read.", CR, LF, 0
text_problem_graphics:  db "Readoff: not measured: only from a text mode of 25 rows.", CR, LF, 0

section .bss
        alignb  2
probe_at:               resw 1                  ; entry in probes
probe_overhead:         resw 1                  ; counts between two looks at the timer
probe_chosen:           resb 1
probe_problem:          resb 1                  ; PROBE_PROBLEM_*

section .text

; command_probe: the whole of PROBE.
; Output: AL = exit code.
command_probe:
        mov     si, program_word
        mov     di, option_value
        call    copy_string
        mov     bx, probe_words
        call    word_find
        mov     si, text_which_probe
        jnc     .asked
        jmp     nothing_done
.asked:
        mov     al, [bx]
        mov     [probe_chosen], al
        call    begin_records
        call    snapshot_record
        jc      .spool
        mov     word [repeat], 1
.repeat:
        mov     bx, probes
.next:
        mov     [probe_at], bx
        mov     al, [bx]
        test    [probe_chosen], al
        jz      .over
        call    probe_record
        jc      .spool
.over:
        mov     bx, [probe_at]
        add     bx, PROBE_SIZE
        mov     [probe_at], bx
        cmp     bx, probes_end
        jb      .next
        call    repeat_next
        jb      .repeat
        call    finish_line
        cmp     byte [run_spool], 0
        je      .leave
.spool:
        mov     al, EXIT_SPOOL
.leave:
        ret

; probe_record: one probe and its record.
; Input: [probe_at], [repeat].  Output: [missing]; CF=1 when the spool could not be written (it has been said).
; Destroys: all but SP.
probe_record:
        mov     di, run_end_part
        mov     cx, L_run_end_size
        call    clear
        mov     [clock_ambiguous], al
        mov     [probe_problem], al
        mov     al, RECORD_KIND_PROBE
        call    record_open
        jc      .say
        call    boot_section
        jc      .discard
        call    probe_start_section
        jc      .discard
        call    record_commit
        jc      .discard
        mov     di, time_start
        call    clock_start
        call    clock_keep
        mov     bx, [probe_at]
        call    [bx + 4]                ; CX = octets of the section, in scratch
        push    cx
        mov     di, time_end
        call    clock_end
        call    clock_keep
        mov     si, time_start
        mov     di, time_end
        call    elapsed_keep
        pop     cx
        mov     bx, [probe_at]
        mov     al, [bx + 6]
        call    section_in_scratch
        jc      .close_failed
        mov     byte [spool_news], 0
        call    run_close
        cmp     byte [spool_news], 0
        jne     .say
        call    say_record
        mov     si, text_probe_open
        call    put_string
        mov     si, text_probe
        call    put_string
        mov     bx, [probe_at]
        mov     si, [bx + 2]
        call    put_string
        mov     si, text_closing
        call    put_string
        mov     bl, [probe_problem]
        xor     bh, bh
        shl     bx, 1
        jz      .leave                  ; CF=0
        cmp     bl, PROBE_PROBLEM_NO_MEMORY * 2
        ja      .absent                 ; what a machine does not have is not missing
        mov     byte [missing], 1
.absent:
        mov     si, [text_probe_problems + bx]
        call    put_string
        clc
.leave:
        ret
.close_failed:
        call    spool_close
        jmp     short .say
.discard:
        call    record_discard
.say:
        call    spool_say_error
        stc
        ret

; probe_start_section: what was asked for.
; Input: [repeat], options, [probe_at].  Output: CF=1 when it could not be written.
; Destroys: AX, BX, CX, DX, SI, DI.
probe_start_section:
        mov     ah, 48h                 ; more than there is: DOS tells the largest block
        mov     bx, 0FFFFh
        call    dos
        call    run_start_head
        mov     si, option_program
        cmp     byte [si], 0
        je      .named
        call    text_put
        jmp     short .path
.named:
        mov     si, text_probe
        call    .two
.path:
        mov     si, text_probe_path
        call    text_put
        mov     si, text_probe_tail
        call    .two
        jmp     run_start_put

.two:                                   ; SI and the probe's name, as one text with its length before it
        push    di
        push    si
        mov     si, [probe_at]
        mov     si, [si + 2]
        mov     di, option_value + 16
        call    copy_string
        pop     si
        mov     di, option_value
        call    copy_string
        mov     si, option_value + 16
        call    copy_string
        pop     di
        mov     si, option_value
        jmp     text_put

; block_free: give memory back to DOS.
; Input: AX = its segment.  Output: none.  Destroys: AX.
block_free:
        push    es
        mov     es, ax
        mov     ah, 49h
        call    dos
        pop     es
        ret

; probe_timer: find out whether the timer can be trusted, and how it counts.
; Input: interrupts on.
; Output: [timer_shift], [probe_overhead]; CF=1 when it does not run through 65536 counts ([probe_problem] says so).
; Destroys: AX, BX, CX, DX.
probe_timer:
        call    timer_pace
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     dx, [es:BDA_TICKS]
        inc     dx
        inc     dx
        xor     bx, bx                  ; BX = highest count
        xor     cx, cx
        push    di
        mov     di, PROBE_TICK_LOOKS
.look:
        call    pit_count
        cmp     ax, bx
        jbe     .lower
        mov     bx, ax
.lower:
        cmp     dx, [es:BDA_TICKS]
        je      .seen
        loop    .look
        dec     di
        jnz     .look
        xor     bx, bx                  ; nobody counts ticks
.seen:
        pop     di
        pop     es
        cmp     bx, PIT_HIGH_ENOUGH
        jb      .untrusted
        mov     bx, 0FFFFh
        mov     cx, OVERHEAD_TRIES
.try:
        pushf
        cli
        call    pit_count
        mov     dx, ax
        call    pit_count
        popf
        sub     dx, ax
        cmp     dx, bx
        jae     .longer
        mov     bx, dx
.longer:
        loop    .try
        mov     cl, [timer_shift]
        shr     bx, cl
        mov     [probe_overhead], bx
        clc
        ret
.untrusted:
        mov     byte [probe_problem], PROBE_PROBLEM_TIMER
        stc
        ret

%include "stairs.asm"
%include "chain.asm"
%include "flat.asm"
%include "triad.asm"
%include "writes.asm"
%include "reads.asm"
