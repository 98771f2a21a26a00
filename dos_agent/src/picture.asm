; Pictures: the frame of a graphics mode, kept before a mode is set, at the exit, and before a reset when the time is over.
; One that shows a single colour, or the same as the last one kept, is not kept on the way.
;
; It is read and packed by way of the console buffer, a part of a section at a time, so no memory of its size is needed;
; but DOS must be free. Where it is not, or the disk or the record has no room, a `picture` section without one
; says why, as soon as it can be written.

PICTURE_ROOM            equ ROOM_SIZE + 2 * SCRATCH_SIZE        ; octets to spare behind it, in record and disk
DOS_FREE_SPACE          equ 36h

section .staybss
        alignb  2
picture_last:           resd 1          ; sum of the last one kept
picture_sum:            resd 1
picture_head:           resb L_picture_size
picture_result:         resb 1          ; PICTURE_STATE_* of the last one
picture_waits:          resb 1          ; 1: picture_head waits to be written; it says why there is none
picture_coloured:       resb 1          ; 1: more than one colour

section .stay

; picture_keep: keep the frame of the graphics mode that is on. Called on the hook's stack.
; Input: screen_head.moment, [screen_free], DS = ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI.
picture_keep:
        mov     al, PICTURE_STATE_HOT_KEY
        mov     ah, [screen_head + L_screen.moment]
        cmp     ah, MOMENT_KEY_WAIT
        je      .leave
        cmp     ah, MOMENT_HOT_KEY
        je      .none
        cmp     byte [screen_free], 0
        je      .busy
        call    console_flush_guarded   ; the buffer is needed
        jc      .stopped
        mov     word [guarded_work], picture_write
        call    console_flush_guarded
        mov     word [guarded_work], console_flush
        jnc     .leave
.stopped:
        mov     al, PICTURE_STATE_DISK
        cmp     byte [spool_full], 0
        jne     .none
        call    no_critical_error
        mov     al, PICTURE_STATE_CRITICAL_ERROR
        jc      .none
        mov     al, PICTURE_STATE_RECORD_FULL
        jmp     short .none
.busy:
        mov     al, PICTURE_STATE_DOS_BUSY
        call    dos_is_free
        jne     .none
        mov     al, PICTURE_STATE_IN_INTERRUPT
.none:
        call    picture_none
.leave:
        jmp     console_bounds

; picture_none: there is no picture; say so in the record as soon as it can be written.
; Input: AL = PICTURE_STATE_*, screen_head.moment.  Output: picture_head, [picture_waits], [screens_missed].
; Destroys: AX, BX, CX, DX, SI, DI.
picture_none:
        cmp     byte [screen_head + L_screen.moment], MOMENT_EXIT
        je      .told                   ; run_end says so in another way
        cmp     al, PICTURE_STATE_UNKNOWN_MODE
        jae     .told                   ; it could not have been kept at all
        mov     byte [screens_missed], 1
.told:
        cmp     byte [picture_waits], 0
        jne     .further
        push    ax
        call    frame_find
        call    picture_head_fill
        pop     ax
        mov     [picture_head + L_picture.state], al
        mov     [picture_result], al
        mov     byte [picture_head + L_picture.planes], 0
        mov     byte [picture_waits], 1
        ret
.further:
        cmp     byte [picture_head + L_picture.further], 255
        je      .leave
        inc     byte [picture_head + L_picture.further]
.leave:
        ret

; picture_head_fill: what the mode tells.
; Input: SI = entry of frame_modes, or 0; screen_head.moment, [frame_start].  Output: picture_head.
; Destroys: AX, BX, CX, DI.
picture_head_fill:
        mov     di, picture_head
        mov     cx, L_picture_size
        xor     al, al
        rep     stosb
        mov     di, picture_head
        mov     al, [screen_head + L_screen.moment]
        mov     [di + L_picture.moment], al
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_VIDEO_MODE]
        and     al, 7Fh
        mov     ah, [es:BDA_COLOUR_SELECT]
        pop     es
        mov     [di + L_picture.mode], al
        mov     [di + L_picture.colour_select], ah
        mov     byte [di + L_picture.packing], PACKING_RUNS
        test    si, si
        jz      .leave
        mov     ax, [si + frame_mode.width]
        mov     [di + L_picture.width], ax
        mov     ax, [si + frame_mode.height]
        mov     [di + L_picture.height], ax
        mov     ax, [frame_start]
        mov     [di + L_picture.start], ax
        mov     bl, [si + frame_mode.planes]
.plane:
        shr     bl, 1
        adc     byte [di + L_picture.planes], 0
        test    bl, bl
        jnz     .plane
.leave:
        ret

; picture_write: the sections `picture` and `picture_data`. DOS is free, the console buffer is empty.
; Input: screen_head.moment; DS = ES = SS = CS, our PSP.  Output: [picture_result], [screens_missed]; CF=0.
; Destroys: AX, BX, CX, DX, SI, DI.
picture_write:
        call    frame_find
        jc      .none
        call    picture_may_set
        jc      .none
        call    frame_open
        xor     ax, ax
        mov     [picture_sum], ax
        mov     [picture_sum + 2], ax
        mov     [picture_coloured], al
        mov     ax, plane_sum
        call    frame_planes
        mov     si, [frame_entry]
        call    picture_head_fill
        cmp     byte [picture_coloured], 0
        je      .blank
        mov     ax, [picture_sum]
        cmp     ax, [picture_last]
        jne     .new
        mov     ax, [picture_sum + 2]
        cmp     ax, [picture_last + 2]
        je      .kept                   ; it is in the record already
.new:
        call    picture_room
        jc      .refused
        call    picture_section
        jc      .failed
        mov     ax, plane_pack
        call    frame_planes
        jc      .failed
        mov     ax, [picture_sum]
        mov     [picture_last], ax
        mov     ax, [picture_sum + 2]
        mov     [picture_last + 2], ax
.kept:
        mov     byte [picture_result], PICTURE_STATE_KEPT
.close:
        call    frame_close
        clc
        ret
.blank:
        mov     al, PICTURE_STATE_BLANK
        mov     [picture_result], al
        cmp     byte [screen_head + L_screen.moment], MOMENT_MODE_SET
        je      .close
        mov     [picture_head + L_picture.state], al
        mov     byte [picture_head + L_picture.planes], 0
        call    picture_section
        jnc     .close
.failed:
        mov     byte [spool_full], 1
        mov     byte [screens_missed], 1
        mov     byte [picture_result], PICTURE_STATE_DISK
        jmp     short .close
.refused:
        push    ax
        call    frame_close
        pop     ax
.none:
        call    picture_none
        call    console_flush
        clc
        ret

; picture_may_set: may the registers of the display be set? An EGA's can't be read and put back.
; Input: [frame_*], screen_head.moment, the call's AX on top of the hook's stack.
; Output: CF=1, AL = PICTURE_STATE_* when not.  Destroys: AX, BX.
picture_may_set:
        cmp     byte [frame_adapter], 1
        clc
        jne     .leave
        cmp     byte [screen_head + L_screen.moment], MOMENT_MODE_SET
        clc
        jne     .leave                  ; a mode is set, or the machine reset, right afterwards
        mov     ax, [hook_stack_top - 2]
        and     al, 7Fh
        cmp     ax, 7
        jbe     .good
        cmp     ax, MODE_PLANES_FIRST
        jb      .not
        cmp     ax, 11h
        cmc
        jnc     .leave
.not:
        mov     al, PICTURE_STATE_CANNOT_PUT_BACK
        stc
        ret
.good:
        clc
.leave:
        ret

; plane_sum: let a plane into the sum, and see whether it has one colour only.
; Input: DS:SI, CX; ES = CS.  Output: [picture_sum], [picture_coloured]; CF=0.  Destroys: AX, BX, CX, DX, SI, DI.
plane_sum:
        mov     di, si
        push    cx
        push    es
        push    ds
        pop     es
        shr     cx, 1
        mov     ax, [si]
        repe    scasw
        pop     es
        pop     cx
        jne     .coloured
        cmp     al, ah
        je      .sum
.coloured:
        mov     byte [cs:picture_coloured], 1
.sum:
        mov     bx, [cs:picture_sum]
        mov     dx, [cs:picture_sum + 2]
        call    cells_sum
        mov     [cs:picture_sum], bx
        mov     [cs:picture_sum + 2], dx
        clc
        ret

; picture_room: is there room for it, at its worst?
; Input: [frame_entry], picture_head.  Output: CF=1, AL = PICTURE_STATE_* when not.  Destroys: AX, BX, CX, DX, SI.
picture_room:
        mov     si, [frame_entry]
        mov     al, [picture_head + L_picture.planes]
        xor     ah, ah
        mul     word [si + frame_mode.octets]
        add     ax, PICTURE_ROOM
        adc     dx, 0
        mov     bx, ax
        mov     cx, dx                  ; CX:BX = wanted
        add     ax, [record_length]
        adc     dx, [record_length + 2]
        cmp     dx, RECORD_LIMIT >> 16
        mov     al, PICTURE_STATE_RECORD_FULL
        cmc
        jc      .leave
        push    bx
        push    cx
        mov     dl, [spool_path]
        and     dl, 1Fh                 ; the letter's number
        mov     ah, DOS_FREE_SPACE
        call    dos
        mul     cx                      ; AX = octets of a cluster
        test    dx, dx
        jnz     .enough
        mul     bx
        pop     cx
        pop     bx
        sub     ax, bx
        sbb     dx, cx
        mov     al, PICTURE_STATE_DISK
.leave:
        ret
.enough:
        pop     cx
        pop     bx
        clc
        ret

; picture_section: write the section `picture`.
; Input: picture_head.  Output: CF=1 when it could not be written.  Destroys: AX, BX, CX, DX, SI, DI.
picture_section:
        mov     di, scratch + L_picture_size
        mov     al, [picture_head + L_picture.planes]
        call    frame_colours
        mov     cx, di
        mov     si, picture_head
        mov     di, scratch
        sub     cx, di
        push    cx
        mov     cx, L_picture_size
        rep     movsb
        pop     cx
        mov     al, TAG_PICTURE
        jmp     section_in_scratch

; plane_pack: pack a plane into sections `picture_data`.
; Input: DS:SI, CX; ES = CS.  Output: CF=1 when one could not be written.  Destroys: AX, BX, CX, DX, SI, DI.
plane_pack:
        mov     word [cs:pack_end], scratch_end
.part:
        mov     di, scratch
        call    cells_pack
        pushf
        push    cx
        push    si
        push    ds
        push    cs
        pop     ds
        mov     al, TAG_PICTURE_DATA
        call    section_up_to
        pop     ds
        pop     si
        pop     cx
        jc      .failed
        popf
        jc      .part
        ret
.failed:
        popf
        stc
        ret
