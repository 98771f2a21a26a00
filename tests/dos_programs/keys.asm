; KEYS.COM key...: types keys ahead, into the BIOS keyboard buffer, for the program that runs next.
; A key is four hexadecimal digits, scan code and character: 1C0D is Enter, 2E03 Ctrl-C, 1E61 an a.
; More keys than the buffer has room for end the program with exit code 1.
; nasm -f bin -I tests/dos_programs/ -o KEYS.COM keys.asm

        cpu     8086
        bits    16
        org     100h

BDA_HEAD        equ 1Ah
BDA_TAIL        equ 1Ch
BUFFER_START    equ 1Eh                 ; where every BIOS has it at the start
BUFFER_END      equ 3Eh

start:
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     si, COMMAND_TAIL
.key:
        call    skip_blanks
        cmp     al, CR
        je      .done
        call    take_key
        jc      .usage
        cli
        mov     bx, [es:BDA_TAIL]
        mov     di, bx
        inc     bx
        inc     bx
        cmp     bx, BUFFER_END
        jb      .in_range
        mov     bx, BUFFER_START
.in_range:
        cmp     bx, [es:BDA_HEAD]
        je      .full
        mov     [es:di], dx
        mov     [es:BDA_TAIL], bx
        sti
        jmp     short .key
.done:
        mov     ax, DOS_EXIT << 8
        int     21h
.full:
        sti
        mov     dx, text_full
        call    put_text
        mov     ax, DOS_EXIT << 8 | EXIT_FAILED
        int     21h
.usage:
        mov     dx, usage
        jmp     leave_with_usage

; take_key: read four hexadecimal digits.
; Input: SI.  Output: DX, SI behind them; CF=1 when they are none.  Destroys: AX, CX.
take_key:
        xor     dx, dx
        mov     ch, 4
        mov     cl, 4
.digit:
        mov     al, [si]
        sub     al, '0'
        cmp     al, 9
        jbe     .value
        add     al, '0'
        and     al, 0DFh
        sub     al, 'A' - 10
        cmp     al, 10
        jb      .wrong
        cmp     al, 15
        ja      .wrong
.value:
        shl     dx, cl
        or      dl, al
        inc     si
        dec     ch
        jnz     .digit
        cmp     byte [si], ' '
        ja      .wrong
        clc
        ret
.wrong:
        stc
        ret

usage:          db "KEYS key...   key scan code and character, 1C0D is Enter", CR, LF, '$'
text_full:      db "Keys: the keyboard buffer is full", CR, LF, '$'

%include "common.inc"
