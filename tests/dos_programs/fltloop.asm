; FLTLOOP.COM [LOOP]: a loop of mixed arithmetic, reported in KWIPS.
;
; This is not the published benchmark (Curnow and Wichmann 1976), nor a measure of floating-point
; speed: the work is fixed-point arithmetic in integers, a stand-in of our own that runs on any
; 8086. Only the published reporting formula is borrowed, KWIPS = 100 * LOOP * II / seconds, so that
; the arithmetic behind a reading can be tried. Its figures compare with nothing else. Prints:
;       Mixed loop: LOOP 10, II 1, 2.50 seconds
;       Speed: 400.0 KWIPS
; nasm -f bin -I tests/dos_programs/ -o FLTLOOP.COM fltloop.asm

        cpu     8086
        bits    16
        org     100h

DEFAULT_LOOP    equ 10
PASSES_A_LOOP   equ 1000
FACTOR          equ 32735               ; 0.999 in 1.15 fixed point
ELEMENTS        equ 4

start:
        cld
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_LOOP
        call    take_number
        jc      .usage
        test    ax, ax
        jz      .usage
        mov     [loops], ax
        call    clock_start
        mov     cx, [loops]
.loop:
        push    cx
        mov     cx, PASSES_A_LOOP
.pass:
        push    cx
        call    one_pass
        pop     cx
        loop    .pass
        pop     cx
        loop    .loop
        call    clock_stop
        mov     dx, text_loop
        call    put_text
        mov     ax, [loops]
        call    put_word
        mov     dx, text_ii
        call    put_text
        call    put_seconds
        mov     dx, text_speed
        call    put_text
        mov     ax, [loops]             ; 100 * LOOP * II, II = 1
        mov     bx, 100
        mul     bx
        mov     si, text_unit
        call    put_rate
        mov     ax, DOS_EXIT << 8
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

; one_pass: every element becomes 0.999 times the sum of its neighbours less itself.
; Input: [elements].  Output: [elements].  Destroys: AX, BX, CX, DX, SI, DI.
one_pass:
        xor     si, si
        mov     cx, ELEMENTS
.element:
        mov     di, si                  ; the next one, round the ring
        inc     di
        inc     di
        and     di, 2 * ELEMENTS - 1
        mov     bx, si                  ; the one before
        dec     bx
        dec     bx
        and     bx, 2 * ELEMENTS - 1
        mov     ax, [elements + di]
        add     ax, [elements + bx]
        sub     ax, [elements + si]
        call    times_factor
        mov     [elements + si], ax
        mov     si, di
        loop    .element
        ret

; times_factor: multiply by FACTOR in 1.15 fixed point.
; Input: AX signed.  Output: AX.  Destroys: DX.
times_factor:
        mov     dx, FACTOR
        imul    dx
        shl     ax, 1
        rcl     dx, 1
        mov     ax, dx
        ret

usage:          db "FLTLOOP [LOOP]   LOOP 1 to 65535", CR, LF, '$'
text_loop:      db "Mixed loop: LOOP $"
text_ii:        db ", II 1, $"
text_speed:     db " seconds", CR, LF, "Speed: $"
text_unit:      db " KWIPS", CR, LF, '$'
elements:       dw 8192, -8192, -4096, 4096

%include "common.inc"
%include "clock.inc"

section .bss
loops:          resw 1
