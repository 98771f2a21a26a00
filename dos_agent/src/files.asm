; Files that a program makes or changes: /F:pattern. Before the run all that fit are listed in the record itself; after it
; those that are new, or differ in time, size or content, follow in the record, each up to a stated length.
;
; DOS tells a file's time to two seconds. Where a listed file was written in the two that are running, the run waits until
; they are over, so that one that is written anew with the same octets is seen.
;
; The list is read back from the record's own file: between the two the overlay's memory is the program's. Our own
; records (.RDO, .RDX) are passed over.

FILES_MOST              equ 128         ; files in the list
FILES_PART              equ 2048        ; octets read at a time, and in one file_data section
FILES_ROOM              equ 2 * FILE_ROOM       ; of the record: what follows the files, and their heads
FILES_SEPARATOR         equ ';'         ; between patterns
FILES_PATIENCE          equ 40          ; ticks after which a clock that stands still is not waited for

section .staydata
        align   2
option_files_limit:     dw 64           ; KB of a file that are kept at most

section .staybss
option_files:           resb PATTERNS_MOST + 1  ; whole paths, a FILES_SEPARATOR between them; empty: none are asked for
files_missing:          resb 1          ; 1: not all that was asked for is in the record
        alignb  2
files_list_at:          resd 1          ; where the list's payload lies in the record's file
files_list_size:        resw 1          ; its octets; 0: there is none

section .data
text_files_missing:     db "Readoff: not all files that it made or changed could be kept.", CR, LF, 0

section .bss
files_buffer:           resb FILES_PART
        alignb  2
files_next:             resw 1          ; where the next entry of the list goes
files_each:             resw 1          ; what files_walk calls
files_pattern:          resw 1          ; the pattern that is being looked for, in option_files
files_sum:              resd 1
files_part:             resb L_files_after_size
files_number:           resb 1          ; of the pattern, from 0
files_over:             resb 1          ; 1: the record takes no more
        alignb  2
files_time:             resw 1          ; DOS time when the last entry was made
files_fresh:            resb 1          ; 1: a file has that time

section .text

; files_list: list all files that fit, in the record.
; Input: option_files, an open record.  Output: [files_list_*]; CF=1 when it could not be written.
; Destroys: all but SP.
files_list:
        mov     word [files_list_size], 0
        mov     byte [files_missing], 0
        cmp     byte [option_files], 0
        je      .leave                  ; CF=0
        mov     byte [scratch + L_files_before.flags], 0
        call    files_limit
        mov     [scratch + L_files_before.limit], ax
        mov     [scratch + L_files_before.limit + 2], dx
        mov     di, scratch + L_files_before.patterns
        mov     si, option_files
        call    text_put
        mov     [files_next], di
        mov     byte [files_fresh], 0
        mov     ax, files_note
        call    files_walk
        call    files_wait
        mov     si, scratch
        mov     cx, [files_next]
        sub     cx, si
        mov     [files_list_size], cx
        mov     al, TAG_FILES_BEFORE
        call    section_whole
        jc      .leave
        mov     ax, [section_start]
        mov     dx, [section_start + 2]
        add     ax, L_section_head_size
        adc     dx, 0                   ; CF=0
        mov     [files_list_at], ax
        mov     [files_list_at + 2], dx
.leave:
        ret

; files_keep: what is new or has changed goes into the record, and how many there were.
; Input: an open record with a list, [files_missing] = 1.  Output: [files_missing].  Destroys: all but SP.
files_keep:
        mov     di, files_part
        mov     cx, L_files_after_size
        xor     al, al
        rep     stosb
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
        pushf
        mov     ah, 3Eh
        call    dos
        popf
.leave:
        ret

; files_limit: the most octets of a file that are kept.
; Input: [option_files_limit].  Output: DX:AX.  Destroys: CX.
files_limit:
        mov     ax, [option_files_limit]
        mov     cx, 1024
        mul     cx
        ret

; files_walk: call a routine for each file that fits one of the patterns.
; Input: AX = the routine: file_path, dta, [files_number]; it keeps the DTA.  Output: none.  Destroys: all but SP.
files_walk:
        mov     [files_each], ax
        mov     byte [files_number], 0
        mov     dx, dta
        mov     ah, 1Ah
        call    dos
        mov     si, option_files
.pattern:
        mov     di, file_path
        mov     [file_name_at], di
.letter:
        lodsb
        cmp     al, FILES_SEPARATOR
        je      .end
        stosb
        test    al, al
        jz      .ended
        cmp     al, '\'
        jne     .letter
        mov     [file_name_at], di
        jmp     short .letter
.end:
        mov     byte [di], 0
.ended:
        mov     [files_pattern], si
        mov     dx, file_path
        mov     cx, ATTRIBUTES_OF_FILES
        mov     ah, 4Eh
.next:
        call    dos
        jc      .over
        mov     si, dta + DTA_NAME
        mov     di, [file_name_at]
        call    copy_string
        cmp     word [di - 3], 'RD'     ; .RDO, .RDX: ours
        je      .again
        call    [files_each]
.again:
        mov     ah, 4Fh
        jmp     short .next
.over:
        inc     byte [files_number]
        mov     si, [files_pattern]
        cmp     byte [si - 1], 0
        jne     .pattern
        ret

; files_note: an entry of the list.
; Input: as files_walk gives.  Output: scratch, [files_next].  Destroys: AX, BX, CX, DX, SI, DI.
files_note:
        mov     di, [files_next]
        cmp     di, scratch_end - L_files_entry_size
        ja      .full
        push    di
        call    files_add_up
        pop     di
        jnc     .known
        or      byte [scratch + L_files_before.flags], FILES_BEFORE_FLAGS_UNREADABLE
.known:
        mov     al, [files_number]
        stosb                           ; L_files_entry.pattern
        call    dos_time_now
        mov     [files_time], ax
        cmp     ax, [dta + DTA_TIME]
        jne     .entry
        cmp     dx, [dta + DTA_DATE]
        jne     .entry
        mov     byte [files_fresh], 1
.entry:
        mov     si, dta + DTA_TIME
        mov     cx, 8
        rep     movsb                   ; time, date, size
        mov     si, files_sum
        movsw
        movsw
        push    di
        xor     al, al
        mov     cx, FILES_NAME
        rep     stosb
        pop     di
        mov     si, dta + DTA_NAME
        push    di
        call    copy_string
        pop     di
        add     di, FILES_NAME
        mov     [files_next], di
        ret
.full:
        or      byte [scratch + L_files_before.flags], FILES_BEFORE_FLAGS_LIST_CUT
        ret

; files_wait: let the two seconds pass in which a listed file was written.
; Input: [files_fresh], [files_time].  Output: none.  Destroys: AX, BX, CX, DX.
files_wait:
        cmp     byte [files_fresh], 0
        je      .leave
        call    ticks_begin
        call    ticks_now
        mov     bx, ax
.look:
        call    dos_time_now
        cmp     ax, [files_time]
        jne     .leave
        call    ticks_now
        sub     ax, bx
        cmp     ax, FILES_PATIENCE
        jb      .look
.leave:
        ret

FILES_NAME              equ 13          ; 8.3 and a NUL
%if L_files_entry.name + FILES_NAME != L_files_entry_size || L_files_entry.name != 13
        %error "an entry of the list is not what record.toml declares"
%endif

; files_add_up: the sum over a file's content, as far as it would be kept.
; Input: file_path.  Output: [files_sum]; CF=1 when it could not be read.  Destroys: AX, BX, CX, DX, SI, DI.
files_add_up:
        mov     word [files_sum], -1
        mov     word [files_sum + 2], -1
        mov     dx, file_path
        mov     ax, 3D00h
        call    dos
        jc      .leave
        mov     [file_handle], ax
        call    files_limit
        mov     [file_left], ax
        mov     [file_left + 2], dx
.next:
        mov     bx, [file_handle]
        mov     dx, files_buffer
        mov     cx, FILES_PART
        mov     ah, 3Fh
        call    dos
        jc      .close
        mov     cx, ax
        jcxz    .close                  ; CF=0
        mov     si, files_buffer
        mov     bx, files_sum
        push    ax
        call    crc32_update
        pop     ax
        sub     [file_left], ax
        sbb     word [file_left + 2], 0
        jc      .enough
        mov     ax, [file_left]
        or      ax, [file_left + 2]
        jnz     .next
.enough:
        clc
.close:
        pushf
        call    file_close
        popf
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
        jmp     file_close
.close_unreadable:
        call    file_close
.unreadable:
        or      byte [files_part + L_files_after.flags], FILES_AFTER_FLAGS_UNREADABLE
        ret
.failed:
        mov     byte [files_over], 1
        or      byte [files_part + L_files_after.flags], FILES_AFTER_FLAGS_SPOOL_FAILED
        jmp     file_close

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
