; INTLOOP.COM [passes]: a loop of integer work, reported as passes a second.
;
; The mixture is our own: copying a record, comparing two texts, multiplying, dividing, indexing
; an array, branching, calling. It is not any published benchmark and its speed cannot be compared
; with one; only the way of reporting is borrowed (Weicker 1984: a rate divided by 1757), so that the
; arithmetic behind a derived reading can be tried. Prints:
;       Integer loop: 20000 passes in 3.42 seconds
;       Speed: 5847.9 passes/s
; nasm -f bin -I tests/dos_programs/ -o INTLOOP.COM intloop.asm

        cpu     8086
        bits    16
        org     100h

DEFAULT_PASSES  equ 20000

start:
        cld
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_PASSES
        call    take_number
        jc      .usage
        test    ax, ax
        jz      .usage
        mov     [passes], ax
        call    clock_start
        mov     cx, [passes]
.pass:
        push    cx
        call    one_pass
        pop     cx
        loop    .pass
        call    clock_stop
        mov     dx, text_loop
        call    put_text
        mov     ax, [passes]
        call    put_word
        mov     dx, text_passes
        call    put_text
        call    put_seconds
        mov     dx, text_speed
        call    put_text
        mov     ax, [passes]
        xor     dx, dx
        mov     si, text_unit
        call    put_rate
        mov     ax, DOS_EXIT << 8
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

; one_pass: the work that is counted.
; Input: CX = pass number; DS = ES.  Output: none.  Destroys: AX, BX, CX, DX, SI, DI.
one_pass:
        mov     bx, cx
        mov     si, record_a            ; a record is assigned
        mov     di, record_b
        mov     cx, 12
        rep     movsw
        mov     si, text_a              ; two texts differ in the last of 20 characters
        mov     di, text_b
        mov     cx, 20
        repe    cmpsb
        jae     .not_less
        inc     word [record_b]
.not_less:
        mov     ax, bx                  ; (pass * 7 + 3) / 11
        mov     cx, 7
        mul     cx
        add     ax, 3
        adc     dx, 0
        mov     cx, 11
        div     cx
        and     ax, 15                  ; an element of an array, by a computed index
        mov     di, ax
        shl     di, 1
        add     [array + di], dx
        call    choose
        test    bl, 1
        jz      .even
        call    choose
.even:
        ret

; choose: pick one of three ways by the pass number.
; Input: BX.  Output: AX.  Destroys: nothing else.
choose:
        mov     ax, bx
        and     ax, 3
        jz      .first
        cmp     ax, 2
        je      .second
        add     ax, [array]
        ret
.first:
        sub     ax, [array + 2]
        ret
.second:
        xor     ax, [array + 4]
        ret

usage:          db "INTLOOP [passes]   passes 1 to 65535", CR, LF, '$'
text_loop:      db "Integer loop: $"
text_passes:    db " passes in $"
text_speed:     db " seconds", CR, LF, "Speed: $"
text_unit:      db " passes/s", CR, LF, '$'
text_a:         db "a line of text, one "
text_b:         db "a line of text, one."
record_a:       dw 1, 2, 3, 5, 8, 13, 21, 34, 55, 89, 144, 233
array:          times 16 dw 0

%include "common.inc"
%include "clock.inc"

section .bss
passes:         resw 1
record_b:       resw 12
