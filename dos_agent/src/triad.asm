; Operations a second, of integers and of floating-point numbers: a[i] = b[i] + q * c[i] over short arrays.
;
; Two operations an element, as STREAM counts its Triad (McCalpin); over arrays short enough that the processor is
; measured and not its memory.

TRIAD_ELEMENTS          equ 64
TRIAD_OPERATIONS        equ 2 * TRIAD_ELEMENTS
TRIAD_PART              equ 8 * TRIAD_ELEMENTS          ; room for one array
TRIAD_B                 equ scratch + 512               ; the section is shorter
TRIAD_C                 equ TRIAD_PART                  ; from b on
TRIAD_A                 equ 2 * TRIAD_PART
FPU_STATE               equ TRIAD_B + 3 * TRIAD_PART    ; 94 octets
%if 512 + 3 * TRIAD_PART + 94 > SCRATCH_SIZE
%error scratch does not hold the arrays
%endif
%if L_probe_timing.work != L_memory_point.reads || L_probe_timing.maximum != L_memory_point.maximum
%error a timing is laid out like a point of the staircase
%endif

section .text

; probe_integer: 16-bit integers.
; Output: CX = octets of the section probe_integer in scratch; [probe_problem].  Destroys: all but SP.
probe_integer:
        mov     ax, 16
        mov     bx, integer_burst
        call    triad_begin
        jc      triad_none
        mov     di, TRIAD_B
        mov     ax, 1234                ; any numbers
        mov     cx, 3 * TRIAD_PART / 2
        rep     stosw
        mov     ax, 3 * 2 * TRIAD_ELEMENTS
        jmp     triad_measure

; probe_float: 64-bit floating-point numbers, where there is an FPU.
; Input: a snapshot was taken ([processor_fpu]).
; Output: CX = octets of the section probe_float in scratch; [probe_problem].  Destroys: all but SP.
probe_float:
        mov     ax, 64
        mov     bx, float_burst
        call    triad_begin
        jc      triad_none
        mov     al, PROBE_PROBLEM_NO_FPU
        cmp     byte [processor_fpu], PRESENCE_PRESENT
        jne     triad_problem
        mov     di, TRIAD_B
        mov     cx, 3 * TRIAD_ELEMENTS
.fill:                                  ; 1.5 each
        xor     ax, ax
        stosw
        stosw
        stosw
        mov     ax, 3FF8h
        stosw
        loop    .fill
        fnsave  [FPU_STATE]
        wait
        fninit
        wait
        fld1
        wait
        mov     ax, 3 * 8 * TRIAD_ELEMENTS
        call    triad_measure
        wait
        frstor  [FPU_STATE]
        wait
        ret

; triad_begin: what both have in common.
; Input: AL = bits of a number, BX = burst.  Output: as probe_timer.  Destroys: AX, CX, DX, DI.
triad_begin:
        mov     [stair_burst], bx
        push    ax
        mov     cx, L_probe_rate_size
        call    scratch_clear
        pop     ax
        mov     [scratch + L_probe_rate.bits], al
        mov     word [stair_link], triad_link
        jmp     probe_timer

; triad_problem: a section without a measurement.  triad_none: likewise, where [probe_problem] says why already.
; Input: AL = PROBE_PROBLEM_*.  Output: CX = octets of the section; [probe_problem].  Destroys: AL.
triad_problem:
        mov     [probe_problem], al
triad_none:
        mov     al, [probe_problem]
        mov     [scratch + L_probe_rate.problem], al
        mov     cx, L_probe_rate_size
        ret

; triad_measure: five passes.
; Input: AX = octets of the arrays.  Output: CX = octets of the section.  Destroys: AX, BX, DX, SI, DI.
triad_measure:
        push    ax
        mov     di, scratch + L_probe_rate.timing
        call    stair_point
        pop     ax
        mov     [scratch + L_probe_rate.timing + L_probe_timing.size], ax
        mov     word [scratch + L_probe_rate.timing + L_probe_timing.size + 2], 0
        mov     byte [scratch + L_probe_rate.passes], PASSES
        mov     ax, [probe_overhead]
        mov     [scratch + L_probe_rate.overhead], ax
        mov     cx, L_probe_rate_size
        ret

; triad_link: nothing to link; one visit is once through the arrays.
triad_link:
        mov     word [stair_round], 1
        mov     word [stair_round_reads], TRIAD_OPERATIONS
        ret

; integer_burst: so many times through the arrays.
; Input: AX = visits, interrupts off.  Output: AX = counts.  Destroys: BX, CX, DX, SI.
integer_burst:
        push    bp
        mov     bp, ax
        mov     bx, 3
        call    pit_count
        push    ax
.visit:
        mov     si, TRIAD_B
        mov     cx, TRIAD_ELEMENTS
.element:
        mov     ax, [si + TRIAD_C]
        imul    bx
        add     ax, [si]
        mov     [si + TRIAD_A], ax
        inc     si
        inc     si
        loop    .element
        dec     bp
        jnz     .visit
        ; fall through

; burst_end: the end of a burst: the count at its start and BP lie on the stack.
burst_end:
        call    pit_count
        mov     bx, ax
        pop     ax
        pop     bp
        sub     ax, bx
        ret

; float_burst: so many times through the arrays. An 8087 must be waited for before each instruction.
; Input: AX = visits, ST0 = q, interrupts off.  Output: AX = counts.  Destroys: BX, CX, DX, SI.
float_burst:
        push    bp
        mov     bp, ax
        call    pit_count
        push    ax
.visit:
        mov     si, TRIAD_B
        mov     cx, TRIAD_ELEMENTS
.element:
        wait
        fld     qword [si + TRIAD_C]
        wait
        fmul    st1
        wait
        fadd    qword [si]
        wait
        fstp    qword [si + TRIAD_A]
        add     si, 8
        loop    .element
        dec     bp
        jnz     .visit
        wait
        jmp     burst_end
