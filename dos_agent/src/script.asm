; /K:script, made ready for typing.asm before the program starts. What its names mean: keynames.asm.
;
;       script  := element ...
;       element := any character but [, which types itself | [[, which types [ | [name]
;       name    := key | CTRL-letter | ALT-letter | F1 ... F12, also CTRL-, ALT-, SHIFT- | PAUSE seconds | AFTER text
;
; An element made ready: its place in the script (octet, from 1), then a word: the key as the BIOS's buffer has it, or
; SCRIPT_* with what belongs to it.

SCRIPT_END              equ 0FF00h
SCRIPT_PAUSE            equ 0FF01h      ; then ticks (word)
SCRIPT_AFTER            equ 0FF02h      ; then length (octet), text
SCRIPT_OPERATION        equ 0FFh        ; the high octet of these; no key has it
SCRIPT_TEXT_MOST        equ 112
SCRIPT_MOST             equ 344         ; octets: three for each character of the text, and the end

section .staybss
option_script:          resb SCRIPT_TEXT_MOST + 1
        alignb  2
script_elements:        resw 1
script_code:            resb SCRIPT_MOST

section .text

; option_take_script: take the value of /K:.
; Input: option_value.  Output: option_script, script_code; CF=1 when it can't be taken.
; Destroys: AX, BX, CX, DX, SI, DI.
option_take_script:
        mov     di, option_script
        mov     cx, SCRIPT_TEXT_MOST
        mov     si, option_value
.copy:
        lodsb
        stosb
        test    al, al
        jz      script_ready
        loop    .copy
        cmp     byte [si], 0
        mov     byte [di], 0
        je      script_ready
        stc
        ret

; script_ready: make option_script ready.
; Input: option_script.  Output: script_code, [script_elements]; CF=1 when it means nothing.
; Destroys: AX, BX, CX, DX, SI, DI.
script_ready:
        mov     si, option_script
        mov     di, script_code
        mov     word [script_elements], 0
.next:
        lodsb
        mov     dx, si
        sub     dx, option_script
        mov     [di], dl
        inc     di
        test    al, al
        jz      .end
        inc     word [script_elements]
        cmp     al, '['
        jne     .plain
        cmp     byte [si], '['
        jne     .name
        inc     si
.plain:
        call    key_of
        stosw
        jmp     short .next
.name:
        mov     bx, script_name
.letter:
        lodsb
        test    al, al
        jz      .wrong                  ; no ]
        cmp     al, ']'
        je      .taken
        mov     [bx], al
        inc     bx
        jmp     short .letter
.taken:
        mov     byte [bx], 0
        push    si
        call    name_mean
        pop     si
        jnc     .next
.wrong:
        mov     word [script_elements], 0
        stc
        ret
.end:
        mov     ax, SCRIPT_END
        stosw
        clc
        ret

; script_section: the section `keys`, where there is a script.
; Input: option_script.  Output: CF=1 when it could not be written.  Destroys: AX, BX, CX, DX, SI, DI.
script_section:
        cmp     word [script_elements], 0
        je      .leave                  ; CF=0
        mov     si, option_script
        mov     di, scratch
        call    text_put
        mov     al, TAG_KEYS
        jmp     section_up_to
.leave:
        ret
