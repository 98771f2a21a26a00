; SEND: files as records of their own.

FILE_ROOM               equ 1024        ; for everything but the content, many small heads apart
FILE_PART               equ SCRATCH_SIZE        ; octets in one file_data section
DTA_ATTRIBUTE           equ 15h
DTA_TIME                equ 16h
DTA_DATE                equ 18h
DTA_SIZE                equ 1Ah
DTA_NAME                equ 1Eh
DTA_LENGTH              equ 43
END_LENGTH              equ L_section_head_size + L_end_size + CHECK_SIZE

; most octets of content: each part costs a head and a check
FILE_MOST               equ (RECORD_LIMIT - FILE_ROOM) / (FILE_PART + 8) * FILE_PART

section .data
        align   2
file_part_at:   dw scratch              ; where parts of a file are read to
file_part_size: dw FILE_PART            ; and how much at a time

section .bss
        alignb  2
dta:            resb DTA_LENGTH
file_path:      resb 144                ; folder as given, then the name found
        alignb  2
file_name_at:   resw 1                  ; where the name goes in file_path
file_handle:    resw 1
file_left:      resd 1
file_found:     resb 1
file_all:       resb 1                  ; 1: all of the file is in the record

section .text

; command_send: wrap files into records, then offer the spool.
; Output: AL = exit code.
command_send:
        call    begin_records
        mov     si, [file_list]
        test    si, si
        jz      .offer
.next:
        call    skip_blanks
        cmp     byte [si], 0
        je      .offer
        mov     di, file_path
        call    take_word
        push    si
        call    send_pattern
        pop     si
        jnc     .next
        mov     al, EXIT_SPOOL
        ret
.offer:
        jmp     finish_line

; send_pattern: send all files that a pattern names.
; Input: file_path (ASCIIZ).
; Output: CF=1 when the spool could not be written (it has been said).  Destroys: all but SP.
send_pattern:
        mov     si, file_path
        mov     [file_name_at], si
.scan:
        lodsb
        cmp     al, '\'
        je      .folder
        cmp     al, ':'
        je      .folder
        test    al, al
        jnz     .scan
        mov     dx, dta
        mov     ah, 1Ah
        call    dos
        mov     byte [file_found], 0
        mov     dx, file_path
        xor     cx, cx                  ; neither hidden nor system files nor folders
        mov     ah, 4Eh
        call    dos
        jc      .over
.found:
        mov     byte [file_found], 1
        mov     si, dta + DTA_NAME
        mov     di, [file_name_at]
        call    copy_string
        call    send_file
        jc      .leave
        mov     ah, 4Fh
        call    dos
        jnc     .found
.over:
        cmp     byte [file_found], 0
        jne     .good
        mov     byte [missing], 1
        mov     dx, text_no_file
        call    say_file
.good:
        clc
.leave:
        ret
.folder:
        mov     [file_name_at], si
        jmp     short .scan

; say_file: say something about the file.
; Input: DX = text.  Output: none.  Destroys: SI.
say_file:
        mov     si, text_readoff
        call    put_string
        mov     si, file_path
        call    put_string
        mov     si, dx
        jmp     put_string

; send_file: one file into one record, unless it is a record in the spool already.
; Input: file_path, dta.  Output: CF=1 when the spool could not be written (it has been said); [missing].
; Destroys: all but SP.
send_file:
        mov     dx, file_path
        mov     ax, 3D00h
        call    dos
        jc      .unreadable
        mov     [file_handle], ax
        call    file_is_ours
        jc      .ours
        call    file_record
        pushf
        call    file_close
        popf
        jc      .failed
        cmp     byte [file_all], 0
        jne     .said
        mov     byte [missing], 1
.said:
        call    say_record
        mov     si, text_file
        call    put_string
        clc
        ret
.failed:
        call    spool_say_error
        stc
        ret
.unreadable:
        mov     byte [missing], 1
        mov     dx, text_unreadable
        jmp     short .say
.ours:
        call    file_close
        mov     dx, text_is_record
.say:
        call    say_file
        clc
        ret

; file_close: close the file that is being sent.
; Input: [file_handle].  Output: none.  Destroys: AX, BX.
file_close:
        mov     bx, [file_handle]
        mov     ah, 3Eh
        jmp     dos

; file_is_ours: is it a whole record in the spool folder, or the serial there?
; Input: file_path, [file_handle], dta.  Output: CF=1 when it is; the file is at its beginning.
; Destroys: AX, BX, CX, DX, SI, DI.
file_is_ours:
        mov     si, file_path
        mov     di, scratch
        call    path_whole
        jc      .no
        mov     si, option_spool
        mov     di, scratch
.folder:
        lodsb
        test    al, al
        jz      .in_spool
        call    upper
        scasb
        je      .folder
.no:
        clc
        ret
.in_spool:
        mov     si, di
        call    name_of_path
        cmp     si, di
        jne     .no                     ; in a folder below it
        mov     di, serial_name
        call    words_equal
        je      .yes
        mov     bx, [file_handle]
        mov     dx, scratch
        mov     cx, 4
        mov     ah, 3Fh
        call    dos
        cmp     word [scratch], 'RO'
        jne     .rewind
        cmp     word [scratch + 2], 'f' | 1Ah << 8
        jne     .rewind
        mov     dx, [dta + DTA_SIZE]
        mov     cx, [dta + DTA_SIZE + 2]
        sub     dx, END_LENGTH
        sbb     cx, 0
        jc      .rewind
        mov     ax, 4200h
        call    dos
        mov     dx, scratch
        mov     cx, END_LENGTH
        mov     ah, 3Fh
        call    dos
        cmp     word [scratch], TAG_END ; its flags are 0
        jne     .rewind
        mov     ax, [scratch + L_section_head_size + L_end.length]
        cmp     ax, [dta + DTA_SIZE]
        jne     .rewind
        mov     ax, [scratch + L_section_head_size + L_end.length + 2]
        cmp     ax, [dta + DTA_SIZE + 2]
        je      .yes
.rewind:
        xor     cx, cx
        xor     dx, dx
        mov     ax, 4200h
        call    dos
        clc
        ret
.yes:
        stc
        ret

; file_record: the record of the file that is open.
; Input: file_path, [file_handle], dta.  Output: CF=1 when it could not be written; [file_all].
; Destroys: all but SP.
file_record:
        mov     byte [file_all], 1
        mov     al, RECORD_KIND_FILE
        call    record_open
        jc      .leave
        call    boot_section
        jc      .failed
        call    file_section
        jc      .failed
        mov     ax, [dta + DTA_SIZE]
        mov     dx, [dta + DTA_SIZE + 2]
        cmp     dx, FILE_MOST >> 16
        jb      .whole
        ja      .cut
        cmp     ax, FILE_MOST & 0FFFFh
        jbe     .whole
.cut:
        mov     ax, FILE_MOST & 0FFFFh
        mov     dx, FILE_MOST >> 16
        mov     byte [file_all], 0
        push    dx
        mov     dx, text_file_cut
        call    say_file
        pop     dx
.whole:
        mov     [file_left], ax
        mov     [file_left + 2], dx
        call    file_parts
        jc      .failed
        mov     al, [file_all]
        jmp     record_close
.failed:
        call    spool_close
        stc
.leave:
        ret

; file_section: what the folder has of the file.
; Input: file_path, dta, [file_part_at].  Output: CF=1 when it could not be written.  Destroys: AX, BX, CX, DI, SI.
file_section:
        mov     di, [file_part_at]
        mov     al, [dta + DTA_ATTRIBUTE]
        stosb
        mov     si, dta + DTA_TIME      ; time, date, size lie there in this order
        mov     cx, 8
        rep     movsb
        mov     si, file_path
        call    text_put
        mov     cx, di
        mov     si, [file_part_at]
        sub     cx, si
        mov     al, TAG_FILE
        jmp     section_whole

; file_parts: the content, part by part.
; Input: [file_left], [file_handle], [file_part_*].  Output: CF=1 when the spool could not be written; [file_all] = 0
; when DOS could not read it all.  Destroys: AX, BX, CX, DX, SI.
file_parts:
        mov     cx, [file_part_size]
        cmp     word [file_left + 2], 0
        jne     .read
        cmp     cx, [file_left]
        jbe     .read
        mov     cx, [file_left]
        jcxz    .done
.read:
        mov     bx, [file_handle]
        mov     dx, [file_part_at]
        mov     ah, 3Fh
        call    dos
        jc      .short
        cmp     ax, cx
        jne     .short
        sub     [file_left], cx
        sbb     word [file_left + 2], 0
        mov     al, TAG_FILE_DATA
        mov     si, [file_part_at]
        call    section_whole
        jnc     file_parts
        ret
.short:
        mov     byte [file_all], 0
        jc      .say
        mov     cx, ax
        jcxz    .say
        mov     al, TAG_FILE_DATA
        mov     si, [file_part_at]
        call    section_whole
        jc      .leave
.say:
        mov     dx, text_unreadable
        call    say_file
.done:
        clc
.leave:
        ret

; text_put: put a text with its length before it.
; Input: SI = ASCIIZ, at most 255, DI = where.  Output: DI behind it.  Destroys: AX, BX, SI.
text_put:
        mov     bx, di
        inc     di
        call    copy_string
        mov     ax, di
        sub     ax, bx
        dec     ax
        mov     [bx], al
        ret
