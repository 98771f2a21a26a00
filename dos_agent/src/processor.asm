; The processor: its class, coprocessor, and whether a monitor runs DOS in virtual-8086 mode.
;
; Only flags, shifts and stores are used to tell the classes apart; nothing here can fault. Instructions later than
; the 8086's stand in guarded blocks, each reached only when the class before it has been proved.

FLAGS_HIGH_NIBBLE       equ 0F0h        ; of the high octet: bits 15-12
FLAGS_IOPL_NT           equ 070h        ; bits 14-12, writable in real mode from the 386 on
MSW_PROTECTED           equ 0001h       ; PE: set while DOS itself runs in real mode only under a monitor
MSW_EMULATED            equ 0004h       ; EM: coprocessor instructions trap
MSW_TASK_SWITCHED       equ 0008h       ; TS: likewise, once
MSW_NONE                equ 0FFFFh      ; the processor has no machine status word
EFLAGS_AC               equ 040000h     ; alignment check: 486 and later
EFLAGS_ID               equ 0200000h    ; CPUID can be used
EQUIPMENT_FPU           equ 0002h
FPU_UNTOUCHED           equ 05A5Ah      ; what no status word ever reads as after FNINIT
FPU_CONTROL_MASK        equ 0103Fh      ; infinity control and the six masks ...
FPU_CONTROL_FRESH       equ 0003Fh      ; ... and their value after FNINIT

; ----------------------------------------------------------------------------------------------
; cpu_section: write the section cpu.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
cpu_section:
        mov     cx, L_cpu_size
        call    scratch_clear
        call    processor_class
        mov     [scratch + L_cpu.class], al
        mov     word [scratch + L_cpu.msw], MSW_NONE
        cmp     al, PROCESSOR_I80286
        jb      .coprocessor
        call    status_word
        mov     [scratch + L_cpu.msw], ax
        cmp     byte [scratch + L_cpu.class], PROCESSOR_I80386
        jb      .coprocessor            ; a 286 has no virtual-8086 mode
        and     al, MSW_PROTECTED
        mov     [scratch + L_cpu.v86], al
        cmp     byte [scratch + L_cpu.class], PROCESSOR_CPUID
        jb      .coprocessor
        call    processor_signature
.coprocessor:
        call    coprocessor
        mov     [scratch + L_cpu.fpu], al
        call    processor_remember
        mov     al, TAG_CPU
        mov     cx, L_cpu_size
        jmp     section_in_scratch

; ----------------------------------------------------------------------------------------------
; processor_class: tell the class of the processor.
; Input: none.  Output: AL = PROCESSOR_*.  Destroys: AH BX CX.
;
; Bits 15-12 of FLAGS read as ones up to the 80186, as zeros on a 286 in real mode; a 386 keeps IOPL and NT.
; The flags are put back before anything else happens: an interrupt must not meet a set NT for long.
processor_class:
        pushf
        pop     bx                      ; BX = flags as found
        mov     ax, bx
        and     ah, ~FLAGS_HIGH_NIBBLE & 0FFh
        call    .try
        and     ah, FLAGS_HIGH_NIBBLE
        cmp     ah, FLAGS_HIGH_NIBBLE
        je      .before_286
        mov     ax, bx
        or      ah, FLAGS_IOPL_NT
        call    .try
        test    ah, FLAGS_IOPL_NT
        jz      .is_286
        jmp     short guarded_eflags_begin

.is_286:
        mov     al, PROCESSOR_I80286
        ret

.try:                                   ; AX = flags to set; AX = what they read as; BX are put back
        push    ax
        popf
        pushf
        pop     ax
        push    bx
        popf
        ret

; An 8086 shifts as often as CL says; an 80186 takes CL modulo 32. The V20 and V30 shift like the 8086 but, unlike
; it, divide by ten in AAM and AAD whatever the operand says; they run the 80186's instructions. (from memory)
.before_286:
        mov     al, 1
        mov     cl, 32
        shl     al, cl
        test    al, al
        jnz     .is_186
        mov     ax, 0100h
        aad     16                      ; 16 on an 8086, 10 on a V20
        cmp     al, 16
        jne     .is_186
        mov     al, PROCESSOR_I8086
        ret
.is_186:
        mov     al, PROCESSOR_I80186
        ret

        cpu     386
guarded_eflags_begin:                   ; here only when IOPL or NT could be set: a 386 at least
        push    eax
        push    ecx
        pushfd
        pop     eax
        mov     ecx, eax                ; ECX = flags as found
        mov     bl, PROCESSOR_I80386
        mov     eax, EFLAGS_AC
        call    .flip
        test    eax, EFLAGS_AC
        jz      .known
        mov     bl, PROCESSOR_I80486
        mov     eax, EFLAGS_ID
        call    .flip
        test    eax, EFLAGS_ID
        jz      .known
        mov     bl, PROCESSOR_CPUID
.known:
        pop     ecx
        pop     eax
        mov     al, bl
        ret
.flip:                                  ; EAX = a flag to change, ECX are put back; EAX = what changed
        xor     eax, ecx
        push    eax
        popfd
        pushfd
        pop     eax
        push    ecx
        popfd
        xor     eax, ecx
        ret
guarded_eflags_end:
        cpu     8086

; ----------------------------------------------------------------------------------------------
; status_word: the machine status word, by the one way that is allowed under a monitor too.
; Input: the processor is a 286 or later.  Output: AX.  Destroys: nothing.
        cpu     286
guarded_smsw_begin:
status_word:
        smsw    ax
        ret
guarded_smsw_end:
        cpu     8086

; ----------------------------------------------------------------------------------------------
; processor_signature: CPUID leaves 0 and 1 into scratch.
; Input: CPUID is there.  Output: scratch.L_cpu vendor, signature, features.  Destroys: nothing.
        cpu     586
guarded_cpuid_begin:
processor_signature:
        push    eax
        push    ebx
        push    ecx
        push    edx
        xor     eax, eax
        cpuid
        mov     [scratch + L_cpu.vendor], ebx
        mov     [scratch + L_cpu.vendor + 4], edx
        mov     [scratch + L_cpu.vendor + 8], ecx
        test    eax, eax
        jz      .done                   ; leaf 1 is not there
        mov     eax, 1
        cpuid
        mov     [scratch + L_cpu.signature], eax
        mov     [scratch + L_cpu.features], edx
.done:
        pop     edx
        pop     ecx
        pop     ebx
        pop     eax
        ret
guarded_cpuid_end:
        cpu     8086

; ----------------------------------------------------------------------------------------------
; coprocessor: look for one without waiting for it.
; Input: scratch.L_cpu class, msw, v86.  Output: AL = PRESENCE_*.  Destroys: AH CX.
;
; Only the forms that don't WAIT are used. Where the status word says that these instructions trap (EM, or TS outside
; of a monitor), the trap's handler may return to the same instruction for ever: then nothing is asked.
coprocessor:
        cmp     byte [scratch + L_cpu.class], PROCESSOR_I80286
        jb      .ask
        test    byte [scratch + L_cpu.msw], MSW_EMULATED
        jnz     .by_bios
        mov     al, PRESENCE_UNKNOWN
        test    byte [scratch + L_cpu.msw], MSW_TASK_SWITCHED
        jz      .ask
        cmp     byte [scratch + L_cpu.v86], PRESENCE_PRESENT
        jne     .done
.ask:
        mov     word [coprocessor_word], FPU_UNTOUCHED
        fninit
        mov     cx, 64                  ; an 8087 may take its time
        loop    $
        fnstsw  [coprocessor_word]
        mov     cx, 64
        loop    $
        mov     al, PRESENCE_ABSENT
        cmp     byte [coprocessor_word], 0
        jne     .done
        mov     word [coprocessor_word], FPU_UNTOUCHED
        fnstcw  [coprocessor_word]
        mov     cx, 64
        loop    $
        mov     cx, [coprocessor_word]
        and     cx, FPU_CONTROL_MASK
        cmp     cx, FPU_CONTROL_FRESH
        jne     .done
        mov     al, PRESENCE_PRESENT
.done:
        ret
.by_bios:
        int     INT_EQUIPMENT           ; a BIOS that finds none sets EM; one that finds one does not
        test    al, EQUIPMENT_FPU
        mov     al, PRESENCE_UNKNOWN
        jnz     .done
        mov     al, PRESENCE_ABSENT
        ret

        section .bss
coprocessor_word:       resw 1
        section .text
