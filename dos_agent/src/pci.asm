; PCI devices, each with its 256 octets of configuration space: through the PCI BIOS alone, which knows what its machine
; bears. No port of the bus is touched by the agent itself. The BIOS is promised 1 KB of stack: it has one of its own.

PCI_PRESENT             equ 0B101h
PCI_READ                equ 0B10Ah      ; a double word
PCI_SIGNATURE           equ 20494350h   ; 'PCI '
PCI_FUNCTIONS_MOST      equ 64          ; that are written
PCI_SPACE               equ 100h
PCI_HEADER_KIND         equ 0Eh
PCI_SEVERAL             equ 80h         ; of the header's kind: more functions than number 0
PCI_FUNCTION_MASK       equ 07h
DEEP_STACK              equ 1280

; ----------------------------------------------------------------------------------------------
; pci_sections: write the section pci_bios, and pci_device for each function; only where a PCI BIOS answers.
; Input: processor_known.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
pci_sections:
        cmp     byte [processor_known], PROCESSOR_I80386
        jb      .none
        call    pci_ask
        jc      .none
        mov     al, [scratch + L_pci_bios.last_bus]
        mov     [pci_last_bus], al
        mov     al, TAG_PCI_BIOS
        mov     cx, L_pci_bios_size
        call    section_in_scratch
        jc      .failed
        mov     byte [pci_left], PCI_FUNCTIONS_MOST
        xor     bx, bx                  ; BH = bus, BL = device and function
.function:
        call    pci_read_first
        jc      .empty
        cmp     byte [pci_left], 0
        je      .too_many
        dec     byte [pci_left]
        mov     [scratch + L_pci_device.bus], bh
        mov     [scratch + L_pci_device.function], bl
        call    pci_read_space
        mov     al, TAG_PCI_DEVICE
        mov     cx, L_pci_device_size
        call    section_in_scratch
        jc      .failed
        test    bl, PCI_FUNCTION_MASK
        jnz     .next
        test    byte [scratch + L_pci_device.vendor + PCI_HEADER_KIND], PCI_SEVERAL
        jnz     .next
        jmp     short .device
.empty:
        test    bl, PCI_FUNCTION_MASK
        jnz     .next
.device:
        or      bl, PCI_FUNCTION_MASK   ; no further functions
.next:
        inc     bl
        jnz     .function
        cmp     bh, [pci_last_bus]
        jae     .none
        inc     bh
        jmp     short .function
.too_many:
        mov     byte [snapshot_cut], 1
        mov     si, pci_cut
        call    put_string
.none:
        clc
.failed:
        ret

%if L_pci_device_size != L_pci_device.vendor + PCI_SPACE
%error "the section pci_device no longer holds the whole space"
%endif

        cpu     386
guarded_pci_begin:
; pci_ask: is there a PCI BIOS?
; Input: none.  Output: scratch.L_pci_bios; CF=1 when not.  Destroys: AX.
pci_ask:
        pushad
        mov     ax, PCI_PRESENT
        xor     edx, edx
        xor     edi, edi
        call    pci_call
        jc      .none
        test    ah, ah
        jnz     .none
        cmp     edx, PCI_SIGNATURE
        jne     .none
        mov     [scratch + L_pci_bios.mechanism], al
        mov     [scratch + L_pci_bios.version], bx
        mov     [scratch + L_pci_bios.last_bus], cl
        popad
        clc
        ret
.none:
        popad
        stc
        ret

; pci_read_first: does a function answer?
; Input: BX = bus, device and function.  Output: CF=1 when not.  Destroys: AX.
pci_read_first:
        pushad
        xor     di, di
        call    pci_read_double
        inc     cx                      ; the vendor: FFFFh and 0 are nobody
        cmp     cx, 2
        popad
        ret

; pci_read_space: the 256 octets of a function; what can't be read is FFh.
; Input: BX.  Output: scratch.L_pci_device from the vendor on.  Destroys: AX CX DX SI DI.
pci_read_space:
        pushad
        xor     di, di
.next:
        call    pci_read_double
        mov     [di + scratch + L_pci_device.vendor], ecx
        add     di, 4
        cmp     di, PCI_SPACE
        jb      .next
        popad
        ret

; pci_read_double: one double word.
; Input: BX, DI = register.  Output: ECX, FFFFFFFFh where it can't be read.  Destroys: EAX.
pci_read_double:
        push    ebx
        push    edi
        push    ebp
        mov     ax, PCI_READ
        or      ecx, -1
        call    pci_call
        jc      .none
        test    ah, ah
        jz      .read
.none:
        or      ecx, -1
.read:
        pop     ebp
        pop     edi
        pop     ebx
        ret

; pci_call: INT 1Ah on the deep stack.
; Input, output: as the BIOS has it.  Destroys: as the BIOS does, but not the segments.
pci_call:
        mov     [deep_sp], sp
        mov     sp, deep_stack_top
        push    ds
        push    es
        stc
        int     INT_CLOCK
        cld
        pop     es
        pop     ds
        mov     sp, [deep_sp]
        ret
guarded_pci_end:
        cpu     8086

        section .data
pci_cut:                db 'More than 64 PCI functions: only the first are in the snapshot.', CR, LF, 0
        section .bss
pci_last_bus:           resb 1
pci_left:               resb 1
        alignb  2
deep_sp:                resw 1
                        resb DEEP_STACK ; for a BIOS that is promised more than ours
deep_stack_top:
        section .text
