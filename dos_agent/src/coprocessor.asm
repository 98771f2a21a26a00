; The coprocessor's kind, by what it does. All of this is from memory; the ways are long known:
;
; - only the 8087 has an interrupt enable mask, bit 7 of the control word, which FDISI sets; later ones ignore it;
; - up to the 80287 infinity is projective after a reset: +infinity = -infinity; from the 80387 on it is affine.
;
; One that is built into a processor, and the 80187 and 287XL, have the 80387's manners. An 8087 must be waited for
; before each instruction; the others wait by themselves, and WAIT does them no harm.

FPU_INTERRUPT_MASK      equ 0080h
FPU_NONE                equ 0FFFFh
STATUS_EQUAL            equ 40h         ; C3, in the high octet

; ----------------------------------------------------------------------------------------------
; fpu_section: write the section fpu.
; Input: processor_known, processor_fpu.  Output: CF=1 when the spool failed.  Destroys: AX CX SI.
fpu_section:
        mov     word [scratch + L_fpu.kind], COPROCESSOR_NONE | INFINITY_UNTRIED << 8
        mov     word [scratch + L_fpu.control_word], FPU_NONE
        mov     word [scratch + L_fpu.status_word], FPU_NONE
        mov     al, [processor_fpu]
        cmp     al, PRESENCE_ABSENT
        je      .write
        mov     byte [scratch + L_fpu.kind], COPROCESSOR_UNKNOWN
        cmp     al, PRESENCE_PRESENT
        jne     .write
        call    coprocessor_kind
.write:
        mov     al, TAG_FPU
        mov     cx, L_fpu_size
        jmp     section_in_scratch

%if L_fpu.infinity != L_fpu.kind + 1
%error "kind and infinity are written as one word"
%endif

; coprocessor_kind: try it.
; Input: it is there.  Output: scratch.L_fpu.  Destroys: AX CX.
coprocessor_kind:
        fninit
        call    .settle
        fnstcw  [scratch + L_fpu.control_word]
        call    .settle
        fnstsw  [scratch + L_fpu.status_word]
        call    .settle
        mov     al, COPROCESSOR_UNKNOWN
        cmp     byte [processor_known], PROCESSOR_I80286
        jae     .infinity               ; no 8087 fits there
        mov     ax, [scratch + L_fpu.control_word]
        and     ax, ~FPU_INTERRUPT_MASK & 0FFFFh
        mov     [coprocessor_word], ax
        wait
        fldcw   [coprocessor_word]
        wait
        fndisi
        wait
        fnstcw  [coprocessor_word]
        call    .settle
        test    word [coprocessor_word], FPU_INTERRUPT_MASK
        mov     al, COPROCESSOR_UNKNOWN
        jz      .infinity
        mov     al, COPROCESSOR_I8087
.infinity:
        wait
        fninit                          ; all faults are masked: 1/0 is infinity
        call    .settle
        wait
        fld1
        wait
        fldz
        wait
        fdivp   st1
        wait
        fld     st0
        wait
        fchs
        wait
        fcompp
        wait
        fnstsw  [coprocessor_word]
        call    .settle
        fninit
        mov     ah, INFINITY_AFFINE
        test    byte [coprocessor_word + 1], STATUS_EQUAL
        jz      .manners
        mov     ah, INFINITY_PROJECTIVE
.manners:
        cmp     al, COPROCESSOR_UNKNOWN
        jne     .told
        mov     al, COPROCESSOR_I80387
        cmp     ah, INFINITY_AFFINE
        je      .told
        mov     al, COPROCESSOR_I80287
.told:
        mov     [scratch + L_fpu.kind], ax      ; and infinity
        ret
.settle:
        mov     cx, 64                  ; an 8087 may take its time
        loop    $
        ret
