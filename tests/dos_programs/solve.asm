; SOLVE.COM [n]: solves a dense system of n linear equations and reports the rate in kflops.
;
; Gaussian elimination with back substitution in integers modulo the prime 32749, so that the
; answer is exact and is checked: a wrong one is said and gives exit code 1. The operations are
; counted as the published formula does for floating point (Dongarra, CS-89-85: 2n^3/3 + 2n^2), but
; none of them is a floating-point operation: the figure tries the arithmetic behind a reading and
; compares with nothing else. Prints:
;       Linear system: order 100, 12.50 seconds
;       Speed: 54.9 kflops
; nasm -f bin -I tests/dos_programs/ -o SOLVE.COM solve.asm

        cpu     8086
        bits    16
        org     100h

PRIME           equ 32749
DEFAULT_ORDER   equ 40
MOST_ORDER      equ 168                 ; the matrix still fits into the segment
STACK_NEED      equ 512

start:
        cld
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_ORDER
        call    take_number
        jc      .usage
        test    ax, ax
        jz      .usage
        cmp     ax, MOST_ORDER
        ja      .usage
        mov     [order], ax
        mov     cx, ax                  ; a row holds n coefficients and the right-hand side
        inc     cx
        shl     cx, 1
        mov     [row_size], cx
        mul     cx
        add     ax, matrix + STACK_NEED
        jc      .memory
        cmp     ax, sp
        ja      .memory
        call    fill_matrix
        call    clock_start
        call    eliminate
        jc      .wrong
        call    substitute
        call    clock_stop
        call    check_answer
        jc      .wrong
        call    report
        mov     ax, DOS_EXIT << 8
        int     21h
.wrong:
        mov     dx, text_wrong
        jmp     short .failed
.memory:
        mov     dx, text_memory
.failed:
        call    put_text
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

; mul_mod: a product modulo PRIME.
; Input: AX, BX below PRIME.  Output: AX.  Destroys: DX.
mul_mod:
        push    bx
        mul     bx
        mov     bx, PRIME
        div     bx                      ; the high word is below PRIME / 2: no overflow
        mov     ax, dx
        pop     bx
        ret

; inverse: x^(PRIME-2), which is 1/x modulo PRIME.
; Input: AX, not 0.  Output: AX.  Destroys: BX, CX, DX.
inverse:
        push    si
        mov     bx, ax                  ; BX = x, x^2, x^4 ...
        mov     cx, PRIME - 2
        mov     si, 1
.bit:
        shr     cx, 1
        jnc     .square
        mov     ax, si
        call    mul_mod
        mov     si, ax
.square:
        mov     ax, bx
        call    mul_mod
        mov     bx, ax
        test    cx, cx
        jnz     .bit
        mov     ax, si
        pop     si
        ret

; fill_matrix: random coefficients; the right-hand side is such that x[i] = i.
; Input: [order].  Output: [matrix].  Destroys: AX, BX, CX, DX, SI, DI, BP.
fill_matrix:
        mov     di, matrix
        mov     si, [order]             ; SI = rows to do
        mov     cx, 1                   ; CX = random
.row:
        xor     bp, bp                  ; BP = right-hand side
        mov     bx, 1                   ; BX = column = expected x
.cell:
        mov     ax, cx
        mov     dx, 25173
        mul     dx
        add     ax, 13849
        mov     cx, ax
        xor     dx, dx
        push    bx
        mov     bx, PRIME
        div     bx
        pop     bx
        mov     ax, dx
        stosw
        call    mul_mod
        add     ax, bp
        cmp     ax, PRIME
        jb      .in_range
        sub     ax, PRIME
.in_range:
        mov     bp, ax
        inc     bx
        cmp     bx, [order]
        jbe     .cell
        stosw
        dec     si
        jnz     .row
        ret

; subtract_multiple: subtract a multiple of one row from another, from one column on.
; Input: SI, DI = the first elements of source and target, BX = factor, CX = elements.
; Output: the target row.  Destroys: AX, CX, DX, SI, DI.
subtract_multiple:
        lodsw
        call    mul_mod
        mov     dx, [di]
        sub     dx, ax
        jnc     .in_range
        add     dx, PRIME
.in_range:
        mov     ax, dx
        stosw
        loop    subtract_multiple
        ret

; eliminate: make the matrix upper triangular.
; Input: [matrix], [order].  Output: CF=1 when it is singular.  Destroys: all but SP.
eliminate:
        mov     bp, matrix              ; BP = the diagonal element
        mov     ax, [order]
        mov     [left], ax              ; rows from this one on
.column:
        mov     si, bp                  ; search a pivot that isn't zero
        mov     cx, [left]
.search:
        cmp     word [si], 0
        jne     .pivot
        add     si, [row_size]
        loop    .search
        stc
        ret
.pivot:
        cmp     si, bp
        je      .in_place
        mov     di, bp
        mov     cx, [left]
        inc     cx
.swap:
        mov     ax, [si]
        xchg    ax, [di]
        mov     [si], ax
        inc     si
        inc     si
        inc     di
        inc     di
        loop    .swap
.in_place:
        mov     ax, [ds:bp]
        call    inverse
        mov     [pivot_inverse], ax
        mov     di, bp
        mov     ax, [left]
        mov     [below], ax
.row:
        dec     word [below]
        jz      .next_column
        add     di, [row_size]
        mov     ax, [di]
        mov     bx, [pivot_inverse]
        call    mul_mod
        mov     bx, ax
        push    di
        mov     si, bp
        mov     cx, [left]
        inc     cx
        call    subtract_multiple
        pop     di
        jmp     short .row
.next_column:
        add     bp, [row_size]
        inc     bp
        inc     bp
        dec     word [left]
        jnz     .column
        clc
        ret

; substitute: solve the triangular system from the last row up, the answer in the right-hand sides.
; Input: [matrix], [order].  Output: the last element of each row = x.  Destroys: all but SP.
substitute:
        mov     ax, [order]
        mul     word [row_size]
        add     ax, matrix - 2
        mov     bp, ax                  ; BP = right-hand side of the current row
        mov     word [left], 0          ; unknowns already found
.row:
        mov     si, bp                  ; x of the row below stands one row further
        mov     di, bp
        mov     cx, [left]
        jcxz    .divide
        mov     ax, cx
        mul     word [row_size]
        add     si, ax                  ; SI = x of the last row
.term:
        dec     di
        dec     di
        mov     ax, [di]
        mov     bx, [si]
        call    mul_mod
        mov     dx, [ds:bp]
        sub     dx, ax
        jnc     .in_range
        add     dx, PRIME
.in_range:
        mov     [ds:bp], dx
        sub     si, [row_size]
        loop    .term
.divide:
        mov     ax, [di - 2]
        call    inverse
        mov     bx, [ds:bp]
        call    mul_mod
        mov     [ds:bp], ax
        sub     bp, [row_size]
        inc     word [left]
        mov     ax, [left]
        cmp     ax, [order]
        jb      .row
        ret

; check_answer: is x[i] = i everywhere?
; Input: [matrix], [order].  Output: CF=1 when not.  Destroys: AX, BX, CX.
check_answer:
        mov     bx, matrix - 2
        xor     ax, ax
        mov     cx, [order]
.row:
        inc     ax
        add     bx, [row_size]
        cmp     [bx], ax
        jne     .wrong
        loop    .row
        clc
        ret
.wrong:
        stc
        ret

; report: print the two lines.
; Input: [order], [elapsed].  Output: none.  Destroys: all but SP.
report:
        mov     dx, text_system
        call    put_text
        mov     ax, [order]
        call    put_word
        mov     dx, text_comma
        call    put_text
        call    put_seconds
        mov     dx, text_speed
        call    put_text
        mov     ax, text_unit
        push    ax
        mov     ax, [order]             ; operations = n^2 (2n + 6) / 3
        mov     bx, ax
        mul     bx
        shl     bx, 1
        add     bx, 6
        xor     cx, cx
        mov     si, 3
        xor     di, di
        call    scale
        mov     bx, 11931818 & 0FFFFh   ; tenths of an operation a second
        mov     cx, 11931818 >> 16
        mov     si, [elapsed]
        mov     di, [elapsed + 2]
        call    scale
        jc      .put
        mov     bx, 1                   ; tenths of a thousand
        xor     cx, cx
        mov     si, 1000
        xor     di, di
        call    scale
.put:
        mov     cl, 1
        jmp     put_result

usage:          db "SOLVE [n]   order n 1 to 168", CR, LF, '$'
text_system:    db "Linear system: order $"
text_comma:     db ", $"
text_speed:     db " seconds", CR, LF, "Speed: $"
text_unit:      db " kflops", CR, LF, '$'
text_wrong:     db "Linear system: the answer is wrong", CR, LF, '$'
text_memory:    db "Linear system: not enough memory", CR, LF, '$'

%include "common.inc"
%include "clock.inc"

section .bss
order:          resw 1
row_size:       resw 1
left:           resw 1
below:          resw 1
pivot_inverse:  resw 1
matrix:                                 ; [order] rows, to the end of what is used
