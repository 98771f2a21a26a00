; Words and paths: small routines on texts that end with NUL. DS = ES = our segment.

section .text

; skip_blanks: go to the next character that is no blank (or the end).
; Input: SI.  Output: SI.  Destroys: AL.
skip_blanks:
        lodsb
        cmp     al, ' '
        je      skip_blanks
        cmp     al, TAB
        je      skip_blanks
        dec     si
        ret

; take_word: copy a word that ends at a blank.
; Input: SI, DI = where it goes.  Output: SI behind it; an ASCIIZ at the old DI.  Destroys: AL, DI.
take_word:
        lodsb
        stosb
        test    al, al
        jz      .end
        cmp     al, ' '
        je      .end
        cmp     al, TAB
        jne     take_word
.end:
        dec     si
        mov     byte [di - 1], 0
        ret

; upper: make a letter a capital.
; Input: AL.  Output: AL.  Destroys: nothing.
upper:
        cmp     al, 'a'
        jb      .leave
        cmp     al, 'z'
        ja      .leave
        sub     al, 'a' - 'A'
.leave:
        ret

; word_find: look a word up in a list of ASCIIZ words, each with an octet behind; an empty one ends it.
; Input: option_value, BX = list.  Output: BX = the octet behind the word; CF=1 when it is not there.
; Destroys: AX, DI.
word_find:
        mov     di, option_value
.letter:
        mov     al, [di]
        call    upper
        cmp     al, [bx]
        jne     .other
        inc     bx
        inc     di
        test    al, al
        jnz     .letter
        ret                             ; CF=0: test
.other:
        cmp     byte [bx], 0
        je      .over
        inc     bx
        jmp     short .other
.over:
        inc     bx                      ; the octet that belongs to it
        inc     bx
        cmp     byte [bx], 0
        jne     word_find
        stc
        ret

; words_equal: compare two words, small letters as capitals.
; Input: SI, DI = ASCIIZ, the second in capitals.  Output: ZF=1 when they are equal.
; Destroys: AL, SI, DI.
words_equal:
        lodsb
        call    upper
        scasb
        jne     .leave
        test    al, al
        jnz     words_equal
.leave:
        ret

; path_whole: write a path from its drive's root on.
; Input: SI = path (ASCIIZ, may be empty), DI = where it goes (128 octets).
; Output: DI = its NUL; CF=1 when DOS knows no such drive.  Destroys: AX, DX, SI.
path_whole:
        cmp     byte [si], 0
        je      .this_drive
        cmp     byte [si + 1], ':'
        jne     .this_drive
        lodsb
        call    upper
        inc     si
        jmp     short .drive
.this_drive:
        mov     ah, 19h
        call    dos
        add     al, 'A'
.drive:
        stosb
        mov     dl, al
        sub     dl, 'A' - 1
        mov     ax, ':' | '\' << 8
        stosw
        cmp     byte [si], '\'
        je      .rooted
        push    si
        mov     si, di                  ; the current directory, without its first '\'
        mov     ah, 47h
        call    dos
        pop     si
        jc      .leave
        cmp     byte [di], 0
        je      .rest
.end:
        inc     di
        cmp     byte [di], 0
        jne     .end
        cmp     byte [si], 0
        je      .rest
        mov     al, '\'
        stosb
        jmp     short .rest
.rooted:
        inc     si
.rest:
        lodsb                           ; a '/' is as good as a '\'
        call    upper
        cmp     al, '/'
        jne     .keep
        mov     al, '\'
.keep:
        stosb
        test    al, al
        jnz     .rest
        dec     di
        clc
.leave:
        ret
