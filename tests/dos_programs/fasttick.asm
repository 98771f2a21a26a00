; FASTTICK.COM [ticks] [way]: sets the timer to 1,000 Hz, counts so many of its ticks, and says how many.
;
; way 1 (as it is without one): the BIOS's own INT 8 takes every tick: its clock runs 55 times too fast meanwhile
; way 2: an INT 8 of its own, which lets the BIOS have a tick each 65,536 counts: its clock stays right
; way 3: as way 1, but the timer is left at 1,000 Hz
; Prints, by its own count:
;       Fast timer: 2000 ticks in 2.00 seconds
; nasm -f bin -I tests/dos_programs/ -o FASTTICK.COM fasttick.asm

        cpu     8086
        bits    16
        org     100h

PIT_COUNTER_0   equ 40h
PIT_COMMAND     equ 43h
SET_MODE_3      equ 36h                 ; counter 0, low octet then high, mode 3
PIC_COMMAND     equ 20h
PIC_END         equ 20h
FAST_COUNTS     equ 1193                ; 1,000.15 Hz
BIOS_TICKS      equ 6Ch
DEFAULT_TICKS   equ 2000
VECTOR_TICK     equ 08h
WAY_OWN         equ 2
WAY_LEFT        equ 3

start:
        cld
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_TICKS
        call    take_number
        jc      .usage
        mov     [wanted], ax
        mov     ax, 1
        call    take_number
        jc      .usage
        cmp     ax, WAY_LEFT
        ja      .usage
        mov     [way], al
        cmp     al, WAY_OWN
        jne     .set
        mov     ax, 3500h | VECTOR_TICK
        int     21h
        mov     [before], bx
        mov     [before + 2], es
        mov     dx, fast_tick
        mov     ax, 2500h | VECTOR_TICK
        int     21h
.set:
        mov     bx, FAST_COUNTS
        call    set_timer
        cmp     byte [way], WAY_OWN
        je      .own
        call    count_bios_ticks
        jmp     short .counted
.own:
        mov     ax, [wanted]
.wait:
        cmp     [ticks], ax
        jb      .wait
.counted:
        cmp     byte [way], WAY_LEFT
        je      .report
        xor     bx, bx                  ; 65,536 again
        call    set_timer
        cmp     byte [way], WAY_OWN
        jne     .report
        push    ds
        lds     dx, [before]
        mov     ax, 2500h | VECTOR_TICK
        int     21h
        pop     ds
.report:
        mov     dx, text_fast
        call    put_text
        mov     ax, [wanted]
        call    put_word
        mov     dx, text_in
        call    put_text
        mov     ax, [wanted]
        xor     dx, dx
        mov     bx, 10                  ; milliseconds to hundredths
        div     bx
        xor     dx, dx
        mov     cl, 2
        call    put_fixed
        mov     dx, text_seconds
        call    put_text
        mov     ax, DOS_EXIT << 8
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

; set_timer: program counter 0.
; Input: BX = counts, 0 for 65,536.  Output: none.  Destroys: AL.
set_timer:
        cli
        mov     al, SET_MODE_3
        out     PIT_COMMAND, al
        jmp     short $+2
        mov     al, bl
        out     PIT_COUNTER_0, al
        jmp     short $+2
        mov     al, bh
        out     PIT_COUNTER_0, al
        sti
        ret

; count_bios_ticks: wait until the BIOS has counted enough.
; Input: [wanted].  Output: none.  Destroys: AX, BX, ES.
count_bios_ticks:
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     bx, [es:BIOS_TICKS]
.wait:
        mov     ax, [es:BIOS_TICKS]
        sub     ax, bx
        cmp     ax, [wanted]
        jb      .wait
        ret

; fast_tick: INT 8 of way 2. Counts, and passes on what 65,536 counts have brought together.
; Input, Output: none.  Destroys: nothing.
fast_tick:
        inc     word [cs:ticks]
        add     word [cs:gathered], FAST_COUNTS
        jnc     .ours
        jmp     far [cs:before]
.ours:
        push    ax
        mov     al, PIC_END
        out     PIC_COMMAND, al
        pop     ax
        iret

usage:          db "FASTTICK [ticks] [way]   ticks 0 to 65535, way 1 to 3", CR, LF, '$'
text_fast:      db "Fast timer: $"
text_in:        db " ticks in $"
text_seconds:   db " seconds", CR, LF, '$'
before:         dw 0, 0
ticks:          dw 0
gathered:       dw 0
wanted:         dw 0
way:            db 0

%include "common.inc"
