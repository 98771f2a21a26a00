; FRAMES.COM mode: goes to a graphics mode, has the BIOS draw the points that PIXELS.DAT lists, and keeps the video
; memory as it then lies there in FRAME.RAW: plane after plane, and the DAC's 256 colours behind it in mode 13h.
; The mode is typed as its two hexadecimal digits: 04 05 06 0D 0E 10 11 12 13.
; PIXELS.DAT: for each point x and y (words) and its colour (an octet). At most 6000 points.
; Exit codes: 0 done, 1 the adapter does not take the mode or a file cannot be used, 2 no such mode.
; nasm -f bin -I tests/dos_programs/ -o FRAMES.COM frames.asm

        cpu     8086
        bits    16
        org     100h

POINT           equ 5                   ; octets of a point
MOST            equ 6000 * POINT
DAC_COLOURS     equ 256
GRAPHICS_INDEX  equ 3CEh                ; graphics controller: index, then data
READ_MAP        equ 4                   ; its register that selects the plane that is read
DOS_CREATE      equ 3Ch
DOS_OPEN        equ 3Dh
DOS_CLOSE       equ 3Eh
DOS_READ        equ 3Fh
DOS_WRITE       equ 40h
SHAPE           equ 6                   ; octets of an entry of the table below

start:
        mov     si, COMMAND_TAIL
        call    skip_blanks
        call    take_digit
        jc      .usage
        mov     cl, 4
        shl     al, cl
        mov     bl, al
        call    take_digit
        jc      .usage
        or      bl, al
        mov     [mode], bl
        mov     di, shapes
.find:
        cmp     [di], bl
        je      .found
        add     di, SHAPE
        cmp     di, shapes_end
        jb      .find
.usage:
        mov     dx, usage
        jmp     leave_with_usage
.found:
        mov     ax, DOS_OPEN << 8       ; read only
        mov     dx, points_name
        int     21h
        jc      .failed
        mov     bx, ax
        mov     ah, DOS_READ
        mov     cx, MOST
        mov     dx, buffer
        int     21h
        jc      .failed
        mov     [points_size], ax
        mov     ah, DOS_CLOSE
        int     21h
        mov     al, [mode]
        mov     ah, 00h
        int     10h
        mov     ah, 0Fh
        int     10h
        cmp     al, [mode]
        jne     .failed
        call    draw
        call    keep
        jc      .failed
        mov     ax, 0003h
        int     10h
        mov     ax, DOS_EXIT << 8
        int     21h
.failed:
        mov     ax, 0003h
        int     10h
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h

; take_digit: read one hexadecimal digit.
; Input: DS:SI.  Output: AL = 0..15 and SI behind it; CF set where there is none.  Destroys: AH.
take_digit:
        lodsb
        cmp     al, '0'
        jb      .none
        cmp     al, '9'
        jbe     .decimal
        and     al, 0DFh                ; capital letter
        cmp     al, 'A'
        jb      .none
        cmp     al, 'F'
        ja      .none
        sub     al, 'A' - 10
        clc
        ret
.decimal:
        sub     al, '0'
        clc
        ret
.none:
        stc
        ret

; draw: have the BIOS write every point of the buffer.
; Input: buffer, points_size.  Output: none.  Destroys: AX, BX, CX, DX, SI.
draw:
        mov     si, buffer
.point:
        mov     ax, si
        sub     ax, buffer
        add     ax, POINT
        cmp     ax, [points_size]
        ja      .done
        mov     cx, [si]
        mov     dx, [si + 2]
        mov     al, [si + 4]
        mov     ah, 0Ch
        mov     bh, 0
        push    si
        push    di
        int     10h
        pop     di
        pop     si
        add     si, POINT
        jmp     short .point
.done:
        ret

; keep: write the video memory to FRAME.RAW.
; Input: DS:DI = entry of the table.  Output: CF set where the file cannot be written.  Destroys: AX, BX, CX, DX, SI.
keep:
        mov     ah, DOS_CREATE
        xor     cx, cx
        mov     dx, frame_name
        int     21h
        jc      .done
        mov     bx, ax
        xor     si, si                  ; SI = plane
.plane:
        cmp     byte [di + 1], 1
        je      .write                  ; packed pixels: there is nothing to select
        mov     dx, GRAPHICS_INDEX
        mov     al, READ_MAP
        out     dx, al
        inc     dx
        mov     ax, si
        out     dx, al
.write:
        mov     cx, [di + 4]
        push    ds
        mov     ds, [di + 2]
        xor     dx, dx
        mov     ah, DOS_WRITE
        int     21h
        pop     ds
        jc      .done
        inc     si
        mov     ax, si
        cmp     al, [di + 1]
        jb      .plane
        cmp     byte [mode], 13h
        jne     .close
        push    bx
        mov     ax, 1017h               ; read a block of DAC registers
        xor     bx, bx
        mov     cx, DAC_COLOURS
        mov     dx, buffer
        int     10h
        pop     bx
        mov     ah, DOS_WRITE
        mov     cx, 3 * DAC_COLOURS
        mov     dx, buffer
        int     21h
        jc      .done
.close:
        mov     ah, DOS_CLOSE
        int     21h
.done:
        ret

; Mode, planes that are kept, segment, octets of a plane.
shapes:
        db 04h, 1
        dw 0B800h, 16384
        db 05h, 1
        dw 0B800h, 16384
        db 06h, 1
        dw 0B800h, 16384
        db 0Dh, 4
        dw 0A000h, 8000
        db 0Eh, 4
        dw 0A000h, 16000
        db 10h, 4
        dw 0A000h, 28000
        db 11h, 1
        dw 0A000h, 38400
        db 12h, 4
        dw 0A000h, 38400
        db 13h, 1
        dw 0A000h, 64000
shapes_end:

usage:          db "FRAMES mode   04 05 06 0D 0E 10 11 12 13", CR, LF, '$'
points_name:    db "PIXELS.DAT", 0
frame_name:     db "FRAME.RAW", 0
mode:           db 0
points_size:    dw 0

%include "common.inc"

section .bss
buffer:         resb MOST               ; the points, later the colours
section .text
