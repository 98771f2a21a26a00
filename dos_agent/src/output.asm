; What the agent itself says. It goes to handle 2, so that a redirected program's output stays pure;
; the help goes to handle 1.

section .staydata
output_handle:  dw STDERR
section .data
line_end:       db CR, LF, 0

section .stay

; dos: call DOS below our own hook.
; Input, output: as INT 21h.  Destroys: as INT 21h.
dos:
        cmp     byte [cs:hooked_dos], 0
        jne     .below
        int     21h
        ret
.below:
        pushf
        call    far [cs:old_dos]
        ret

; put_string: print a text.
; Input: DS:SI = text that ends with NUL.  Output: none.  Destroys: nothing.
put_string:
        push    ax
        push    bx
        push    cx
        push    dx
        mov     dx, si
        mov     cx, -1
.length:
        inc     cx
        mov     bx, dx
        add     bx, cx
        cmp     byte [bx], 0
        jne     .length
        mov     bx, [cs:output_handle]
        mov     ah, 40h
        call    dos
        pop     dx
        pop     cx
        pop     bx
        pop     ax
        ret

section .text

; put_line_end: print CR and LF.
; Input: none.  Output: none.  Destroys: nothing.
put_line_end:
        push    ds
        push    si
        push    cs
        pop     ds
        mov     si, line_end
        call    put_string
        pop     si
        pop     ds
        ret

; hex16: write AX as four hexadecimal digits.
; Input: AX, ES:DI = where.  Output: DI behind them.  Destroys: AX.
hex16:
        push    cx
        push    dx
        mov     dx, ax
        mov     cx, 4
.digit:
        push    cx
        mov     cl, 4
        rol     dx, cl
        pop     cx
        mov     al, dl
        and     al, 0Fh
        cmp     al, 10                  ; 0..9 and A..F without a branch
        sbb     al, 69h
        das
        stosb
        loop    .digit
        pop     dx
        pop     cx
        ret

; put_dec16: print AX as a decimal number.
; Input: AX.  Output: none.  Destroys: nothing.
put_dec16:
        push    dx
        xor     dx, dx
        call    put_dec32
        pop     dx
        ret

; put_dec32: print DX:AX as a decimal number.
; Input: DX:AX.  Output: none.  Destroys: nothing.
put_dec32:
        push    ax
        push    bx
        push    cx
        push    dx
        push    si
        push    ds
        push    cs
        pop     ds
        mov     si, digits + 11
        mov     byte [si], 0
        mov     bx, 10
.digit:
        mov     cx, ax                  ; DX:AX / 10 in two steps: high word, then the rest with the low one
        mov     ax, dx
        xor     dx, dx
        div     bx
        xchg    ax, cx
        div     bx
        add     dl, '0'
        dec     si
        mov     [si], dl
        mov     dx, cx
        mov     cx, ax
        or      cx, dx
        jnz     .digit
        call    put_string
        pop     ds
        pop     si
        pop     dx
        pop     cx
        pop     bx
        pop     ax
        ret

section .bss
digits:         resb 12
section .text
