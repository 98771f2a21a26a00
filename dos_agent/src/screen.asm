; The text screen: what mode, where its cells lie, and the section `screen`.

SCREEN_MOST             equ 32768       ; octets of text memory

section .staybss
        alignb  2
screen_columns:         resw 1
screen_rows:            resw 1
screen_head:            resb L_screen_size

section .stay

; screen_is_text: is a text mode on?
; Input: none.  Output: CF=1 when it is a graphics mode.  Destroys: AX, DX.
screen_is_text:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_VIDEO_MODE]
        pop     es
        and     al, 7Fh                 ; bit 7: memory was not cleared
        cmp     al, 3
        jbe     .text
        cmp     al, MODE_MONO_TEXT
        je      .text
        cmp     al, 13h
        jbe     .graphics
        call    display_has_vga         ; a mode of the adapter's own: ask the adapter
        jc      .graphics
        pushf
        cli
        mov     dx, GRAPHICS_CONTROLLER
        in      al, dx
        mov     ah, al
        mov     al, GC_MISCELLANEOUS
        out     dx, al
        inc     dx
        in      al, dx
        xchg    al, ah
        dec     dx
        out     dx, al                  ; the index as it was
        popf
        test    ah, 1
        jnz     .graphics
.text:
        clc
        ret
.graphics:
        stc
        ret

; display_has_vga: is there a VGA?
; Input: none.  Output: CF=1 when not.  Destroys: AX.
display_has_vga:
        push    bx
        push    cx
        push    dx
        push    bp
        mov     ax, 1A00h
        int     10h
        cmp     al, 1Ah
        clc
        je      .leave
        stc
.leave:
        pop     bp
        pop     dx
        pop     cx
        pop     bx
        ret

; screen_size: how many columns and rows the text screen has.
; EGA and later tell the rows; before there were always 25.
; Input: none.  Output: [screen_columns], [screen_rows].  Destroys: AX, BX, CX, DX.
screen_size:
        push    bp
        push    es
        mov     ah, 12h
        mov     bx, 0FF10h              ; EGA information: BH becomes 0 or 1 where there is an EGA or VGA
        mov     cx, 0FFFFh
        int     10h
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     ax, 25
        cmp     bh, 1
        ja      .rows
        mov     al, [es:BDA_ROWS_LESS_ONE]
        inc     ax
.rows:
        mov     [screen_rows], ax
        mov     ax, [es:BDA_COLUMNS]
        mov     [screen_columns], ax
        pop     es
        pop     bp
        ret

section .text

; screen_clear: clear the text screen, so that what is on it afterwards is this run's. A graphics mode stays.
; Input: none.  Output: none.  Destroys: AX, BX, CX, DX.
screen_clear:
        call    screen_is_text
        jc      .leave
        call    screen_size
        push    bp
        mov     dh, [screen_rows]
        dec     dh
        mov     dl, [screen_columns]
        dec     dl
        xor     cx, cx
        mov     bh, 07h
        mov     ax, 0600h
        int     10h
        mov     ah, 0Fh                 ; BH = page
        int     10h
        xor     dx, dx
        mov     ah, 02h
        int     10h
        pop     bp
.leave:
        ret

section .stay

; screen_display: which display text goes to.
; Input: none.  Output: AX = segment of its memory.  Destroys: nothing.
screen_display:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        cmp     byte [es:BDA_VIDEO_MODE], MODE_MONO_TEXT
        je      .mono
        cmp     word [es:BDA_CRTC], CRTC_MONO
        mov     ax, COLOUR_SEGMENT
        jne     .leave
.mono:
        mov     ax, MONO_SEGMENT
.leave:
        pop     es
        ret

; screen_measure: what the text screen is like.
; Input: AL = MOMENT_*.
; Output: screen_head, CX = octets of cells, SI = where they begin in text memory; or CF=1, AL = RUN_END_FLAGS_*: what
; stands against it.  Destroys: AX, BX, CX, DX, SI, DI.
screen_measure:
        mov     [screen_head + L_screen.moment], al
        call    screen_is_text
        mov     al, RUN_END_FLAGS_GRAPHICS_LEFT | RUN_END_FLAGS_SCREEN_MISSING
        jc      .leave
        call    screen_size
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     di, screen_head
        mov     al, [es:BDA_VIDEO_MODE]
        mov     [di + L_screen.mode], al
        mov     al, [screen_columns]
        mov     [di + L_screen.columns], al
        mov     al, [screen_rows]
        mov     [di + L_screen.rows], al
        mov     bl, [es:BDA_PAGE]
        mov     [di + L_screen.page], bl
        and     bx, 7
        shl     bx, 1
        mov     ax, [es:BDA_CURSORS + bx]
        mov     [di + L_screen.cursor_column], al
        mov     [di + L_screen.cursor_row], ah
        mov     byte [di + L_screen.packing], PACKING_NONE
        mov     si, [es:BDA_PAGE_START]
        pop     es
        cmp     word [screen_columns], 255
        ja      .odd
        mov     ax, [screen_rows]
        cmp     ax, 255
        ja      .odd
        mul     word [screen_columns]
        test    dx, dx
        jnz     .odd
        test    ax, ax
        jz      .odd
        cmp     ax, SCREEN_MOST / 2
        ja      .odd
        shl     ax, 1
        mov     cx, ax                  ; CX = octets of cells
        add     ax, si
        jc      .odd
        cmp     ax, SCREEN_MOST + 1     ; they lie within text memory
        cmc
        jnc     .leave
.odd:
        mov     al, RUN_END_FLAGS_SCREEN_MISSING
        stc
.leave:
        ret

; screen_sum: a sum of the cells, to tell one screen from the next. 5 instructions a cell.
; Input: screen_head, CX, SI as from screen_measure.  Output: DX:BX.  Destroys: AX.
screen_sum:
        push    cx
        push    si
        push    ds
        mov     bx, [screen_head + L_screen.columns]    ; and rows
        xor     dx, dx
        call    screen_display
        mov     ds, ax
        call    cells_sum
        pop     ds
        pop     si
        pop     cx
        ret

; cells_sum: let cells into a sum.
; Input: DS:SI, CX = octets, not 0; DX:BX = sum so far.  Output: DX:BX.  Destroys: AX, CX, SI.
cells_sum:
        shr     cx, 1
.cell:
        lodsw
        add     bx, ax
        rol     bx, 1
        adc     dx, bx
        loop    .cell
        ret

; screen_section: the section `screen` from what is on the text screen, packed where that makes it shorter. One that was
; kept already is not kept again. The console buffer is over: scratch is free.
; Input: AL = MOMENT_*.
; Output: CF=1, AL = RUN_END_FLAGS_*: what stands against it (nothing is written then); or AL = 0: the spool failed.
; Destroys: AX, BX, CX, DX, SI, DI.
screen_section:
        call    screen_measure
        jc      .leave
        cmp     byte [screens_kept], 0
        je      .new
        call    screen_sum
        cmp     bx, [screen_last]
        jne     .new
        cmp     dx, [screen_last + 2]
        je      .leave                  ; CF=0
.new:
        call    screen_pack_whole
        jnc     .packed
        push    si
        push    cx
        add     cx, L_screen_size
        mov     al, TAG_SCREEN
        call    section_begin
        jc      .begun
        mov     si, screen_head
        mov     cx, L_screen_size
        call    record_put
.begun:
        pop     cx
        pop     si
        jc      .failed
        call    screen_display
        push    ds
        mov     ds, ax
        call    record_put
        pop     ds
        jc      .failed
        call    section_finish
        jnc     .leave
.failed:
        call    section_drop
        xor     al, al
        stc
.leave:
        ret
.packed:
        mov     al, TAG_SCREEN
        call    section_up_to
        jc      .failed
        ret

; screen_pack_whole: pack the screen into scratch.
; Input: screen_head, CX, SI as from screen_measure; DS = ES = CS.
; Output: DI behind it, or CF=1 when that makes it no shorter (screen_head says that it is not packed then).
; Destroys: AX, BX, DX.
screen_pack_whole:
        push    cx
        push    si
        mov     di, scratch + L_screen_size
        mov     ax, di
        add     ax, cx
        cmp     ax, scratch + SCRATCH_SIZE
        jbe     .room
        mov     ax, scratch + SCRATCH_SIZE
.room:
        mov     [pack_end], ax
        call    screen_display
        push    ds
        mov     ds, ax
        call    cells_pack
        pop     ds
        jc      .plain
        push    di
        mov     byte [screen_head + L_screen.packing], PACKING_RUNS
        mov     si, screen_head
        mov     di, scratch
        mov     cx, L_screen_size
        rep     movsb
        pop     di
        clc
.plain:
        pop     si
        pop     cx
        ret
