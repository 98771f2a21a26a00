; REPLAY.COM [frames]: draws frames into the text screen and reports how fast that went.
;
; A frame is a row of characters and colours, worked out anew, copied into every row of the screen
; with a shift from row to row: memory reads, a little arithmetic and 4,000 octets written to the
; display. Prints, with a clock of 35 ticks a second (whole ticks, as such a clock counts them):
;       Replay: 2134 frames in 1024 ticks (35 ticks/s)
;       Rate: 72.9 frames/s
; The rate is frames * 35 / ticks with the ticks as shown. The screen is put back afterwards.
; nasm -f bin -I tests/dos_programs/ -o REPLAY.COM replay.asm

        cpu     8086
        bits    16
        org     100h

DEFAULT_FRAMES  equ 300
ROWS            equ 25
MOST_COLUMNS    equ 80
BDA_MODE        equ 49h
BDA_COLUMNS     equ 4Ah
BDA_PAGE_START  equ 4Eh

start:
        cld
        mov     si, COMMAND_TAIL
        mov     ax, DEFAULT_FRAMES
        call    take_number
        jc      .usage
        test    ax, ax
        jz      .usage
        mov     [frames], ax
        call    find_screen
        mov     si, 0                   ; keep what is on the screen
        call    copy_screen
        call    clock_start
        mov     cx, [frames]
.frame:
        push    cx
        call    draw_frame
        pop     cx
        loop    .frame
        call    clock_stop
        mov     si, 1
        call    copy_screen
        call    report
        mov     ax, DOS_EXIT << 8
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

; find_screen: where the text screen lies. A graphics mode is left for 80 x 25 text first.
; Input: none.  Output: [screen], [page_start], [columns].  Destroys: AX, BX, ES.
find_screen:
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_MODE]
        mov     bx, 0B000h
        cmp     al, 7
        je      .found
        mov     bx, 0B800h
        cmp     al, 3
        jbe     .found
        mov     ax, 0003h
        int     10h
.found:
        mov     [screen], bx
        mov     ax, [es:BDA_PAGE_START]
        mov     [page_start], ax
        mov     ax, [es:BDA_COLUMNS]
        cmp     ax, MOST_COLUMNS
        jbe     .columns
        mov     ax, MOST_COLUMNS
.columns:
        mov     [columns], ax
        ret

; copy_screen: screen to memory (SI=0) or memory to screen (SI=1).
; Input: SI, [screen], [page_start], [columns].  Output: none.  Destroys: AX, CX, DX, SI, DI.
copy_screen:
        push    ds
        push    es
        mov     ax, [columns]
        mov     cx, ROWS
        mul     cx
        mov     cx, ax
        mov     ax, [screen]
        mov     di, [page_start]
        test    si, si
        jnz     .back
        mov     si, di
        mov     di, kept
        push    ds
        pop     es
        mov     ds, ax
        jmp     short .copy
.back:
        mov     si, kept
        mov     es, ax
.copy:
        rep     movsw
        pop     es
        pop     ds
        ret

; draw_frame: work out the next row and copy it to all rows.
; Input: [screen], [page_start], [columns], [seed].  Output: [seed].
; Destroys: AX, BX, CX, DX, SI, DI, ES.
draw_frame:
        push    ds
        pop     es
        mov     di, row
        mov     cx, [columns]
        shl     cx, 1                   ; twice as long as a row, so that it can be shifted
        mov     ax, [seed]
        mov     bx, 25173
.cell:
        mul     bx                      ; x' = 25173 x + 13849 mod 65536
        add     ax, 13849
        stosw
        loop    .cell
        mov     [seed], ax
        mov     es, [screen]
        mov     di, [page_start]
        mov     bx, row
        mov     dx, ROWS
.row:
        mov     si, bx
        mov     cx, [columns]
        rep     movsw
        inc     bx                      ; one cell further a row
        inc     bx
        dec     dx
        jnz     .row
        ret

; report: print the two lines.
; Input: [frames], [elapsed].  Output: none.  Destroys: AX, BX, CX, DX, SI, DI, BP.
; Ticks of 1/35 s = steps * 35 * 264 / 315,000,000 = steps * 11 / 375,000, exactly.
report:
        mov     ax, [elapsed]
        mov     dx, [elapsed + 2]
        mov     bx, 11
        xor     cx, cx
        mov     si, 375000 & 0FFFFh
        mov     di, 375000 >> 16
        call    scale
        mov     [ticks], ax
        mov     [ticks + 2], dx
        mov     dx, text_replay
        call    put_text
        mov     ax, [frames]
        call    put_word
        mov     dx, text_frames
        call    put_text
        mov     ax, [ticks]
        mov     dx, [ticks + 2]
        mov     cl, 0
        call    put_fixed
        mov     dx, text_ticks
        call    put_text
        mov     ax, text_rate_unit
        push    ax
        mov     ax, [frames]
        mov     bx, 350                 ; 35 ticks a second, in tenths
        xor     dx, dx
        xor     cx, cx
        mov     si, [ticks]
        mov     di, [ticks + 2]
        call    scale
        mov     cl, 1
        jmp     put_result

usage:          db "REPLAY [frames]   frames 1 to 65535", CR, LF, '$'
text_replay:    db "Replay: $"
text_frames:    db " frames in $"
text_ticks:     db " ticks (35 ticks/s)", CR, LF, "Rate: $"
text_rate_unit: db " frames/s", CR, LF, '$'
seed:           dw 1

%include "common.inc"
%include "clock.inc"

section .bss
frames:         resw 1
ticks:          resw 2
screen:         resw 1
page_start:     resw 1
columns:        resw 1
row:            resw 2 * MOST_COLUMNS
kept:           resw ROWS * MOST_COLUMNS
