; The frame of a graphics mode where it lies: its planes one after the other, and its colours. What the display was set to
; is put back; where that can't be done there is no picture.
;
;       VGA     the registers of the graphics controller, sequencer and CRT controller can be read: kept, put back
;       EGA     they can only be written. Its planes are read where the BIOS sets a mode right afterwards, which sets
;               them all: at the exit, and before a mode that an EGA has
;       CGA     nothing needs to be set

SEQUENCER               equ 3C4h
SEQ_MEMORY              equ 4           ; bit 3: four planes chained into packed octets
SEQ_CHAINED             equ 08h
GC_READ_MAP             equ 4
GC_MODE                 equ 5           ; bit 3: reads compare colours
GC_COMPARES             equ 08h
CRTC_START              equ 0Ch         ; high octet, then low
CRTC_OFFSET             equ 13h         ; of one row from the next, in words
PLANES_SEGMENT          equ 0A000h
MODE_PLANES_FIRST       equ 0Dh
MODE_PACKED             equ 13h
MODE_64K_FIRST          equ 0Fh         ; from here on an EGA with 64 KB lays planes out in another way
CGA_OCTETS              equ 16384
DAC_OCTETS              equ 768
PALETTE_OCTETS          equ 17

struc frame_mode
.mode:                  resb 1
.planes:                resb 1          ; bit n: plane n is shown
.width:                 resw 1
.height:                resw 1
.octets:                resw 1          ; of a plane; packed pixels are one
endstruc

section .staydata
frame_modes:            db 04h, 1
                        dw 320, 200, CGA_OCTETS
                        db 05h, 1
                        dw 320, 200, CGA_OCTETS
                        db 06h, 1
                        dw 640, 200, CGA_OCTETS
                        db 0Dh, 15
                        dw 320, 200, 8000
                        db 0Eh, 15
                        dw 640, 200, 16000
                        db 0Fh, 5
                        dw 640, 350, 28000
                        db 10h, 15
                        dw 640, 350, 28000
                        db 11h, 1
                        dw 640, 480, 38400
                        db 12h, 15
                        dw 640, 480, 38400
                        db 13h, 1
                        dw 320, 200, 64000
frame_modes_end:

section .staybss
        alignb  2
frame_entry:            resw 1          ; in frame_modes
frame_start:            resw 1          ; octets into each plane
frame_segment:          resw 1
frame_work:             resw 1
frame_index:            resb 1          ; graphics controller, as found: index, read map, mode
frame_map:              resb 1
frame_reads:            resb 1
frame_adapter:          resb 1          ; 0 CGA, 1 EGA, 2 VGA

section .stay

; frame_find: what frame does the mode have, and can it be read as its BIOS laid it out?
; Input: ES = CS.  Output: [frame_*], SI = entry; CF=1, AL = PICTURE_STATE_*: what stands against it; SI = 0 where the mode
; is not known.  Destroys: AX, BX, CX, DX, DI.
frame_find:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_VIDEO_MODE]
        mov     bx, [es:BDA_PAGE_START]
        pop     es
        mov     [frame_start], bx
        and     al, 7Fh
        mov     si, frame_modes
.entry:
        cmp     al, [si + frame_mode.mode]
        je      .found
        add     si, frame_mode_size
        cmp     si, frame_modes_end
        jb      .entry
        xor     si, si
        mov     al, PICTURE_STATE_UNKNOWN_MODE
        stc
        ret
.found:
        mov     [frame_entry], si
        mov     word [frame_segment], COLOUR_SEGMENT
        cmp     al, MODE_PLANES_FIRST
        jb      .placed
        mov     word [frame_segment], PLANES_SEGMENT
.placed:
        call    frame_adapter_find
        jc      .unknown
        cmp     byte [frame_adapter], 2
        jne     .start
        call    frame_as_laid_out
        jc      .changed
.start:
        cmp     byte [si + frame_mode.mode], MODE_PACKED
        je      .at_zero
        cmp     byte [si + frame_mode.mode], MODE_PLANES_FIRST
        jae     .wraps
.at_zero:
        cmp     word [frame_start], 0
        jne     .changed
.wraps:
        mov     ax, [frame_start]
        add     ax, [si + frame_mode.octets]
        jnc     .leave
.changed:
        mov     al, PICTURE_STATE_CHANGED_LAYOUT
        stc
.leave:
        ret
.unknown:
        mov     al, PICTURE_STATE_UNKNOWN_MODE
        stc
        ret

; frame_adapter_find: whose registers are they?
; Input: SI = entry.  Output: [frame_adapter]; CF=1: an EGA that lays this mode out in its own way.
; Destroys: AX, BX, CX.
frame_adapter_find:
        mov     byte [frame_adapter], 2
        call    display_has_vga
        jnc     .leave
        mov     byte [frame_adapter], 0
        push    bp
        mov     ah, 12h
        mov     bx, 0FF10h
        mov     cx, 0FFFFh
        int     10h
        pop     bp
        cmp     bh, 1
        ja      .cga
        inc     byte [frame_adapter]
        cmp     byte [si + frame_mode.mode], MODE_64K_FIRST
        jb      .cga
        cmp     bl, 1                   ; CF=1: 64 KB
.leave:
        ret
.cga:
        clc
        ret

; frame_as_laid_out: VGA: are planes chained, and do rows follow each other, as the BIOS sets the mode?
; Input: SI = entry.  Output: [frame_start] as the display has it; CF=1 when not.  Destroys: AX, BX, CX, DX.
frame_as_laid_out:
        mov     al, [si + frame_mode.mode]
        cmp     al, MODE_PLANES_FIRST
        jb      .leave                  ; CF=1
        mov     dx, SEQUENCER
        mov     ah, SEQ_MEMORY
        call    register_peek
        and     al, SEQ_CHAINED
        cmp     byte [si + frame_mode.mode], MODE_PACKED
        jne     .chained
        xor     al, SEQ_CHAINED
.chained:
        test    al, al
        jnz     .changed
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     dx, [es:BDA_CRTC]
        pop     es
        mov     ah, CRTC_START
        call    register_peek
        mov     bh, al
        mov     ah, CRTC_START + 1
        call    register_peek
        mov     bl, al
        mov     [frame_start], bx
        mov     ah, CRTC_OFFSET
        call    register_peek
        xor     ah, ah
        mov     cl, 4
        shl     ax, cl                  ; pixels of a row, 8 in an octet of a plane
        cmp     byte [si + frame_mode.mode], MODE_PACKED
        jne     .row
        shr     ax, 1
.row:
        cmp     ax, [si + frame_mode.width]
        je      .same
.changed:
        stc
        ret
.leave:
        cmc
.same:
        ret

; register_peek: read an indexed register; its index is as it was afterwards.
; Input: DX = port of the index, AH = index.  Output: AL.  Destroys: AH.
register_peek:
        push    bx
        pushf
        cli
        in      al, dx
        mov     bl, al
        mov     al, ah
        out     dx, al
        inc     dx
        in      al, dx
        dec     dx
        xchg    al, bl
        out     dx, al
        mov     al, bl
        popf
        pop     bx
        ret

; frame_open: make the planes readable.  frame_close: and the display as it was.
; Input: [frame_entry], [frame_adapter].  Output: none.  Destroys: AX, BX, DX.
frame_open:
        call    frame_has_planes
        jc      .leave
        mov     dx, GRAPHICS_CONTROLLER
        xor     bx, bx
        cmp     byte [frame_adapter], 2
        jne     .set
        in      al, dx
        mov     [frame_index], al
        mov     ah, GC_READ_MAP
        call    register_peek
        mov     [frame_map], al
        mov     ah, GC_MODE
        call    register_peek
        mov     [frame_reads], al
        mov     bl, al
        and     bl, ~GC_COMPARES & 0FFh
.set:
        mov     al, GC_MODE
        mov     ah, bl
        out     dx, ax
.leave:
        ret

frame_close:
        call    frame_has_planes
        jc      .leave
        mov     dx, GRAPHICS_CONTROLLER
        xor     bx, bx
        cmp     byte [frame_adapter], 2
        jne     .set
        mov     bl, [frame_map]
        mov     bh, [frame_reads]
.set:
        mov     al, GC_READ_MAP
        mov     ah, bl
        out     dx, ax
        mov     al, GC_MODE
        mov     ah, bh
        out     dx, ax
        cmp     byte [frame_adapter], 2
        jne     .leave
        mov     al, [frame_index]
        out     dx, al
.leave:
        ret

; frame_has_planes: does reading it take the graphics controller?
; Input: [frame_entry].  Output: CF=1 when not.  Destroys: BX.
frame_has_planes:
        mov     bx, [frame_entry]
        cmp     byte [bx + frame_mode.mode], MODE_PLANES_FIRST
        ret

; frame_planes: do something with each plane.
; Input: frame opened; AX = routine: DS:SI = plane, CX = octets, ES = CS; CF=1 ends it; it may destroy all but SS, SP, ES.
; Output: CF as the routine left it.  Destroys: AX, BX, CX, DX, SI, DI.
frame_planes:
        mov     [frame_work], ax
        xor     al, al
.plane:
        mov     bx, [frame_entry]
        mov     ah, [bx + frame_mode.planes]
        mov     cl, al
        shr     ah, cl
        test    ah, ah
        jz      .leave                  ; CF=0
        test    ah, 1
        jz      .next
        push    ax
        call    frame_has_planes
        jc      .selected
        mov     ah, al
        mov     al, GC_READ_MAP
        mov     dx, GRAPHICS_CONTROLLER
        out     dx, ax
.selected:
        mov     cx, [bx + frame_mode.octets]
        mov     si, [frame_start]
        mov     ds, [frame_segment]
        call    [cs:frame_work]
        push    cs
        pop     ds
        pop     ax
        jc      .leave
.next:
        inc     ax
        jmp     short .plane
.leave:
        ret

; frame_colours: put the colours that a VGA shows them in where a `picture` section has them.
; Input: ES:DI = registers of that section, AL = 0: without.  Output: DI behind its last octet, [picture_head] dac_*.
; Destroys: AX, BX, CX, DX.
frame_colours:
        test    al, al
        jz      .none
        cmp     byte [frame_adapter], 2
        jne     .none
        push    bp
        mov     al, PALETTE_OCTETS
        stosb
        mov     dx, di
        mov     ax, 1009h
        int     10h
        add     di, PALETTE_OCTETS
        mov     ax, DAC_OCTETS
        stosw
        mov     dx, di
        xor     bx, bx
        mov     cx, DAC_OCTETS / 3
        mov     ax, 1017h
        int     10h
        add     di, DAC_OCTETS
        mov     ax, 101Ah
        xor     bx, bx
        int     10h
        mov     [picture_head + L_picture.dac_mode], bx
        pop     bp
        ret
.none:
        xor     ax, ax
        stosb
        stosw
        ret
