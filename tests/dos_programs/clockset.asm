; CLOCKSET.COM mode [ticks]: puts the clock into a state that a stop watch must cope with. PIT channel 0
; goes to mode 2 or 3 with the usual 65536 counts; with ticks, the BIOS tick count is set to so many
; before midnight, and the program stays resident, to start the count anew at midnight where the BIOS
; does not (DOSBox 0.74). The date and time of the machine are wrong afterwards. Prints:
;       Clock: mode 2
; nasm -f bin -I tests/dos_programs/ -o CLOCKSET.COM clockset.asm

        cpu     8086
        bits    16
        org     100h

PIT_COUNTER_0   equ 40h
PIT_COMMAND     equ 43h
LOW_THEN_HIGH   equ 30h                 ; PIT_COMMAND, counter 0
BIOS_TICKS      equ 6Ch                 ; two words, in BIOS_DATA
BIOS_MIDNIGHT   equ 70h                 ; an octet, in BIOS_DATA
TICKS_A_DAY_LOW equ 00B0h
TICKS_A_DAY_TOP equ 0018h

start:
        jmp     short main

; tick: INT 1Ch, which INT 8 calls after it has counted: at midnight back to 0.
; Stack used: 4 octets beyond the interrupt's own. Goes on where INT 1Ch went before.
tick:
        push    ax
        push    ds
        mov     ax, BIOS_DATA
        mov     ds, ax
        cmp     word [BIOS_TICKS + 2], TICKS_A_DAY_TOP
        jb      .before
        cmp     word [BIOS_TICKS], TICKS_A_DAY_LOW
        jb      .before
        xor     ax, ax
        mov     [BIOS_TICKS], ax
        mov     [BIOS_TICKS + 2], ax
        inc     ax
        mov     [BIOS_MIDNIGHT], al
.before:
        pop     ds
        pop     ax
        jmp     far [cs:before]
before:         dw 0, 0
resident_end:

main:
        mov     si, COMMAND_TAIL
        xor     ax, ax
        call    take_number
        jc      .usage
        cmp     ax, 2
        jb      .usage
        cmp     ax, 3
        ja      .usage
        mov     di, ax                  ; DI = mode
        xor     ax, ax
        call    take_number
        jc      .usage
        mov     bx, ax                  ; BX = ticks before midnight, 0 for as it is
        mov     ax, di
        shl     ax, 1                   ; the mode stands in bits 3 to 1
        or      al, LOW_THEN_HIGH
        cli
        out     PIT_COMMAND, al
        jmp     short $+2
        xor     al, al                  ; 0 means 65536
        out     PIT_COUNTER_0, al
        jmp     short $+2
        out     PIT_COUNTER_0, al
        test    bx, bx
        jnz     .midnight
        sti
        call    report
        mov     ax, DOS_EXIT << 8
        int     21h
.midnight:
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     ax, TICKS_A_DAY_LOW
        mov     dx, TICKS_A_DAY_TOP
        sub     ax, bx
        sbb     dx, 0
        mov     [es:BIOS_TICKS], ax
        mov     [es:BIOS_TICKS + 2], dx
        sti
        call    report
        mov     ax, 351Ch
        int     21h
        mov     [before], bx
        mov     [before + 2], es
        mov     dx, tick
        mov     ax, 251Ch
        int     21h
        mov     ax, 3100h
        mov     dx, (resident_end - start + 100h + 15) / 16
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

; report: print the line.
; Input: DI = mode.  Output: none.  Destroys: AX, DX.
report:
        mov     dx, text_clock
        call    put_text
        mov     ax, di
        call    put_word
        mov     dx, text_end
        jmp     put_text

usage:          db "CLOCKSET mode [ticks]   mode 2 or 3", CR, LF, '$'
text_clock:     db "Clock: mode $"
text_end:       db CR, LF, '$'

%include "common.inc"
