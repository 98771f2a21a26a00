; What is written in ROM: the display's BIOS, its VESA extension, the tables of the desktop management interface and of
; plug and play. Memory is read; of services only VESA's own description of itself is asked for, and only of a VGA.

DISPLAY_ROM             equ 0C000h
ROM_MARK                equ 0AA55h
ROM_BLOCKS              equ 2
ROM_BLOCKS_MOST         equ 80h         ; 64 KB
ROM_HEAD                equ 512         ; octets of it that are kept: makers write their names there
VIDEO_VBE               equ 4F00h
VBE_ANSWERED            equ 004Fh
VBE_BLOCK               equ scratch + 2048
VBE_BLOCK_SIZE          equ 512
VBE_VERSION             equ 04h
VBE_OEM                 equ 06h
VBE_CAPABILITIES        equ 0Ah
VBE_MODES               equ 0Eh
VBE_MEMORY              equ 12h
VBE_OEM_REVISION        equ 14h
VBE_VENDOR              equ 16h         ; product and revision follow
VBE_MODES_MOST          equ 128
VBE_TEXT_MOST           equ 100
VBE_2                   equ 2           ; major version that has vendor, product and revision
DMI_LENGTH              equ 6
DMI_ADDRESS             equ 8
DMI_STRUCTURES          equ 0Ch
DMI_VERSION             equ 0Eh
DMI_SIZE                equ 15
DMI_MOST                equ 4000        ; octets of the table that are kept
PNP_VERSION             equ 4
PNP_CONTROL             equ 6
PNP_OEM                 equ 17h
PNP_SIZE                equ 21h

; rom_sum: add a ROM's words up, from its beginning.
; Input: DS = ROM, CX = a quarter of its words.  Output: BX:DX.  Destroys: AX CX SI.
rom_sum:
        xor     si, si
        xor     dx, dx
        xor     bx, bx
        jcxz    .leave
.turn:
%rep 4
        lodsw
        add     dx, ax
        adc     bx, 0
%endrep
        loop    .turn
.leave:
        ret

; ----------------------------------------------------------------------------------------------
; display_rom_section: write the section display_rom; only where a ROM begins at C000:0000.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
display_rom_section:
        push    ds
        mov     ax, DISPLAY_ROM
        mov     ds, ax
        cmp     word [0], ROM_MARK
        jne     .none
        mov     al, [ROM_BLOCKS]
        mov     [es:scratch + L_display_rom.blocks], al
        cmp     al, ROM_BLOCKS_MOST
        jbe     .bounded
        mov     al, ROM_BLOCKS_MOST
.bounded:
        mov     ch, al                  ; 256 words a block, a quarter of them a turn
        xor     cl, cl
        shr     cx, 1
        shr     cx, 1
        call    rom_sum
        mov     [es:scratch + L_display_rom.sum], dx
        mov     [es:scratch + L_display_rom.sum + 2], bx
        xor     si, si
        mov     di, scratch + L_display_rom.head
        mov     cx, ROM_HEAD / 2
        rep     movsw
        pop     ds
        mov     al, TAG_DISPLAY_ROM
        jmp     section_up_to
.none:
        pop     ds
        clc
        ret

; ----------------------------------------------------------------------------------------------
; vbe_section: write the section vbe; only where a VGA's BIOS answers.
; Input: display_known.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
vbe_section:
        cmp     byte [display_known], DISPLAY_CLASS_VGA
        jne     .none
        mov     di, VBE_BLOCK
        mov     ax, 'VB'                ; asks for what VBE 2 has besides
        stosw
        mov     ax, 'E2'
        stosw
        mov     cx, (VBE_BLOCK_SIZE - 4) / 2
        xor     ax, ax
        rep     stosw
        mov     ax, VIDEO_VBE
        mov     di, VBE_BLOCK
        mov     [deep_sp], sp
        mov     sp, deep_stack_top
        push    es
        push    bp
        int     INT_VIDEO
        cld
        pop     bp
        pop     es
        mov     sp, [deep_sp]
        cmp     ax, VBE_ANSWERED
        jne     .none
        cmp     word [VBE_BLOCK], 'VE'
        jne     .none
        cmp     word [VBE_BLOCK + 2], 'SA'
        jne     .none
        call    vbe_told
        mov     al, TAG_VBE
        jmp     section_up_to
.none:
        clc
        ret

; vbe_told: VBE_BLOCK as the section has it.
; Input: VBE_BLOCK.  Output: DI behind the section.  Destroys: AX BX CX DX SI.
vbe_told:
        mov     ax, [VBE_BLOCK + VBE_VERSION]
        mov     [scratch + L_vbe.version], ax
        mov     ax, [VBE_BLOCK + VBE_CAPABILITIES]
        mov     [scratch + L_vbe.capabilities], ax
        mov     ax, [VBE_BLOCK + VBE_CAPABILITIES + 2]
        mov     [scratch + L_vbe.capabilities + 2], ax
        mov     ax, [VBE_BLOCK + VBE_MEMORY]
        mov     [scratch + L_vbe.memory_64kb], ax
        mov     ax, [VBE_BLOCK + VBE_OEM_REVISION]
        mov     [scratch + L_vbe.oem_revision], ax
        mov     di, scratch + L_vbe.oem
        mov     bx, VBE_BLOCK + VBE_OEM
        call    far_text
        mov     bx, VBE_BLOCK + VBE_VENDOR
        mov     dx, 3
.text:
        cmp     byte [VBE_BLOCK + VBE_VERSION + 1], VBE_2
        jae     .has
        mov     bx, vbe_nothing
.has:
        call    far_text
        add     bx, 4
        dec     dx
        jnz     .text
        push    ds
        lds     si, [VBE_BLOCK + VBE_MODES]
        mov     cx, VBE_MODES_MOST
.mode:
        lodsw
        cmp     ax, 0FFFFh
        je      .modes
        stosw
        loop    .mode
.modes:
        pop     ds
        ret

; far_text: a text by its far pointer, up to its NUL, with its length in front; none for a pointer that is 0.
; Input: BX = where the pointer is, DI = where the text goes.  Output: DI behind it.  Destroys: AX CX SI.
far_text:
        push    di
        inc     di
        push    ds
        mov     ax, [bx]
        or      ax, [bx + 2]
        jz      .done
        mov     cx, VBE_TEXT_MOST
        lds     si, [bx]
.next:
        lodsb
        test    al, al
        jz      .done
        stosb
        loop    .next
.done:
        pop     ds
        pop     si
        mov     ax, di
        sub     ax, si
        dec     ax
        mov     [si], al
        ret

; ----------------------------------------------------------------------------------------------
; dmi_section: write the section dmi; only from a 386 on, and where the entry's sum holds. What lies above 1 MB is
; out of reach: then the entry stands alone.
; Input: processor_known.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
dmi_section:
        mov     si, dmi_anchor
        mov     cx, dmi_anchor_end - dmi_anchor
        mov     dx, DMI_SIZE
        push    es
        call    firmware_find
        jc      .none
        mov     al, [es:bx + DMI_VERSION]
        mov     [scratch + L_dmi.version], al
        mov     ax, [es:bx + DMI_ADDRESS]
        mov     dx, [es:bx + DMI_ADDRESS + 2]
        mov     [scratch + L_dmi.address], ax
        mov     [scratch + L_dmi.address + 2], dx
        mov     cx, [es:bx + DMI_STRUCTURES]
        mov     [scratch + L_dmi.structures], cx
        mov     cx, [es:bx + DMI_LENGTH]
        mov     [scratch + L_dmi.length], cx
        pop     es
        mov     di, scratch + L_dmi.table
        cmp     dx, 0Fh
        ja      .write                  ; above 1 MB
        cmp     cx, DMI_MOST
        jbe     .bounded
        mov     cx, DMI_MOST
        mov     byte [snapshot_cut], 1
.bounded:
        mov     si, ax                  ; SI = address, bits 3-0; DX:AX >> 4 = segment
        and     si, 0Fh
        push    cx
        mov     cl, 4
        shr     ax, cl
        mov     cl, 12
        shl     dx, cl
        or      ax, dx
        pop     cx
        push    ds
        mov     ds, ax
        rep     movsb
        pop     ds
.write:
        mov     al, TAG_DMI
        jmp     section_up_to
.none:
        pop     es
        clc
        ret

%if DMI_MOST + L_dmi_size > SCRATCH_SIZE
%error "the table does not fit into scratch"
%endif

; ----------------------------------------------------------------------------------------------
; pnp_section: write the section pnp; only from a 386 on, and where the entry's sum holds.
; Input: processor_known.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
pnp_section:
        mov     si, pnp_anchor
        mov     cx, pnp_anchor_end - pnp_anchor
        mov     dx, PNP_SIZE
        push    es
        call    firmware_find
        jc      .none
        mov     [scratch + L_pnp.offset], bx
        mov     al, [es:bx + PNP_VERSION]
        mov     [scratch + L_pnp.version], al
        mov     ax, [es:bx + PNP_CONTROL]
        mov     [scratch + L_pnp.control], ax
        mov     ax, [es:bx + PNP_OEM]
        mov     [scratch + L_pnp.oem], ax
        mov     ax, [es:bx + PNP_OEM + 2]
        mov     [scratch + L_pnp.oem + 2], ax
        pop     es
        mov     al, TAG_PNP
        mov     cx, L_pnp_size
        jmp     section_in_scratch
.none:
        pop     es
        clc
        ret

; firmware_find: look for an entry in F000:0000 to F000:FFF0, at each paragraph; the sum of its octets is 0.
; Input: SI = its first octets, CX = how many of them, DX = octets in the sum.
; Output: ES:BX; CF=1 when there is none.  Destroys: AX CX SI DI.
firmware_find:
        cmp     byte [processor_known], PROCESSOR_I80386
        jb      .none                   ; older than all of these tables
        mov     ax, ROM_SEGMENT
        mov     es, ax
        xor     bx, bx
.next:
        mov     ax, [si]
        cmp     ax, [es:bx]
        jne     .step
        push    si
        push    cx
        mov     di, bx
        repe    cmpsb
        pop     cx
        pop     si
        jne     .step
        call    .sum
        jz      .found                  ; CF=0
.step:
        add     bx, 10h
        jnc     .next
.none:
        stc
        ret
.found:
        clc
        ret
.sum:
        push    cx
        mov     cx, dx
        mov     di, bx
        xor     al, al
.octet:
        add     al, [es:di]
        inc     di
        loop    .octet
        pop     cx
        test    al, al
        ret

        section .data
        align   2
vbe_nothing:            dw 0, 0, 0, 0, 0, 0
dmi_anchor:             db '_DMI_'
dmi_anchor_end:
pnp_anchor:             db '$PnP'
pnp_anchor_end:
        section .bss
display_known:          resb 1          ; DISPLAY_CLASS_*
        section .text
