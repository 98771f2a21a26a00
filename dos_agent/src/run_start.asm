; The section run_start: what was asked for, of a run and of a probe.

section .text

; run_start_section: what was asked for.
; Input: [repeat], options, exec_path, exec_tail.  Output: CF=1 when it could not be written.
; Destroys: AX, BX, CX, DX, SI, DI.
run_start_section:
        call    overlay_give            ; for a moment, as it will be: nothing of it is touched but the gap before it
        mov     ah, 48h                 ; more than there is: DOS tells the largest block
        mov     bx, 0FFFFh
        call    dos
        push    bx
        mov     bx, [all_paragraphs]
        mov     ah, 4Ah
        call    dos
        pop     bx
        mov     byte [overlay_there], 1
        call    run_start_head
        mov     si, option_program
        cmp     byte [si], 0
        jne     .named
        mov     si, program_name
.named:
        call    text_put
        mov     si, exec_path
        cmp     byte [si], 0
        jne     .path
        mov     si, program_word
.path:
        call    text_put
        mov     si, exec_tail
        lodsb
        mov     cl, al
        xor     ch, ch
.blank:
        jcxz    .arguments
        cmp     byte [si], ' '
        jne     .arguments
        inc     si
        dec     cx
        jmp     short .blank
.arguments:
        mov     al, cl
        stosb
        rep     movsb
        ; fall through

; run_start_put: write it.
; Input: scratch, DI behind it.  Output: CF=1 when it could not be written.  Destroys: AX, BX, CX, DX, SI, DI.
run_start_put:
        mov     al, TAG_RUN_START
        jmp     section_up_to

; run_start_head: what a run and a probe have in common at the beginning of that section.
; Input: [repeat], options, BX = free paragraphs.  Output: scratch, DI behind the label.  Destroys: AX, BX, SI.
run_start_head:
        mov     di, scratch
        mov     ax, [repeat]
        mov     [di + L_run_start.repeat], ax
        mov     ax, [option_repeats]
        mov     [di + L_run_start.repeats], ax
        mov     ax, [snapshot_ordinal]
        mov     [di + L_run_start.snapshot_ordinal], ax
        mov     [di + L_run_start.free_paragraphs], bx
        add     di, L_run_start.label
        mov     si, option_label
        jmp     text_put
