; Screens on the way: the text screen is kept before a mode is set and when the program begins to wait for a key.
; One that is like the last one kept, or like the cleared screen at the start, is not kept.
;
; It is packed into the end of the console buffer, and written from there like the console: at once where DOS is free,
; else at the next call of INT 21h that finds InDOS at 0. Where there is no room for it, or another one still waits, the
; record says screens_missed.

; packed cells, as protocols/README.md has it
PACK_LITERAL_MOST       equ 127         ; control 0 to 127: one cell more than that follow as they are
PACK_RUN_BASE           equ 125         ; control 128 to 255: the cell that follows stands that less 125 times
PACK_RUN_LEAST          equ 3
PACK_RUN_MOST           equ 130

section .staybss
        alignb  2
screen_last:            resd 1          ; sum of the last screen that was kept, or of the one at the start
wait_octets:            resw 1          ; printed at the last wait that polls
pack_end:               resw 1
screen_free:            resb 1          ; 1: DOS may be asked to write
screens_kept:           resb 1          ; 1: at least one in this run
screens_missed:         resb 1

section .text

; screen_first: note what the screen is like at the start.
; Input: none.  Output: [screen_last].  Destroys: AX, BX, CX, DX, SI, DI.
screen_first:
        xor     bx, bx
        xor     dx, dx
        mov     al, MOMENT_EXIT
        call    screen_measure
        jc      .set
        call    screen_sum
.set:
        mov     [screen_last], bx
        mov     [screen_last + 2], dx
        ret

section .stay

; wait_keep: the program waits for a key. Called on the hook's stack.
; Input: ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, DS.
wait_keep:
        mov     ax, [cs:console_kept]   ; how much was printed
        add     ax, [cs:console_used]
        add     ax, [cs:console_lost]
        cmp     byte [cs:wait_kept], 0
        je      .look
        cmp     ax, [cs:wait_octets]
        je      .leave
.look:
        mov     byte [cs:wait_kept], 1
        mov     [cs:wait_octets], ax
        mov     al, MOMENT_KEY_WAIT
        jmp     short screen_keep
.leave:
        ret

; mode_keep: a mode is about to be set. Called on the hook's stack, interrupts off.
; Input: ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, DS.
mode_keep:
        mov     al, MOMENT_MODE_SET
        ; fall through

; screen_keep: keep the screen, unless it was kept already. Called on the hook's stack, interrupts off.
; Input: AL = MOMENT_*, ES = CS.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, DS.
screen_keep:
        push    cs
        pop     ds
        push    ax
        mov     byte [screen_free], 0
        call    dos_is_free
        jne     .known
        call    no_interrupt
        jc      .known
        inc     byte [screen_free]
.known:
        pop     ax
        sti
        call    screen_measure
        jnc     .text
        test    al, RUN_END_FLAGS_GRAPHICS_LEFT
        jz      .missed
        jmp     picture_keep
.text:
        call    screen_sum
        cmp     bx, [screen_last]
        jne     .new
        cmp     dx, [screen_last + 2]
        je      .leave
.new:
        push    bx
        push    dx
        call    .flush                  ; makes room
        call    screen_pack
        pop     dx
        pop     bx
        jc      .missed
        mov     [screen_last], bx
        mov     [screen_last + 2], dx
        mov     byte [screens_kept], 1
        call    .flush
.bounds:
        jmp     console_bounds
.flush:
        cmp     byte [screen_free], 0
        je      .leave
        push    cx
        push    si
        call    console_flush_guarded
        pop     si
        pop     cx
.leave:
        ret
.missed:
        mov     byte [screens_missed], 1
        jmp     short .bounds

; screen_pack: pack the screen into the end of the console buffer.
; Input: screen_head, CX, SI as from screen_measure; DS = ES = CS.  Output: [screen_waits], [console_limit];
; CF=1 when it does not fit.  Destroys: AX, BX, CX, DX, SI, DI.
screen_pack:
        cmp     word [screen_waits], 1
        cmc
        jc      .leave                  ; another one is there
        mov     ax, scratch
        add     ax, [console_limit]
        mov     [pack_end], ax
        mov     di, scratch
        add     di, [console_used]
        push    di
        add     di, L_screen_size
        cmp     ax, di
        jb      .full
        push    cx
        push    si
        mov     byte [screen_head + L_screen.packing], PACKING_RUNS
        sub     di, L_screen_size
        mov     si, screen_head
        mov     cx, L_screen_size
        rep     movsb
        pop     si
        pop     cx
        call    screen_display
        push    ds
        mov     ds, ax
        call    cells_pack
        pop     ds
        jc      .full
        pop     si                      ; to the end of the buffer, so that the console can go on before it
        mov     cx, di
        sub     cx, si
        mov     [screen_waits], cx
        sub     [console_limit], cx
        add     si, cx
        dec     si
        mov     di, [pack_end]
        dec     di
        std
        rep     movsb
        cld
        ret
.full:
        pop     di
        stc
.leave:
        ret

; cells_pack: pack cells.
; Input: DS:SI = cells, CX = their octets, ES:DI = where, [pack_end].
; Output: DI behind them; CF=1: they do not fit, SI = the first that is not packed, CX = octets from there on.
; Destroys: AX, BX, CX, DX, SI.
cells_pack:
        shr     cx, 1                   ; CX = cells
        xor     bx, bx                  ; BX = control of the literals that are open, or 0
.cell:
        jcxz    .done
        lodsw
        dec     cx
        mov     dx, 1                   ; DX = so many alike
.alike:
        jcxz    .counted
        cmp     ax, [si]
        jne     .counted
        cmp     dx, PACK_RUN_MOST
        je      .counted
        inc     si
        inc     si
        inc     dx
        dec     cx
        jmp     short .alike
.counted:
        call    .room
        jc      .leave
        cmp     dx, PACK_RUN_LEAST
        jb      .literal
        push    ax
        mov     al, dl
        add     al, PACK_RUN_BASE
        stosb
        pop     ax
        stosw
        xor     bx, bx
        jmp     short .cell
.literal:
        test    bx, bx
        jz      .open
        cmp     byte [es:bx], PACK_LITERAL_MOST
        jb      .add
.open:
        mov     bx, di
        mov     byte [es:bx], -1
        inc     di
.add:
        inc     byte [es:bx]
        stosw
        dec     dx
        jz      .cell
        call    .room
        jnc     .literal
.leave:
        add     cx, dx                  ; back to the first that is not packed
        sub     si, dx
        sub     si, dx
        shl     cx, 1
        stc
        ret
.done:
        clc
        ret
.room:                                  ; CF=1 when no control and cell fit any more
        push    di
        add     di, 3
        cmp     [cs:pack_end], di
        pop     di
        ret
