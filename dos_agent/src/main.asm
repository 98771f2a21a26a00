; Start, end, and the commands.

section .staybss
        alignb  2
agent_psp:      resw 1
dos_version:    resw 1                  ; major in the high octet
missing:        resb 1                  ; 1: something that was asked for is missing
snapshot_ordinal: resw 1

section .start

; main: everything begins here.
; Input: as DOS starts a .COM program.
main:
        cld
        mov     ah, 30h
        int     21h
        xchg    al, ah
        cmp     ah, 3
        mov     dx, text_old_dos
        jb      .refuse
        mov     bx, cs
        mov     bp, agent_end           ; BP = paragraphs that we need, from the PSP on
        mov     cl, 4
        shr     bp, cl
        add     bx, bp
        cmp     bx, [PSP_MEMORY_TOP]
        mov     dx, text_no_memory_here
        ja      .refuse
        call    overlay_place
        mov     sp, main_stack_top
        push    ax
        mov     bx, bp
        mov     ah, 4Ah                 ; the rest is the program's
        int     21h
        pop     ax
        push    ax
        mov     di, staybss_begin
        mov     cx, main_stack - staybss_begin
        xor     ax, ax
        rep     stosb
        call    overlay_clear
        pop     ax
        mov     [all_paragraphs], bp
        mov     [dos_version], ax
        mov     [agent_psp], cs
        call    hooks_learn
        mov     dx, critical_handler
        mov     ax, 2500h | VECTOR_CRITICAL
        int     21h
        mov     dx, ctrl_c_handler
        mov     ax, 2500h | VECTOR_CTRL_C
        int     21h
        call    crc_table_build
        call    clock_learn
        call    options_read
        mov     al, EXIT_NOTHING
        jc      .leave
        cmp     byte [command], COMMAND_RUN
        je      .runs
        cmp     byte [command], COMMAND_PROBE
        je      .runs
        cmp     byte [command], COMMAND_STANDBY
        jne     .command
.runs:
        call    overlay_learn
        mov     al, EXIT_NOTHING
.command:
        mov     bl, [command]
        xor     bh, bh
        shl     bx, 1
        mov     ax, leave               ; that is where the command returns to
        push    ax
        jmp     [command_routines + bx]
.leave:
        jmp     leave
.refuse:
        mov     ah, 09h
        int     21h
        int     20h                     ; the one way out that any DOS knows

; command_help: one screen of help.
; Output: AL = exit code.
command_help:
        mov     word [output_handle], STDOUT
        mov     si, text_help
        call    put_string
        mov     ax, OVERLAY_LOADED - 100h
        add     ax, overlay_end
        sub     ax, overlay_begin
        call    put_dec16
        mov     si, text_help_memory
        call    put_string
        mov     ax, stay_end
        call    put_dec16
        mov     si, text_help_runs
        call    put_string
        mov     ax, agent_end
        call    put_dec16
        mov     si, text_help_end
        call    put_string
        mov     al, EXIT_ALL
        ret

section .stay

; leave: end the agent; where hooks of ours must stay in the chain, their memory stays too.
; Input: AL = exit code.
leave:
        cmp     byte [hooks_stay], 0
        jne     .stay
        mov     ah, 4Ch
        int     21h
.stay:
        push    ax
        mov     ax, [PSP_ENVIRONMENT]   ; that goes back to DOS
        test    ax, ax
        jz      .no_environment
        mov     es, ax
        mov     ah, 49h
        int     21h
.no_environment:
        pop     ax
        mov     dx, hookdata_end + 15
        mov     cl, 4
        shr     dx, cl
        mov     ah, 31h
        int     21h

section .data
        align   2
command_routines:       dw command_help, command_snap, command_run, command_send, command_help
                        dw command_standby, command_probe
section .text

; begin_records: what every record needs: a serial, this boot's mark.
; Input: none.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI.
begin_records:
        call    serial_find
        call    boot_mark_find
        jmp     unfinished_report

; command_snap: a snapshot record.
; Output: AL = exit code.
command_snap:
        call    begin_records
        call    snapshot_record
        mov     al, EXIT_SPOOL
        jc      .leave
        call    finish_line
.leave:
        ret

; snapshot_record: take a snapshot into a record of its own.
; Input: none.  Output: [snapshot_ordinal]; CF=1 when it could not be written (it has been said).
; Destroys: AX, BX, CX, DX, SI, DI.
snapshot_record:
        mov     al, RECORD_KIND_SNAPSHOT
        call    record_open
        jc      .failed
        mov     ax, [ordinal]
        mov     [snapshot_ordinal], ax
        call    snapshot_take
        jc      .close_failed
        mov     al, 1
        sub     al, [snapshot_cut]
        jnz     .whole
        mov     byte [missing], 1
.whole:
        call    record_close
        jc      .failed
        call    say_record
        mov     si, text_snapshot
        call    put_string
        cmp     byte [windows_here], 0
        je      .said
        mov     si, text_windows
        call    put_string
.said:
        clc
        ret
.close_failed:
        call    spool_close
.failed:
        call    spool_say_error
        stc
        ret

; say_record: say which file the record went to.
; Input: spool_path.  Output: none.  Destroys: SI.
say_record:
        mov     si, text_kept_in
        call    put_string
        mov     si, spool_path
        jmp     put_string

; line_fresh: begin a line of our own where a program has left the cursor within one.
; Input: none.  Output: none.  Destroys: AX, BX.
line_fresh:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     bl, [es:BDA_PAGE]
        and     bx, 7
        shl     bx, 1
        cmp     byte [es:BDA_CURSORS + bx], 0   ; column
        pop     es
        jne     put_line_end
        ret

; finish_line: offer the spool where a line is set, and find the exit code.
; Input: [option_port], [missing].  Output: AL = exit code.  Destroys: all but SP.
finish_line:
        cmp     byte [option_port], 0
        je      .no_line
        call    line_offer_spool
        jnc     .no_line
        mov     byte [missing], 1
.no_line:
        mov     al, [missing]           ; EXIT_ALL or EXIT_MISSING
        ret
