; The values of options. All of this is over before anything else begins (see options.asm).

section .startdata
; rates in text, and their divisors of 115200
rates:                  db "300", 0
                        dw 384
                        db "1200", 0
                        dw 96
                        db "2400", 0
                        dw 48
                        db "4800", 0
                        dw 24
                        db "9600", 0
                        dw 12
                        db "19200", 0
                        dw 6
                        db "38400", 0
                        dw 3
                        db "57600", 0
                        dw 2
                        db "115200", 0
                        dw 1
                        db 0

section .start

; The values. Input: option_value.  Output: CF=1 when it can't be taken.  Destroys: AX, BX, CX, DX, SI, DI.
option_take_label:
        mov     di, option_label
        mov     cx, LABEL_MOST
        jmp     short value_copy

option_take_program:
        mov     di, option_program
        mov     cx, PROGRAM_MOST
        jmp     short value_copy

option_take_folder:
        mov     di, option_spool
        mov     cx, PATH_MOST - 13      ; a file's name must fit behind it
        ; fall through

; value_copy: copy the value where it belongs.
; Input: option_value, DI, CX = most octets.  Output: CF=1 when it is longer.  Destroys: AX, CX, SI, DI.
value_copy:
        mov     si, option_value
.next:
        lodsb
        stosb
        test    al, al
        jz      .leave
        loop    .next
        cmp     byte [si], 0
        jne     .long
        mov     byte [di], 0
.leave:
        clc
        ret
.long:
        stc
        ret

; Seconds to ticks, rounded up: 18 53/256 of them, which is 0.003 % more than 1193181 / 65536.
option_take_limit:
        mov     si, option_value
.letter:
        lodsb
        test    al, al
        jz      .seconds
        cmp     al, ','
        jne     .letter
        mov     byte [si - 1], 0
        lodsb
        call    upper
        cmp     al, 'R'
        jne     .wrong
        lodsb
        test    al, al
        jnz     .wrong
        mov     byte [option_reset], 1
.seconds:
        call    value_number
        jc      .leave
        mov     ax, 18
        mul     bx
        mov     cx, ax
        mov     di, dx
        mov     ax, 53
        mul     bx
        mov     al, ah
        mov     ah, dl
        mov     dl, dh
        xor     dh, dh
        stc
        adc     cx, ax
        adc     di, dx
        mov     [option_limit], cx
        mov     [option_limit + 2], di
        clc
.leave:
        ret
.wrong:
        stc
        ret

; A pattern, as a whole path, behind those that are there.
option_take_files:
        mov     si, option_value
.letter:
        lodsb
        cmp     al, FILES_SEPARATOR
        je      .wrong
        test    al, al
        jz      .pattern
        cmp     al, ','
        jne     .letter
        mov     byte [si - 1], 0
        call    value_number_at
        jc      .wrong
        cmp     bx, RECORD_LIMIT / 1024
        ja      .wrong
        mov     [option_files_limit], bx
.pattern:
        mov     si, option_value
        mov     di, program_word        ; nothing is in it yet
        call    path_whole
        jc      .wrong
        mov     cx, di
        sub     cx, program_word - 1    ; with its NUL
        mov     di, option_files
        cmp     byte [di], 0
        je      .copy
.end:
        inc     di
        cmp     byte [di], 0
        jne     .end
        mov     al, FILES_SEPARATOR
        stosb
.copy:
        mov     ax, option_files + PATTERNS_MOST + 1
        sub     ax, di
        cmp     ax, cx
        jb      .wrong
        mov     si, program_word
        rep     movsb
        ret                             ; CF=0
.wrong:
        stc
        ret

option_take_repeats:
        call    value_number
        mov     [option_repeats], bx
        ret

; value_number: a number from 1 to 65535.
; Input: option_value.  Output: BX; CF=1 when it is none.  Destroys: AX, CX, DX, SI.
value_number:
        mov     si, option_value
value_number_at:                        ; at SI
        xor     bx, bx
.digit:
        lodsb
        test    al, al
        jz      .end
        sub     al, '0'
        jb      .wrong
        cmp     al, 9
        ja      .wrong
        xor     ah, ah
        xchg    ax, bx
        mov     cx, 10
        mul     cx
        test    dx, dx
        jnz     .wrong
        add     bx, ax
        jnc     .digit
.wrong:
        stc
        ret
.end:
        cmp     bx, 1                   ; 0 is wrong
        ret

option_take_line:
        mov     byte [option_xon_xoff], 0
        mov     di, option_value
        xor     al, al
        mov     cx, 256
        repne   scasb                   ; DI = behind its NUL
        cmp     byte [di - 3], ','
        jne     .plain
        mov     al, [di - 2]
        call    upper
        cmp     al, 'X'
        jne     .plain
        mov     byte [di - 3], 0
        mov     byte [option_xon_xoff], 1
.plain:
        mov     si, option_value
        mov     cx, 3
        mov     di, word_com
.letter:
        lodsb
        call    upper
        scasb
        jne     .wrong
        loop    .letter
        lodsb
        sub     al, '1'
        cmp     al, 3
        ja      .wrong
        inc     ax
        mov     [option_port], al
        lodsb
        test    al, al
        jz      .good
        cmp     al, ','
        jne     .wrong
        mov     di, rates
.rate:
        cmp     byte [di], 0
        je      .wrong
        push    si
.same:
        lodsb
        scasb
        jne     .other
        test    al, al
        jnz     .same
        pop     si
        mov     ax, [di]
        mov     [option_rate_divisor], ax
.good:
        clc
        ret
.other:
        pop     si
        dec     di
.over:
        inc     di
        cmp     byte [di - 1], 0
        jne     .over
        inc     di                      ; its divisor
        inc     di
        jmp     short .rate
.wrong:
        stc
        ret

section .startdata
word_com:       db "COM"
section .start

section .start
