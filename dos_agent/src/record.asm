; The record writer: a header, sections, END; each followed by its check, the CRC-32 of all octets of the
; record so far with the checks left out. Layouts: contract.inc.
;
; A section is either whole in the file or not there: when anything of it could not be written,
; section_drop takes the file back to where the section began.

CHECK_SIZE              equ 4

section .staybss
        alignb  2
record_length:          resd 1          ; octets put so far, checks included
record_crc:             resd 1          ; running value
record_sections:        resw 1
section_start:          resd 1          ; record_length where the open section began
section_start_crc:      resd 1
record_check:           resd 1
record_head:            resb L_header_size      ; also for section heads and END

section .text

; scratch_clear: the beginning of scratch, before a section is built there.
; Input: CX = octets.  Output: AL = 0, DI behind them.  Destroys: CX.
scratch_clear:
        mov     di, scratch
        ; fall through

; clear: fill with zeros.
; Input: ES:DI, CX = octets.  Output: AL = 0, DI behind them.  Destroys: CX.
clear:
        xor     al, al
        rep     stosb
        ret

; record_open: create the spool file of a new record, write its header.
; Input: AL = RECORD_KIND_*.
; Output: CF=1, AX = DOS error when there is no file or it can't be written; [ordinal] of the record.
; Destroys: AX, BX, CX, DX, SI, DI.
record_open:
        mov     di, record_head
        mov     word [di + L_header.magic], 'RO'
        mov     word [di + L_header.magic + 2], 'f' | 1Ah << 8
        mov     byte [di + L_header.version], RECORD_VERSION
        mov     [di + L_header.kind], al
        mov     word [di + L_header.header_size], L_header_size
        call    ordinal_next
        add     di, L_header.id
        mov     si, agent_serial
        mov     cx, L_record_id_size / 2
        rep     movsw
        call    dos_time_now
        mov     [record_head + L_header.time], ax
        mov     [record_head + L_header.date], dx
        mov     word [record_head + L_header.reserved], 0
        mov     ax, [ordinal]
        call    spool_create
        jc      .leave
        xor     ax, ax
        mov     [record_length], ax
        mov     [record_length + 2], ax
        mov     [record_sections], ax
        dec     ax
        mov     [record_crc], ax
        mov     [record_crc + 2], ax
        mov     si, record_head
        mov     cx, L_header_size
        call    record_put
        jc      .failed
        call    check_put
        jc      .failed
        call    spool_flush
        jnc     .leave
.failed:
        call    record_discard
        mov     ax, [spool_error]
        stc
.leave:
        ret

; record_discard: close the record's file and delete it; for a record that holds nothing yet.
; Input: none.  Output: none.  Destroys: AX, BX, DX.
record_discard:
        mov     word [spool_used], 0
        call    spool_close
        mov     dx, spool_path
        mov     ah, 41h
        jmp     dos

section .stay

; section_begin: open a section.
; Input: AL = tag, CX = octets of its payload.  Output: CF=1 when it could not be written.
; Destroys: AX, SI.
section_begin:
        push    cx
        mov     [record_head + L_section_head.tag], al
        mov     byte [record_head + L_section_head.flags], 0
        mov     [record_head + L_section_head.length], cx
        mov     ax, [record_length]
        mov     [section_start], ax
        mov     ax, [record_length + 2]
        mov     [section_start + 2], ax
        mov     ax, [record_crc]
        mov     [section_start_crc], ax
        mov     ax, [record_crc + 2]
        mov     [section_start_crc + 2], ax
        mov     si, record_head
        mov     cx, L_section_head_size
        call    record_put
        pop     cx
        ret

; record_put: put octets of a header or a payload.
; Input: DS:SI, CX; any DS.  Output: CF=1 when they could not be written.  Destroys: AX, SI.
record_put:
        push    bx
        mov     bx, record_crc
        call    octets_put
        pop     bx
        ret

; octets_put: put octets.
; Input: DS:SI, CX; BX = running value they go into, or 0.
; Output: CF=1 when they could not be written.  Destroys: AX, SI.
octets_put:
        add     [cs:record_length], cx
        adc     word [cs:record_length + 2], 0
        push    cx
        call    spool_put
        pop     cx
        ret

; check_put: put the check of all that was put so far.
; Input: none.  Output: CF=1 when it could not be written.  Destroys: AX, SI.
check_put:
        push    bx
        push    cx
        xor     bx, bx
        mov     ax, [record_crc]
        not     ax
        mov     [record_check], ax
        mov     ax, [record_crc + 2]
        not     ax
        mov     [record_check + 2], ax
        mov     si, record_check
        mov     cx, CHECK_SIZE
        call    octets_put
        pop     cx
        pop     bx
        ret

; section_finish: close a section: its check goes out, and all of it to DOS.
; Input: none.  Output: CF=1 when it could not be written.  Destroys: AX, SI.
section_finish:
        call    check_put
        jc      .leave
        call    spool_flush
        jc      .leave
        inc     word [record_sections]
        clc
.leave:
        ret

; section_drop: take back a section that could not be written whole.
; Input: none.  Output: none.  Destroys: AX, BX, CX, DX.
section_drop:
        mov     ax, [section_start_crc]
        mov     [record_crc], ax
        mov     ax, [section_start_crc + 2]
        mov     [record_crc + 2], ax
        mov     ax, [section_start]
        mov     dx, [section_start + 2]
        mov     [record_length], ax
        mov     [record_length + 2], dx
        jmp     spool_cut

; section_up_to: a section that was built in scratch.
; Input: AL = tag, DI = behind its last octet.  Output: CF=1 when it could not be written.  Destroys: AX, CX, SI.
section_up_to:
        mov     cx, di
        sub     cx, scratch
        ; fall through

; section_in_scratch: likewise, where its size is known.
; Input: AL = tag, CX = its octets.  Output: CF=1 when it could not be written.  Destroys: AX, SI.
section_in_scratch:
        mov     si, scratch
        ; fall through

; section_whole: a section whose payload lies in one piece. What fails is taken back.
; Input: AL = tag, DS:SI = payload (any DS), CX = its octets.  Output: CF=1 when it could not be written.
; Destroys: AX, SI.
section_whole:
        push    ds
        push    si
        push    cs
        pop     ds
        call    section_begin
        pop     si
        pop     ds
        jc      .failed
        call    record_put
        jc      .failed
        push    ds
        push    cs
        pop     ds
        call    section_finish
        pop     ds
        jc      .failed
        ret
.failed:
        push    bx
        push    cx
        push    dx
        push    ds
        push    cs
        pop     ds
        call    section_drop
        pop     ds
        pop     dx
        pop     cx
        pop     bx
        stc
        ret

; record_commit: make the record, as far as it is, survive a power cut.
; Input: none.  Output: CF=1 when that failed.  Destroys: AX, BX, CX, DX.
record_commit   equ spool_commit

; record_close: write END, close the file.
; Input: AL = 1 when nothing that was asked for is missing, else 0.
; Output: CF=1 when END could not be written (the record is cut short then).
; Destroys: AX, BX, CX, DX, SI.
record_close:
        sub     sp, L_end_size + 1      ; the payload is built on the stack: the buffers may be in use
        mov     bx, sp
        mov     [bx + L_end.captured_all], al
        mov     ax, [record_length]
        mov     dx, [record_length + 2]
        add     ax, L_section_head_size + L_end_size + CHECK_SIZE
        adc     dx, 0
        mov     [bx + L_end.length], ax
        mov     [bx + L_end.length + 2], dx
        mov     ax, [record_sections]
        mov     [bx + L_end.sections], ax
        mov     si, bx
        mov     cx, L_end_size
        mov     al, TAG_END
        call    section_whole
        lahf                            ; keep CF
        add     sp, L_end_size + 1
        push    ax
        call    spool_close
        pop     bx
        jc      .leave
        mov     ah, bh
        sahf
.leave:
        ret
