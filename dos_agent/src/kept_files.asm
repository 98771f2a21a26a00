; The files that a run made or changed, into its record: what the list of files.asm does not know, or knows otherwise.

section .text

; files_keep: what is new or has changed goes into the record, and how many there were.
; Input: an open record with a list, [files_missing] = 1.  Output: [files_missing].  Destroys: all but SP.
files_keep:
        mov     di, files_part
        mov     cx, L_files_after_size
        call    clear
        mov     [files_over], al
        call    files_list_again
        mov     al, FILES_AFTER_FLAGS_LIST_LOST
        jc      .flags
        mov     word [file_part_at], files_buffer
        mov     word [file_part_size], FILES_PART
        mov     ax, files_compare
        call    files_walk
        mov     word [file_part_at], scratch
        mov     word [file_part_size], FILE_PART
        xor     al, al
        test    byte [scratch + L_files_before.flags], FILES_BEFORE_FLAGS_LIST_CUT
        jz      .flags
        mov     al, FILES_AFTER_FLAGS_LIST_CUT
.flags:
        or      [files_part + L_files_after.flags], al
        mov     si, files_part
        mov     cx, L_files_after_size
        mov     al, TAG_FILES_AFTER
        call    section_whole
        jc      .leave
        cmp     byte [files_part + L_files_after.flags], 0
        jne     .leave
        mov     byte [files_missing], 0
.leave:
        ret

; files_list_again: read the list back from the record's file.
; Input: [files_list_*].  Output: scratch, [files_next] = its end; CF=1 when it could not be read.
; Destroys: AX, BX, CX, DX.
files_list_again:
        call    spool_commit
        jc      .leave
        mov     dx, spool_path
        mov     ax, 3D00h | OPEN_NOT_INHERITED
        call    dos
        jc      .leave
        mov     bx, ax
        mov     dx, [files_list_at]
        mov     cx, [files_list_at + 2]
        mov     ax, 4200h
        call    dos
        jc      .close
        mov     dx, scratch
        mov     cx, [files_list_size]
        mov     ah, 3Fh
        call    dos
        jc      .close
        cmp     ax, cx                  ; CF=1 when some are missing
        pushf
        add     ax, dx
        mov     [files_next], ax
        popf
.close:
        call    handle_close
.leave:
        ret

; files_compare: keep a file when it is new or has changed.
; Input: as files_walk gives, the list.  Output: files_part, the record.  Destroys: all but SP.
files_compare:
        cmp     byte [files_over], 0
        jne     .leave
        inc     word [files_part + L_files_after.found]
        call    files_entry_of
        jc      .changed
        lea     si, [bx + L_files_entry.time]
        mov     di, dta + DTA_TIME
        mov     cx, 8
        repe    cmpsb
        jne     .changed
        push    bx
        call    files_add_up
        pop     bx
        jc      .changed
        mov     ax, [files_sum]
        cmp     ax, [bx + L_files_entry.sum]
        jne     .changed
        mov     ax, [files_sum + 2]
        cmp     ax, [bx + L_files_entry.sum + 2]
        jne     .changed
.leave:
        ret
.changed:
        inc     word [files_part + L_files_after.changed]
        mov     dx, file_path
        mov     ax, 3D00h
        call    dos
        jc      .unreadable
        mov     [file_handle], ax
        call    files_length
        call    file_section
        jc      .failed
        mov     byte [file_all], 1
        call    file_parts
        jc      .failed
        cmp     byte [file_all], 0
        je      .close_unreadable
        inc     word [files_part + L_files_after.kept]
        jmp     handle_close
.close_unreadable:
        call    handle_close
.unreadable:
        or      byte [files_part + L_files_after.flags], FILES_AFTER_FLAGS_UNREADABLE
        ret
.failed:
        mov     byte [files_over], 1
        or      byte [files_part + L_files_after.flags], FILES_AFTER_FLAGS_SPOOL_FAILED
        jmp     handle_close

; files_entry_of: look a file up in the list.
; Input: dta, [files_number], [files_next].  Output: BX = its entry; CF=1 when it is not there.  Destroys: AX, CX, SI, DI.
files_entry_of:
        mov     bl, [scratch + L_files_before.patterns]
        xor     bh, bh
        add     bx, scratch + L_files_before.patterns + 1
.next:
        cmp     bx, [files_next]
        jae     .none
        mov     al, [files_number]
        cmp     al, [bx + L_files_entry.pattern]
        jne     .other
        lea     si, [bx + L_files_entry.name]
        mov     di, dta + DTA_NAME
.letter:
        lodsb
        scasb
        jne     .other
        test    al, al
        jnz     .letter                 ; CF=0
        ret
.other:
        add     bx, L_files_entry_size
        jmp     short .next
.none:
        stc
        ret

; files_length: how much of a file goes into the record.
; Input: dta, [record_length].  Output: [file_left]; what is cut is flagged.  Destroys: AX, BX, CX, DX.
files_length:
        call    files_limit
        mov     bx, RECORD_LIMIT & 0FFFFh
        mov     cx, RECORD_LIMIT >> 16
        sub     bx, [record_length]
        sbb     cx, [record_length + 2]
        sub     bx, FILES_ROOM
        sbb     cx, 0
        jnc     .room
        xor     bx, bx
        xor     cx, cx
.room:
        mov     al, bh                  ; AX = room / 256: each part of 2,048 has a head and a check, 8 octets
        mov     ah, cl
        sub     bx, ax
        sbb     cx, 0
        push    cx
        call    files_limit
        pop     cx
        call    files_least
        mov     bx, [dta + DTA_SIZE]
        mov     cx, [dta + DTA_SIZE + 2]
        call    files_least
        mov     [file_left], ax
        mov     [file_left + 2], dx
        cmp     dx, cx
        jne     .cut
        cmp     ax, bx
        je      .leave
.cut:
        or      byte [files_part + L_files_after.flags], FILES_AFTER_FLAGS_FILE_CUT
.leave:
        ret

; files_least: the smaller of two.
; Input: DX:AX, CX:BX.  Output: DX:AX.  Destroys: nothing.
files_least:
        cmp     dx, cx
        jb      .leave
        ja      .other
        cmp     ax, bx
        jbe     .leave
.other:
        mov     dx, cx
        mov     ax, bx
.leave:
        ret
