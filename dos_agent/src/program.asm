; Which program: its file along PATH, or COMSPEC for a batch file or an internal command.

section .data
program_extensions:     db ".COM", 0, ".EXE", 0, ".BAT", 0, 0
word_path:              db "PATH=", 0
word_comspec:           db "COMSPEC=", 0
word_bat:               db ".BAT", 0
shell_option:           db "/C ", 0
; internal commands of DOS's own shell; each with an octet behind, as word_find has it
internal_commands:      db "BREAK", 0, 1, "CALL", 0, 1, "CD", 0, 1, "CHCP", 0, 1, "CHDIR", 0, 1, "CLS", 0, 1
                        db "COPY", 0, 1, "CTTY", 0, 1, "DATE", 0, 1, "DEL", 0, 1, "DIR", 0, 1, "ECHO", 0, 1
                        db "ERASE", 0, 1, "FOR", 0, 1, "IF", 0, 1, "LH", 0, 1, "LOADHIGH", 0, 1, "MD", 0, 1
                        db "MKDIR", 0, 1, "PATH", 0, 1, "PAUSE", 0, 1, "PROMPT", 0, 1, "RD", 0, 1, "REM", 0, 1
                        db "REN", 0, 1, "RENAME", 0, 1, "RMDIR", 0, 1, "SET", 0, 1, "TIME", 0, 1
                        db "TRUENAME", 0, 1, "TYPE", 0, 1, "VER", 0, 1, "VERIFY", 0, 1, "VOL", 0, 1, 0

section .staybss
exec_path:              resb 160        ; the file that is started
exec_tail:              resb 176        ; its command tail: length, octets, CR; room for one that is too long
exec_fcb_1:             resb 16
exec_fcb_2:             resb 16
program_name:           resb 16         ; file name of the program, or the internal command

section .text

; program_find: find what to start.
; Input: program_word, program_arguments.
; Output: exec_path, exec_tail, program_name; CF=1: AX = 0: there is no such program,
; AX = 1: the tail is too long.  Destroys: AX, BX, CX, DX, SI, DI.
program_find:
        mov     si, program_word
        call    name_of_path
        mov     di, program_name
        mov     cx, 13
.name:
        lodsb
        call    upper
        stosb
        test    al, al
        jz      .named
        loop    .name
        mov     byte [di], 0
.named:
        call    program_search
        jc      .internal
        mov     si, exec_path
        call    name_of_path
        mov     di, program_name
        call    copy_string
        mov     si, program_name
        call    extension_of
        mov     di, word_bat
        call    words_equal
        mov     si, exec_path
        je      .shell
        mov     di, exec_tail + 1
        jmp     short .arguments
.internal:
        mov     si, program_word
        mov     di, option_value
        call    copy_string
        mov     bx, internal_commands
        call    word_find
        mov     si, program_word
        jc      .none
.shell:
        push    si
        mov     di, exec_tail + 1
        mov     al, ' '
        stosb
        mov     si, shell_option
        call    copy_string
        pop     si
        call    copy_string
        mov     si, exec_path
        push    di
        mov     di, exec_path
        mov     dx, word_comspec
        mov     cx, PATH_MOST
        call    environment_copy
        pop     di
        jc      .none
.arguments:
        mov     si, program_arguments
        mov     cx, exec_tail + 1 + TAIL_MOST
        sub     cx, di
        jb      .long
.argument:
        lodsb
        test    al, al
        jz      .end
        jcxz    .long
        dec     cx
        stosb
        jmp     short .argument
.end:
        mov     byte [di], CR
        sub     di, exec_tail + 1
        mov     ax, di
        mov     [exec_tail], al
        clc
        ret
.none:
        xor     ax, ax
        stc
        ret
.long:
        mov     ax, 1
        stc
        ret

; name_of_path: the file name at the end of a path.
; Input: SI = ASCIIZ.  Output: SI = name.  Destroys: AX.
name_of_path:
        push    di
        mov     di, si
.next:
        lodsb
        cmp     al, '\'
        je      .part
        cmp     al, '/'
        je      .part
        cmp     al, ':'
        je      .part
        test    al, al
        jnz     .next
        mov     si, di
        pop     di
        ret
.part:
        mov     di, si
        jmp     short .next

; extension_of: the extension of a file name, its point included.
; Input: SI = ASCIIZ without folders.  Output: SI = its point, or its NUL.  Destroys: AL.
extension_of:
        lodsb
        cmp     al, '.'
        je      .found
        test    al, al
        jnz     extension_of
.found:
        dec     si
        ret

; program_search: look for the program's file: here, then in the folders of PATH; a word with a path only there.
; Input: program_word.  Output: exec_path, in capitals and from a root on; CF=1 when there is none.
; Destroys: AX, BX, CX, DX, SI, DI.
program_search:
        mov     byte [scratch], 0
        call    try_folder
        jnc     .leave
        mov     si, program_word
        call    name_of_path
        cmp     si, program_word
        jne     .none
        mov     dx, word_path
        mov     di, scratch + 256
        mov     cx, SCRATCH_SIZE - 256 - 1
        call    environment_copy
        jc      .leave
        mov     si, scratch + 256
.folder:
        mov     di, scratch             ; the next folder of the list
        mov     cx, PATH_MOST
.letter:
        lodsb
        test    al, al
        jz      .cut
        cmp     al, ';'
        je      .cut
        jcxz    .letter                 ; too long: the rest is passed over, and nothing will be there
        dec     cx
        stosb
        jmp     short .letter
.cut:
        cmp     di, scratch
        je      .next
        cmp     byte [di - 1], '\'
        je      .ended
        mov     byte [di], '\'
        inc     di
.ended:
        mov     byte [di], 0
        push    ax
        push    si
        call    try_folder
        pop     si
        pop     ax
        jnc     .leave
.next:
        test    al, al
        jnz     .folder
.none:
        stc
.leave:
        ret

; try_folder: look for the program's file in one folder.
; Input: scratch = folder (ASCIIZ, empty: none), program_word.  Output: exec_path; CF=1 when it is not there.
; Destroys: AX, BX, CX, DX, SI, DI.
try_folder:
        mov     si, scratch
        mov     di, option_value
        call    copy_string
        mov     si, program_word
        call    copy_string
        cmp     di, option_value + PATH_MOST - 4
        ja      .none
        mov     bx, di                  ; BX = where an extension goes
        mov     si, program_word
        call    name_of_path
        call    extension_of
        cmp     byte [si], 0
        jne     .test                   ; it has one
        mov     si, program_extensions
.extension:
        mov     di, bx
        call    copy_string
        push    si
        call    .test
        pop     si
        jnc     .leave
        cmp     byte [si], 0
        jne     .extension
.none:
        stc
.leave:
        ret
.test:
        mov     dx, option_value
        mov     ax, 4300h               ; attributes: is there such a file?
        call    dos
        jc      .leave
        test    cl, ATTRIBUTE_DIRECTORY
        stc
        jnz     .leave
        mov     si, option_value
        mov     di, exec_path
        jmp     path_whole

; environment_copy: find a variable.
; Input: DX = "NAME=" (ASCIIZ), DI = where its value goes, CX = most octets.
; Output: CF=1 when there is none; what is longer is cut.  Destroys: AX, CX, SI, DI.
environment_copy:
        push    ds
        push    di
        mov     ax, [PSP_ENVIRONMENT]
        test    ax, ax
        jz      .none
        mov     ds, ax
        xor     si, si
.string:
        cmp     byte [si], 0
        je      .none
        mov     di, dx
.letter:
        cmp     byte [es:di], 0
        je      .found
        lodsb
        scasb
        je      .letter
        dec     si
.skip:
        lodsb
        test    al, al
        jnz     .skip
        jmp     short .string
.found:
        pop     di
.copy:
        lodsb
        stosb
        test    al, al
        jz      .leave
        loop    .copy
        mov     byte [es:di], 0
.leave:
        pop     ds
        clc
        ret
.none:
        pop     di
        pop     ds
        stc
        ret
