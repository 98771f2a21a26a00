; Runs that were not finished: at the first start after a reset, records of runs in the spool that have no END are named.
; Such a run hung the machine, lost power, or was reset. The records stay; a host stores them as what they are.

UNFINISHED_HEAD         equ 512         ; octets of a record in which its run_start is looked for

section .data
unfinished_pattern:     db "*.RDO", 0
text_not_finished:      db " was not finished: the machine was reset, or lost power, while it ran ", 0

section .bss
        alignb  2
unfinished_handle:      resw 1
unfinished_name_at:     resw 1

section .text

; unfinished_report: name them, unless an agent ran in this boot before.
; Input: [boot_state], option_spool.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI.
unfinished_report:
        cmp     byte [boot_state], BOOT_STATE_FOUND
        je      .leave
        mov     dx, dta
        mov     ah, 1Ah
        call    dos
        mov     si, option_spool
        mov     di, option_value
        call    copy_string
        mov     [unfinished_name_at], di
        mov     si, unfinished_pattern
        call    copy_string
        mov     dx, option_value
        xor     cx, cx
        mov     ah, 4Eh
.next:
        call    dos
        jc      .leave
        mov     si, dta + DTA_NAME
        mov     di, [unfinished_name_at]
        call    copy_string
        mov     dx, option_value
        mov     ax, 3D00h
        call    dos
        jc      .again
        mov     [unfinished_handle], ax
        call    unfinished_look
        mov     bx, [unfinished_handle]
        call    handle_close
        jnc     .again
        push    si
        mov     si, text_readoff
        call    put_string
        mov     si, option_value
        call    put_string
        mov     si, text_not_finished
        call    put_string
        pop     si
        call    put_string
        call    put_line_end
.again:
        mov     ah, 4Fh
        jmp     short .next
.leave:
        ret

; unfinished_look: is a file the record of a run without its END?
; Input: [unfinished_handle], dta.  Output: CF=1 when it is, SI = the program's name (ASCIIZ).
; Destroys: AX, BX, CX, DX, DI.
unfinished_look:
        mov     dx, [dta + DTA_SIZE]
        mov     cx, [dta + DTA_SIZE + 2]
        sub     dx, END_LENGTH
        sbb     cx, 0
        jc      .no
        mov     bx, [unfinished_handle]
        mov     ax, 4200h
        call    dos
        mov     dx, scratch
        mov     cx, END_LENGTH
        mov     ah, 3Fh
        call    dos
        jc      .no
        cmp     word [scratch], TAG_END ; its flags are 0
        jne     .open
        mov     ax, [scratch + L_section_head_size + L_end.length]
        mov     dx, [scratch + L_section_head_size + L_end.length + 2]
        sub     ax, [dta + DTA_SIZE]
        sbb     dx, [dta + DTA_SIZE + 2]
        or      ax, dx
        jz      .no
.open:
        xor     cx, cx
        xor     dx, dx
        mov     ax, 4200h
        call    dos
        mov     di, scratch
        mov     cx, UNFINISHED_HEAD / 2 + 128
        xor     ax, ax
        rep     stosw
        mov     dx, scratch
        mov     cx, UNFINISHED_HEAD
        mov     ah, 3Fh
        call    dos
        jc      .no
        cmp     word [scratch + L_header.magic], 'RO'
        jne     .no
        cmp     word [scratch + L_header.magic + 2], 'f' | 1Ah << 8
        jne     .no
        cmp     byte [scratch + L_header.kind], RECORD_KIND_RUN
        je      .kind
        cmp     byte [scratch + L_header.kind], RECORD_KIND_PROBE
        jne     .no
.kind:
        mov     si, [scratch + L_header.header_size]
.section:
        cmp     si, UNFINISHED_HEAD - L_run_start_size
        jae     .no
        add     si, scratch + CHECK_SIZE
        mov     cx, [si + L_section_head.length]
        cmp     byte [si + L_section_head.tag], TAG_RUN_START
        je      .found
        cmp     cx, UNFINISHED_HEAD
        ja      .no
        add     si, cx
        sub     si, scratch - L_section_head_size
        jmp     short .section
.no:
        clc
        ret
.found:
        add     si, L_section_head_size + L_run_start.label
        call    .skip                   ; the label
        lodsb
        mov     bl, al
        xor     bh, bh
        mov     byte [si + bx], 0
        stc
        ret
.skip:
        lodsb
        xor     ah, ah
        add     si, ax
        ret
