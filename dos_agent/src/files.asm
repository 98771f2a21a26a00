; Files that a program makes or changes: /F:pattern. Before the run all that fit are listed in the record itself; after it
; those that are new, or differ in time, size or content, follow in the record, each up to a stated length.
;
; DOS tells a file's time to two seconds. Where a listed file was written in the two that are running, the run waits until
; they are over, so that one that is written anew with the same octets is seen.
;
; The list is read back from the record's own file: between the two the overlay's memory is the program's. Our own
; records (.RDO, .RDX) are passed over.

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

; handle_close: close a file after a call whose answer is still needed.
; Input: BX = handle.  Output: AX and flags as they were.  Destroys: nothing.
handle_close:
        pushf
        push    ax
        mov     ah, 3Eh
        call    dos
        pop     ax
        popf
        ret

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
        cmp     word [di - 4], '.R'     ; .RDO, .RDX: ours
        jne     .theirs
        cmp     byte [di - 2], 'D'
        je      .again
.theirs:
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
        call    handle_close
        popf
.leave:
        ret
