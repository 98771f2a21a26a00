; Writes to display memory, by 8, 16 and from a 386 on by 32 bits: where text stands, and in a graphics mode.
;
; What is written over is kept and put back. For graphics the mode changes for a moment: 13h on a VGA or MCGA, 0Dh on an
; EGA, 4 on a CGA; only from a plain text mode of 25 rows, which is set again with what stood there, its page and cursor.

WRITES_OCTETS           equ 1024                        ; in one visit
WRITES_KEPT             equ scratch + 1024              ; of text
WRITES_WIDTHS           equ 3
TEXT_PARAGRAPHS         equ 1024                        ; 16 KB: all that a CGA has, four pages of others
GRAPHICS_SEGMENT        equ 0A000h
MODE_CGA_GRAPHICS       equ 04h
MODE_EGA_GRAPHICS       equ 0Dh
MODE_VGA_GRAPHICS       equ 13h
MODE_TEXT_LAST          equ 3
%if L_probe_writes_size + 1 + WRITES_WIDTHS * L_probe_timing_size > 1024 || 1024 + WRITES_OCTETS > SCRATCH_SIZE
%error scratch does not hold what is written over
%endif

section .data
        align   2
writes_by:              dw writes_8, writes_16, writes_32
writes_graphics:        db 0, 0, MODE_CGA_GRAPHICS, MODE_EGA_GRAPHICS, MODE_VGA_GRAPHICS, MODE_VGA_GRAPHICS

section .bss
        alignb  2
writes_segment:         resw 1
writes_store:           resw 1
writes_block:           resw 1                          ; 16 KB from DOS
writes_cursor:          resw 1
writes_shape:           resw 1
writes_mode:            resb 1                          ; text mode as found
writes_page:            resb 1

section .text

; probe_display: writes where text stands.
; Output: CX = octets of the section probe_display in scratch; [probe_problem].  Destroys: all but SP.
probe_display:
        call    writes_begin
        jc      writes_none
        mov     al, [writes_mode]
        mov     [scratch + L_probe_writes.mode], al
        call    screen_display
        mov     [writes_segment], ax
        push    ds
        mov     ds, ax
        xor     si, si
        mov     di, WRITES_KEPT
        mov     cx, WRITES_OCTETS / 2
        rep     movsw
        pop     ds
        call    writes_measure
        push    cx
        push    es
        mov     es, [writes_segment]
        xor     di, di
        mov     si, WRITES_KEPT
        mov     cx, WRITES_OCTETS / 2
        rep     movsw
        pop     es
        pop     cx
        ret

; probe_graphics: writes in a graphics mode.
; Output: CX = octets of the section probe_graphics in scratch; [probe_problem].  Destroys: all but SP.
probe_graphics:
        call    display_ask
        push    ax
        call    writes_begin
        pop     bx
        jc      writes_none
        mov     al, PROBE_PROBLEM_NO_MODE
        cmp     byte [writes_mode], MODE_MONO_TEXT
        je      writes_problem
        xor     bh, bh
        cmp     bl, DISPLAY_CLASS_VGA
        ja      writes_problem
        mov     bl, [writes_graphics + bx]
        test    bl, bl
        jz      writes_problem
        mov     [scratch + L_probe_writes.mode], bl
        call    writes_rows
        mov     al, PROBE_PROBLEM_GRAPHICS
        jc      writes_problem
        mov     bx, TEXT_PARAGRAPHS
        mov     ah, 48h
        call    dos
        mov     bx, ax
        mov     al, PROBE_PROBLEM_NO_MEMORY
        jc      writes_problem
        mov     [writes_block], bx
        call    writes_keep
        mov     al, [scratch + L_probe_writes.mode]
        mov     word [writes_segment], COLOUR_SEGMENT
        cmp     al, MODE_CGA_GRAPHICS
        je      .set
        mov     word [writes_segment], GRAPHICS_SEGMENT
.set:
        xor     ah, ah
        call    writes_video
        call    writes_measure
        push    cx
        call    writes_restore
        mov     ax, [writes_block]
        call    block_free
        pop     cx
        ret

; writes_begin: what both have in common.
; Input: none.  Output: [writes_mode]; CF=1 when nothing can be measured ([probe_problem] says why).
; Destroys: AX, BX, CX, DX, DI.
writes_begin:
        mov     cx, L_probe_writes_size + 1
        call    scratch_clear
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_VIDEO_MODE]
        mov     ah, [es:BDA_PAGE]
        pop     es
        mov     [writes_mode], ax       ; and the page
        cmp     al, MODE_MONO_TEXT
        je      .text
        cmp     al, MODE_TEXT_LAST
        ja      .graphics
.text:
        mov     word [stair_link], writes_link
        mov     word [stair_burst], writes_burst
        jmp     probe_timer
.graphics:
        mov     byte [probe_problem], PROBE_PROBLEM_GRAPHICS
        stc
        ret

; writes_problem: a section without a measurement.  writes_none: likewise, where [probe_problem] says why already.
; Input: AL = PROBE_PROBLEM_*.  Output: CX = octets of the section; [probe_problem].  Destroys: AL.
writes_problem:
        mov     [probe_problem], al
writes_none:
        mov     al, [probe_problem]
        mov     [scratch + L_probe_writes.problem], al
        mov     cx, L_probe_writes_size + 1
        ret

; writes_rows: are there 25 rows?
; Input: none.  Output: CF=1 when there are not.  Destroys: AX.
writes_rows:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_ROWS_LESS_ONE]
        pop     es
        test    al, al
        jz      .leave                  ; before the EGA nobody filled it in: CF=0
        cmp     al, 24
        je      .leave
        stc
.leave:
        ret

; writes_measure: all widths that this processor has.
; Input: [writes_segment].  Output: CX = octets of the section.  Destroys: AX, BX, DX, SI, DI.
writes_measure:
        mov     ax, [writes_segment]
        mov     [scratch + L_probe_writes.segment], ax
        mov     byte [scratch + L_probe_writes.passes], PASSES
        mov     ax, [probe_overhead]
        mov     [scratch + L_probe_writes.overhead], ax
        mov     di, scratch + L_probe_writes_size + 1
        mov     si, writes_by
        mov     cx, 2
        cmp     byte [processor_known], PROCESSOR_I80386
        jb      .widths
        inc     cx
.widths:
        mov     [scratch + L_probe_writes_size], cl
.next:
        lodsw
        mov     [writes_store], ax
        push    cx
        push    si
        push    di
        call    stair_point
        pop     bx
        mov     word [bx + L_probe_timing.size], WRITES_OCTETS
        mov     word [bx + L_probe_timing.size + 2], 0
        pop     si
        pop     cx
        loop    .next
        mov     cx, di
        sub     cx, scratch
        ret

; writes_link: one visit writes so many octets.
writes_link:
        mov     word [stair_round], 1
        mov     word [stair_round_reads], WRITES_OCTETS
        ret

; writes_burst: write so many times.
; Input: AX = visits, interrupts off.  Output: AX = counts.  Destroys: BX, CX, DX, SI.
writes_burst:
        push    es
        push    di
        mov     es, [writes_segment]
        mov     dx, ax
        call    pit_count
        push    ax
        xor     ax, ax
.visit:
        xor     di, di
        call    [writes_store]
        dec     dx
        jnz     .visit
        call    pit_count
        mov     bx, ax
        pop     ax
        sub     ax, bx
        pop     di
        pop     es
        ret

; The stores. Input: ES:DI, AX = 0.  Output: DI behind.  Destroys: CX.
writes_8:
        mov     cx, WRITES_OCTETS
        rep     stosb
        ret

writes_16:
        mov     cx, WRITES_OCTETS / 2
        rep     stosw
        ret

        cpu     386
guarded_writes_begin:
writes_32:
        push    eax
        xor     eax, eax
        mov     cx, WRITES_OCTETS / 4
        rep     stosd
        pop     eax
        ret
guarded_writes_end:
        cpu     8086

; writes_keep: keep what a change of mode loses.
; Input: [writes_block], [writes_page].  Output: the variables.  Destroys: AX, BX, CX, DX, SI, DI.
writes_keep:
        mov     bh, [writes_page]
        mov     ah, 03h
        call    writes_video
        mov     [writes_cursor], dx
        mov     [writes_shape], cx
        push    ds
        push    es
        mov     es, [writes_block]
        mov     ax, COLOUR_SEGMENT
        mov     ds, ax
        jmp     short writes_copy

; writes_restore: put it back.
; Input: as writes_keep left it.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI.
writes_restore:
        mov     al, [writes_mode]
        xor     ah, ah
        call    writes_video
        mov     al, [writes_page]
        mov     ah, 05h
        call    writes_video
        mov     bh, [writes_page]
        mov     dx, [writes_cursor]
        mov     ah, 02h
        call    writes_video
        mov     cx, [writes_shape]
        mov     ah, 01h
        call    writes_video
        push    ds
        push    es
        mov     ax, COLOUR_SEGMENT
        mov     es, ax
        mov     ds, [writes_block]
        ; fall through

; writes_copy: 16 KB from DS:0 to ES:0; ES and DS lie on the stack.
writes_copy:
        xor     si, si
        xor     di, di
        mov     cx, TEXT_PARAGRAPHS * 8
        rep     movsw
        pop     es
        pop     ds
        ret

; writes_video: ask the display BIOS.
; Input, output: as INT 10h.  Destroys: SI, DI, and as INT 10h.
writes_video:
        push    bp
        int     INT_VIDEO
        cld
        pop     bp
        ret
