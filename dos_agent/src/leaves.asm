; CPUID whole, and the cache bits of control register 0. What the processor is has been told by processor.asm.

LEAVES_MOST             equ 20h         ; of each kind
SUBLEAVES_MOST          equ 8
LEAF_CACHES             equ 4           ; asked once for each cache, until one is of no kind
CACHE_KIND_MASK         equ 1Fh
LEAVES_EXTENDED         equ 80000000h
CR0_CACHE_SHIFT         equ 29          ; bit 29: not write-through; bit 30: no fill
CR0_CACHE_MASK          equ 3

; ----------------------------------------------------------------------------------------------
; processor_remember: keep what later sections need to know of the processor.
; Input: scratch.L_cpu.  Output: processor_* below.  Destroys: AX.
processor_remember:
        mov     al, [scratch + L_cpu.class]
        mov     [processor_known], al
        mov     al, [scratch + L_cpu.fpu]
        mov     [processor_fpu], al
        mov     al, [scratch + L_cpu.v86]
        mov     [processor_v86], al
        mov     al, [scratch + L_cpu.features]
        mov     [processor_features], al
        ret

; ----------------------------------------------------------------------------------------------
; cpuid_section: write the section cpuid; processors without CPUID have none.
; Input: processor_known.  Output: CF=1 when the spool failed.  Destroys: AX CX SI DI.
cpuid_section:
        cmp     byte [processor_known], PROCESSOR_CPUID
        jne     .none
        call    processor_leaves
        mov     al, TAG_CPUID
        jmp     section_up_to
.none:
        clc
        ret

; processor_leaves: all leaves, standard and extended, up to LEAVES_MOST of each.
; Input: CPUID is there.  Output: leaves in scratch, DI behind them.  Destroys: nothing else.
        cpu     586
guarded_leaves_begin:
processor_leaves:
        push    eax
        push    ebx
        push    ecx
        push    edx
        push    esi
        push    ebp
        mov     di, scratch
        xor     esi, esi                ; ESI = leaf
.kind:
        mov     eax, esi
        xor     ecx, ecx
        cpuid
        mov     ebp, eax                ; EBP = the last leaf of this kind
        sub     ebp, esi
        jc      .next_kind              ; no extended leaves
        cmp     ebp, LEAVES_MOST
        jb      .bounded
        mov     ebp, LEAVES_MOST - 1
.bounded:
        add     ebp, esi
.leaf:
        xor     ecx, ecx
.subleaf:
        mov     [di + L_cpuid_leaf.leaf], esi
        mov     [di + L_cpuid_leaf.subleaf], ecx
        mov     eax, esi
        cpuid
        mov     [di + L_cpuid_leaf.eax], eax
        mov     [di + L_cpuid_leaf.ebx], ebx
        mov     [di + L_cpuid_leaf.ecx], ecx
        mov     [di + L_cpuid_leaf.edx], edx
        mov     ecx, [di + L_cpuid_leaf.subleaf]
        add     di, L_cpuid_leaf_size
        cmp     esi, LEAF_CACHES
        jne     .next
        test    al, CACHE_KIND_MASK
        jz      .next
        inc     cx
        cmp     cx, SUBLEAVES_MOST
        jb      .subleaf
.next:
        inc     esi
        cmp     esi, ebp
        jbe     .leaf
.next_kind:
        test    esi, esi
        js      .done
        mov     esi, LEAVES_EXTENDED
        jmp     short .kind
.done:
        pop     ebp
        pop     esi
        pop     edx
        pop     ecx
        pop     ebx
        pop     eax
        ret
guarded_leaves_end:
        cpu     8086

%if (2 * LEAVES_MOST + SUBLEAVES_MOST) * L_cpuid_leaf_size > SCRATCH_SIZE
%error "the leaves of CPUID don't fit into scratch"
%endif

; ----------------------------------------------------------------------------------------------
; control_section: write the section control: from a 486 on, and only in real mode; a monitor might not allow it.
; Input: processor_*.  Output: CF=1 when the spool failed.  Destroys: AX CX SI.
control_section:
        cmp     byte [processor_known], PROCESSOR_I80486
        jb      .none
        cmp     byte [processor_v86], PRESENCE_ABSENT
        jne     .none
        call    control_register
        mov     al, TAG_CONTROL
        mov     cx, L_control_size
        jmp     section_in_scratch
.none:
        clc
        ret

        cpu     486
guarded_control_begin:
; control_register: CR0 and what it says of the cache.
; Input: none.  Output: scratch.L_control.  Destroys: nothing.
control_register:
        push    eax
        mov     eax, cr0
        mov     [scratch + L_control.cr0], eax
        shr     eax, CR0_CACHE_SHIFT
        and     al, CR0_CACHE_MASK
        mov     [scratch + L_control.cache], al
        pop     eax
        ret
guarded_control_end:
        cpu     8086

        section .bss
processor_known:        resb 1          ; PROCESSOR_*
processor_fpu:          resb 1          ; PRESENCE_*
processor_v86:          resb 1          ; PRESENCE_*
processor_features:     resb 1          ; CPUID leaf 1 EDX, low octet
        section .text
