; What a character, and a name in brackets, of a script means: keys, CTRL- and ALT- with a letter, PAUSE, AFTER.

PAUSE_TENTHS_MOST       equ 18000       ; its ticks must look positive in 16 bits
KEY_F11_PLAIN           equ 85h

section .data
; keys by name, and what the BIOS's buffer has for them
script_names:           db "ENTER", 0
                        dw 1C0Dh
                        db "ESC", 0
                        dw 011Bh
                        db "TAB", 0
                        dw 0F09h
                        db "SHIFT-TAB", 0
                        dw 0F00h
                        db "BACK", 0
                        dw 0E08h
                        db "SPACE", 0
                        dw 3920h
                        db "UP", 0
                        dw 4800h
                        db "DOWN", 0
                        dw 5000h
                        db "LEFT", 0
                        dw 4B00h
                        db "RIGHT", 0
                        dw 4D00h
                        db "HOME", 0
                        dw 4700h
                        db "END", 0
                        dw 4F00h
                        db "PGUP", 0
                        dw 4900h
                        db "PGDN", 0
                        dw 5100h
                        db "INS", 0
                        dw 5200h
                        db "DEL", 0
                        dw 5300h
                        db "QUOTE", 0                   ; what a command line or a batch file would take for itself
                        dw 2822h
                        db "PERCENT", 0
                        dw 0625h
                        db "LESS", 0
                        dw 3300h + '<'
                        db "GREATER", 0
                        dw 3400h + '>'
                        db "BAR", 0
                        dw 2B00h + '|'
                        db 0
; how a name may begin, what follows then, and the scan codes of F1 and F11 there
script_prefixes:        db "CTRL-", 0
                        dw name_ctrl
                        db 5Eh, 89h
                        db "ALT-", 0
                        dw name_alt
                        db 68h, 8Bh
                        db "SHIFT-", 0
                        dw name_function
                        db 54h, 87h
                        db "PAUSE ", 0
                        dw name_pause
                        db 0, 0
                        db "AFTER ", 0
                        dw name_after
                        db 0, 0
                        db 0
                        dw name_function
                        db 3Bh, KEY_F11_PLAIN
; scan codes of blank to ~
scan_codes:             db 39h, 02h, 28h, 04h, 05h, 06h, 08h, 28h, 0Ah, 0Bh, 09h, 0Dh
                        db 33h, 0Ch, 34h, 35h, 0Bh, 02h, 03h, 04h, 05h, 06h, 07h, 08h
                        db 09h, 0Ah, 27h, 27h, 33h, 0Dh, 34h, 35h, 03h, 1Eh, 30h, 2Eh
                        db 20h, 12h, 21h, 22h, 23h, 17h, 24h, 25h, 26h, 32h, 31h, 18h
                        db 19h, 10h, 13h, 1Fh, 14h, 16h, 2Fh, 11h, 2Dh, 15h, 2Ch, 1Ah
                        db 2Bh, 1Bh, 07h, 0Ch, 29h, 1Eh, 30h, 2Eh, 20h, 12h, 21h, 22h
                        db 23h, 17h, 24h, 25h, 26h, 32h, 31h, 18h, 19h, 10h, 13h, 1Fh
                        db 14h, 16h, 2Fh, 11h, 2Dh, 15h, 2Ch, 1Ah, 2Bh, 1Bh, 29h

section .bss
script_name:            resb SCRIPT_TEXT_MOST + 1
        alignb  2
script_function:        resb 2                          ; scan codes of F1 and F11 with the prefix that was found

section .text

; key_of: a character as the BIOS's buffer has it. What no key gives comes as from the numbers beside them: scan code 0.
; Input: AL.  Output: AX.  Destroys: BX.
key_of:
        xor     ah, ah
        mov     bx, ax
        sub     bx, ' '
        cmp     bx, '~' - ' '
        ja      .leave
        mov     ah, [scan_codes + bx]
.leave:
        ret

; name_mean: what a name in brackets means.
; Input: script_name, DI.  Output: its word, and what belongs to it, at DI; CF=1 when it means nothing.
; Destroys: AX, BX, CX, DX, SI.
name_mean:
        mov     bx, script_names
.name:
        mov     si, script_name
        push    di
        mov     di, bx
        call    words_equal
        pop     di
        pushf
        call    text_over
        popf
        je      .found
        inc     bx
        inc     bx
        cmp     byte [bx], 0
        jne     .name
        mov     bx, script_prefixes
.prefix:
        mov     si, script_name
.same:
        mov     al, [bx]
        test    al, al
        jz      .begins
        mov     ah, al
        lodsb
        call    upper
        cmp     al, ah
        jne     .other
        inc     bx
        jmp     short .same
.other:
        call    text_over
        add     bx, 4
        jmp     short .prefix
.begins:
        mov     ax, [bx + 3]
        mov     [script_function], ax
        jmp     [bx + 1]
.found:
        mov     ax, [bx]
        stosw
        ret

; text_over: go behind a text.
; Input: BX.  Output: BX behind its NUL.  Destroys: flags.
text_over:
        inc     bx
        cmp     byte [bx - 1], 0
        jne     text_over
        ret

; The rest of a name. Input: SI = it, DI.  Output: as name_mean.
name_ctrl:
        call    name_letter
        jc      name_function
        and     al, 1Fh
        stosw
        clc
        ret

name_alt:
        call    name_letter
        jc      name_function
        xor     al, al
        stosw
        clc
        ret

; name_letter: is it a single letter?
; Input: SI.  Output: AX = its key; CF=1 when not.  Destroys: BX.
name_letter:
        mov     al, [si]
        call    upper
        cmp     al, 'A'
        jb      .leave
        cmp     al, 'Z' + 1
        cmc
        jb      .leave
        cmp     byte [si + 1], 1        ; CF=1: its end
        cmc
        jb      .leave
        call    key_of
        clc
.leave:
        ret

name_function:
        lodsb
        call    upper
        cmp     al, 'F'
        jne     name_wrong
        call    name_number
        jc      name_wrong
        cmp     al, 0
        jne     name_wrong
        dec     bx
        cmp     bx, 12
        jae     name_wrong
        mov     ah, [script_function]
        cmp     bx, 10
        jb      .key
        sub     bx, 10
        mov     ah, [script_function + 1]
.key:
        add     ah, bl
        test    ah, ah
        jz      name_wrong
        xor     al, al
        stosw
        clc
        ret

name_pause:
        call    name_number
        jc      name_wrong
        cmp     bx, PAUSE_TENTHS_MOST / 10
        ja      name_wrong
        mov     cl, al
        mov     ax, 10
        mul     bx
        cmp     cl, 0
        je      .tenths
        cmp     cl, '.'
        jne     name_wrong
        mov     bl, [si]
        sub     bl, '0'
        cmp     bl, 9
        ja      name_wrong
        cmp     byte [si + 1], 0
        jne     name_wrong
        xor     bh, bh
        add     ax, bx
        cmp     ax, PAUSE_TENTHS_MOST
        ja      name_wrong
.tenths:
        mov     bx, 182                 ; 18.2 ticks a second
        mul     bx
        add     ax, 99
        adc     dx, 0
        mov     bx, 100
        div     bx
        inc     ax                      ; the first tick may come at once
        mov     bx, ax
        mov     ax, SCRIPT_PAUSE
        stosw
        mov     ax, bx
        stosw
        clc
        ret

name_after:
        cmp     byte [si], 0
        je      name_wrong
        mov     ax, SCRIPT_AFTER
        stosw
        mov     bx, di
        inc     di
.letter:
        lodsb
        stosb
        test    al, al
        jnz     .letter
        dec     di
        mov     ax, di
        sub     ax, bx
        dec     ax
        mov     [bx], al
        clc
        ret

name_wrong:
        stc
        ret

; name_number: a number in decimal.
; Input: SI.  Output: BX, AL = what follows it, SI behind that; CF=1 when there is none, or it is beyond 9999.
; Destroys: AH, CX, DX.
name_number:
        xor     bx, bx
        mov     cx, 5
.digit:
        lodsb
        mov     ah, al
        sub     ah, '0'
        cmp     ah, 9
        ja      .end
        dec     cx
        jz      .wrong
        push    ax
        mov     ax, 10
        mul     bx
        mov     bx, ax
        pop     ax
        mov     dl, ah
        xor     dh, dh
        add     bx, dx
        jmp     short .digit
.end:
        cmp     cx, 5                   ; CF=0 when there was none
        cmc
        ret
.wrong:
        stc
        ret
