; MENU.COM [way]: three pages, written straight to video memory, each with a wait for a key behind it; the number
; stands on the last one only. Then the screen is cleared. Pages:
;       Menu: page 1 of 3               Menu: page 3 of 3, score 12.5 points
; Ways to wait: 00 10 (INT 16h), 11 (INT 16h AH=01h polled, then 00h), 01 06 07 08 (INT 21h; 06 polls), 0A (a line),
; 0B 44 (status by 0Bh, by 4406h polled, then 08h), 0C (flush, then 08h), 3F (reads standard input). Without a way: 00.
; nasm -f bin -I tests/dos_programs/ -o MENU.COM menu.asm

        cpu     8086
        bits    16
        org     100h

BDA_MODE        equ 49h
PAGES           equ 3
LINE_MOST       equ 20

start:
        cld
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     ax, 0B800h
        cmp     byte [es:BDA_MODE], 7
        jne     .colour
        mov     ax, 0B000h
.colour:
        mov     [video], ax
        mov     si, COMMAND_TAIL
        call    skip_blanks
        cmp     al, CR
        je      .page
        mov     ax, [si]
        mov     bx, ways
.way:
        cmp     word [bx], 0
        je      .usage
        cmp     [bx], ax
        je      .found
        add     bx, 4
        jmp     short .way
.found:
        mov     ax, [bx + 2]
        mov     [wait_routine], ax
.page:
        inc     byte [page_text + 11]
        mov     cx, text_end - page_text
        cmp     byte [page_text + 11], '0' + PAGES
        je      .show
        mov     cx, score_text - page_text
.show:
        mov     si, page_text
        mov     es, [video]
        xor     di, di
        mov     ah, 07h
.letter:
        lodsb
        stosw
        loop    .letter
        call    [wait_routine]
        cmp     byte [page_text + 11], '0' + PAGES
        jb      .page
        mov     es, [video]
        xor     di, di
        mov     cx, 80 * 25
        mov     ax, 0720h
        rep     stosw
        mov     ax, DOS_EXIT << 8
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

bios_wait:
        mov     ah, 00h
        int     16h
        ret
bios_new_wait:
        mov     ah, 10h
        int     16h
        ret
bios_poll:
        mov     ah, 01h
        int     16h
        jz      bios_poll
        jmp     short bios_wait
dos_echo:
        mov     ah, 01h
        int     21h
        ret
dos_poll:
        mov     ah, 06h
        mov     dl, 0FFh
        int     21h
        jz      dos_poll
        ret
dos_status:
        mov     ah, 0Bh
        int     21h
        test    al, al
        jz      dos_status
        jmp     short dos_wait
dos_control:
        mov     ax, 4406h
        xor     bx, bx
        int     21h
        test    al, al
        jz      dos_control
        jmp     short dos_wait
dos_raw:
        mov     ah, 07h
        int     21h
        ret
dos_wait:
        mov     ah, 08h
        int     21h
        ret
dos_line:
        mov     dx, line
        mov     ah, 0Ah
        int     21h
        ret
dos_flush:
        mov     ax, 0C08h
        int     21h
        ret
dos_read:
        mov     dx, line
        mov     cx, LINE_MOST
        xor     bx, bx
        mov     ah, 3Fh
        int     21h
        ret

ways:           dw '00', bios_wait, '10', bios_new_wait, '11', bios_poll, '01', dos_echo, '06', dos_poll
                dw '07', dos_raw, '08', dos_wait, '0A', dos_line, '0B', dos_status, '0C', dos_flush, '3F', dos_read
                dw '44', dos_control, 0
wait_routine:   dw bios_wait
video:          dw 0
usage:          db "MENU [way]   way 00 10 11 01 06 07 08 0A 0B 0C 3F 44", CR, LF, '$'
page_text:      db "Menu: page 0 of 3"
score_text:     db ", score 12.5 points"
text_end:
line:           db LINE_MOST, 0
                times LINE_MOST db 0

%include "common.inc"
