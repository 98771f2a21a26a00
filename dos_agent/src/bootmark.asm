; The boot mark in the BIOS inter-application area (0040:00F0): a nonce that is drawn once a boot, and the
; ordinal that was last given away. A reset clears it; programs come and go and it stays.
; Also here: drawing numbers that differ from boot to boot, and the agent's serial.

section .staybss
        alignb  2
agent_serial:           resd 1          ; these three lie like a record's id
boot_nonce:             resd 1
ordinal:                resw 1          ; of the record that was opened last
%if L_record_id.boot_nonce != 4 || L_record_id.ordinal != 8 || L_record_id_size != 10
%error "a record's id is copied from where its parts lie"
%endif
boot_state:             resb 1          ; BOOT_STATE_*

section .bss
        alignb  2
drawn:                  resd 1          ; running value of what is mixed
draw_pool:              resb 16

section .text

; draw_number: draw a number from clocks that do not run in step.
; The RTC and the DOS clock tell boots of different times apart; the timer's counter, read between ticks,
; what is left. Input: none.  Output: DX:AX, never 0.  Destroys: BX, CX, SI, DI.
draw_number:
        mov     cx, 16
.round:
        push    cx
        mov     di, draw_pool
        mov     ah, 2Ah
        call    dos                     ; CX year, DX month and day
        mov     [di], dx
        mov     ah, 2Ch
        call    dos                     ; CX hour and minute, DX second and hundredths
        mov     [di + 2], cx
        mov     [di + 4], dx
        xor     cx, cx
        xor     dx, dx
        mov     ah, 02h
        int     1Ah                     ; RTC, where there is one
        mov     [di + 6], cx
        mov     [di + 8], dx
        mov     al, PIT_LATCH_0
        pushf
        cli
        out     PIT_COMMAND, al
        in      al, PIT_COUNTER_0
        mov     ah, al
        in      al, PIT_COUNTER_0
        popf
        mov     [di + 10], ax
        push    ds
        mov     bx, BIOS_DATA
        mov     ds, bx
        mov     ax, [BDA_TICKS]
        mov     dx, [BDA_TICKS + 2]
        pop     ds
        mov     [di + 12], ax
        mov     [di + 14], dx
        mov     si, di
        mov     cx, 16
        mov     bx, drawn
        call    crc32_update
        mov     cl, [drawn]             ; wait a little, as the last value has it
        xor     ch, ch
        inc     cx
.wait:
        loop    .wait
        pop     cx
        loop    .round
        mov     ax, [drawn]
        mov     dx, [drawn + 2]
        mov     bx, ax
        or      bx, dx
        jz      draw_number
        ret

; boot_mark_find: find this boot's mark, or make one.
; Input: [agent_serial].  Output: [boot_nonce], [boot_state].  Destroys: AX, BX, CX, DX, SI, DI.
boot_mark_find:
        push    es
        mov     ax, BOOT_MARK_SEGMENT
        mov     es, ax
        xor     dx, dx                  ; DX = sum of the words
        xor     bx, bx                  ; BX = all of them or'ed
        mov     si, BOOT_MARK_OFFSET
        mov     cx, L_boot_mark_size / 2
.word:
        mov     ax, [es:si]
        add     dx, ax
        or      bx, ax
        inc     si
        inc     si
        loop    .word
        mov     al, BOOT_STATE_FRESH
        test    bx, bx
        jz      .draw
        mov     al, BOOT_STATE_DAMAGED
        cmp     word [es:BOOT_MARK_OFFSET + L_boot_mark.word], BOOT_MARK_WORD
        jne     .draw
        test    dx, dx
        jnz     .draw
        mov     byte [boot_state], BOOT_STATE_FOUND
        mov     ax, [es:BOOT_MARK_OFFSET + L_boot_mark.nonce]
        mov     [boot_nonce], ax
        mov     ax, [es:BOOT_MARK_OFFSET + L_boot_mark.nonce + 2]
        mov     [boot_nonce + 2], ax
        pop     es
        ret
.draw:
        mov     [boot_state], al
        call    boot_mark_draw
        pop     es
        ret

; boot_mark_draw: draw a nonce and leave the mark with ordinal 0.
; Input: ES = BOOT_MARK_SEGMENT.  Output: [boot_nonce].  Destroys: AX, BX, CX, DX, SI, DI.
boot_mark_draw:
        call    draw_number
        mov     [boot_nonce], ax
        mov     [boot_nonce + 2], dx
        mov     di, BOOT_MARK_OFFSET
        mov     word [es:di + L_boot_mark.word], BOOT_MARK_WORD
        mov     [es:di + L_boot_mark.nonce], ax
        mov     [es:di + L_boot_mark.nonce + 2], dx
        mov     ax, [agent_serial]
        mov     [es:di + L_boot_mark.serial], ax
        mov     ax, [agent_serial + 2]
        mov     [es:di + L_boot_mark.serial + 2], ax
        xor     ax, ax
        mov     [es:di + L_boot_mark.ordinal], ax
        mov     [es:di + L_boot_mark.spare], ax
        ; fall through

; boot_mark_sum: make the mark's sum right.
; Input: ES = BOOT_MARK_SEGMENT.  Output: none.  Destroys: AX, CX, SI.
boot_mark_sum:
        xor     ax, ax
        mov     si, BOOT_MARK_OFFSET
        mov     cx, L_boot_mark_size / 2 - 1
.word:
        add     ax, [es:si]
        inc     si
        inc     si
        loop    .word
        neg     ax
        mov     [es:BOOT_MARK_OFFSET + L_boot_mark.sum], ax
        ret

; ordinal_next: give away the boot's next ordinal. After the last one a new nonce is drawn.
; Input: none.  Output: AX and [ordinal].  Destroys: nothing.
ordinal_next:
        push    bx
        push    cx
        push    dx
        push    si
        push    di
        push    es
        mov     ax, BOOT_MARK_SEGMENT
        mov     es, ax
        inc     word [es:BOOT_MARK_OFFSET + L_boot_mark.ordinal]
        jnz     .given
        call    boot_mark_draw
        inc     word [es:BOOT_MARK_OFFSET + L_boot_mark.ordinal]
.given:
        call    boot_mark_sum
        mov     ax, [es:BOOT_MARK_OFFSET + L_boot_mark.ordinal]
        mov     [ordinal], ax
        pop     es
        pop     di
        pop     si
        pop     dx
        pop     cx
        pop     bx
        ret

; boot_put: tell which boot of which agent this is, as it stands in a record's id, a hello and a question.
; Input: DI = where.  Output: DI behind it.  Destroys: CX, SI.
boot_put:
        mov     si, agent_serial
        mov     cx, L_record_id.ordinal / 2
        rep     movsw
        ret

; serial_find: read the agent's serial from the spool folder, or draw one and keep it there.
; Input: none.  Output: [agent_serial], 0 where none could be kept.  Destroys: AX, BX, CX, DX, SI, DI.
serial_find:
        mov     si, serial_name
        mov     di, spool_path
        call    spool_name
        mov     dx, spool_path
        mov     ax, 3D00h
        call    dos
        jc      .none
        mov     bx, ax
        mov     dx, agent_serial
        mov     cx, SERIAL_SIZE
        mov     ah, 3Fh
        call    dos
        call    handle_close
        jc      .zero
        cmp     ax, SERIAL_SIZE
        jne     .zero                   ; somebody's file: it stays as it is
        ret
.none:
        call    draw_number
        mov     [agent_serial], ax
        mov     [agent_serial + 2], dx
        mov     dx, spool_path
        xor     cx, cx
        mov     ah, 5Bh
        call    dos
        jc      .zero
        mov     bx, ax
        mov     dx, agent_serial
        mov     cx, SERIAL_SIZE
        mov     ah, 40h
        call    dos
        call    handle_close
        jc      .delete
        cmp     ax, SERIAL_SIZE
        je      .leave
.delete:
        mov     dx, spool_path
        mov     ah, 41h
        call    dos
.zero:
        mov     word [agent_serial], 0
        mov     word [agent_serial + 2], 0
.leave:
        ret
