; BIGPRINT.COM [octets]: prints so many octets in one call of INT 21h AH=40h, then the same octets
; again in calls of 1, 2, 3 ... 16, 1, 2 ... octets, then an end of line and the sum:
;       Big print: 4000 octets, sum 12345
; The sum is that of all 2 * octets, modulo 65536. Octet i is 33 + i mod 94, but in every 64 the
; last two are CR and LF. A short count from DOS ends the program with exit code 1.
; nasm -f bin -I tests/dos_programs/ -o BIGPRINT.COM bigprint.asm

        cpu     8086
        bits    16
        org     100h

DEFAULT_OCTETS  equ 2000
MOST_OCTETS     equ 60000
STACK_NEED      equ 512
FIRST           equ 33
KINDS           equ 94
LINE            equ 64
MOST_AT_ONCE    equ 16

start:
        cld
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_OCTETS
        call    take_number
        jc      .usage
        test    ax, ax
        jz      .usage
        cmp     ax, MOST_OCTETS
        ja      .usage
        mov     [octets], ax
        add     ax, octet + STACK_NEED
        jc      .memory
        cmp     ax, sp
        ja      .memory
        call    fill
        mov     dx, octet
        mov     cx, [octets]
        call    write
        call    write_in_pieces
        call    report
        mov     ax, DOS_EXIT << 8
        int     21h
.memory:
        mov     dx, text_memory
        jmp     short failed
.usage:
        mov     dx, usage
        jmp     leave_with_usage

failed:
        call    put_text
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h

; fill: make the octets and add them up, twice.
; Input: [octets].  Output: [octet...], [sum].  Destroys: AX, BX, CX, DX, DI.
fill:
        mov     di, octet
        mov     cx, [octets]
        xor     bx, bx                  ; BL = i mod LINE, BH = i mod KINDS
        xor     dx, dx                  ; DX = sum
.next:
        mov     al, CR
        cmp     bl, LINE - 2
        je      .put
        mov     al, LF
        ja      .put
        mov     al, bh
        add     al, FIRST
.put:
        stosb
        mov     ah, 0
        add     dx, ax
        inc     bl
        and     bl, LINE - 1
        inc     bh
        cmp     bh, KINDS
        jb      .in_range
        mov     bh, 0
.in_range:
        loop    .next
        shl     dx, 1
        mov     [sum], dx
        ret

; write: one call to standard output.
; Input: DX = octets, CX = how many.  Output: none.  Destroys: AX, BX.
write:
        mov     bx, 1
        mov     ah, 40h
        int     21h
        jc      .short
        cmp     ax, cx
        jne     .short
        ret
.short:
        mov     dx, text_short
        jmp     failed

; write_in_pieces: the octets again in calls of 1 to 16 octets.
; Input: [octets].  Output: none.  Destroys: AX, BX, CX, DX, SI, DI.
write_in_pieces:
        mov     dx, octet
        mov     si, [octets]            ; SI = left
        xor     di, di                  ; DI = size before
.piece:
        inc     di
        cmp     di, MOST_AT_ONCE
        jbe     .size
        mov     di, 1
.size:
        mov     cx, di
        cmp     cx, si
        jbe     .all
        mov     cx, si
.all:
        call    write
        add     dx, cx
        sub     si, cx
        jnz     .piece
        ret

; report: the end of line and the sum.
; Input: [octets], [sum].  Output: none.  Destroys: AX, CX, DX.
report:
        mov     dx, text_big
        call    put_text
        mov     ax, [octets]
        xor     dx, dx
        shl     ax, 1
        rcl     dx, 1
        mov     cl, 0
        call    put_fixed
        mov     dx, text_sum
        call    put_text
        mov     ax, [sum]
        call    put_word
        mov     dx, text_end
        jmp     put_text

usage:          db "BIGPRINT [octets]   octets 1 to 60000", CR, LF, '$'
text_memory:    db "Big print: not enough memory", CR, LF, '$'
text_short:     db CR, LF, "Big print: not everything was taken", CR, LF, '$'
text_big:       db CR, LF, "Big print: $"
text_sum:       db " octets, sum $"
text_end:       db CR, LF, '$'

%include "common.inc"

section .bss
octets:         resw 1
sum:            resw 1
octet:                                  ; [octets] of them
