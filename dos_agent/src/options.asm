; The command line, and the environment variable READOFF before it (the command line wins).
;
;       options := { /L:label | /P:program | /N:repeats | /D:folder | /S:COM1[,rate][,X] | /T:seconds[,R]
;                    | /F:pattern[,KB] | /KEEP | /? }
;       line    := options [ SNAP | RUN | SEND | STANDBY | PROBE which ] options rest
;
; All of this is over before anything else begins, so its code and tables lie where scratch will be.
;
; A value goes up to the next blank, or stands in quotes. What follows RUN's options is the program and its
; arguments, as typed; what follows SEND's are files.

COMMAND_NONE            equ 0
COMMAND_SNAP            equ 1
COMMAND_RUN             equ 2
COMMAND_SEND            equ 3
COMMAND_HELP            equ 4
COMMAND_STANDBY         equ 5
COMMAND_PROBE           equ 6
LINE_MOST               equ 256

section .staydata
        align   2
option_rate_divisor:    dw 1            ; 115200 / rate: the fastest that is tried
option_repeats:         dw 1
option_limit:           dd 0            ; ticks that a run may take; 0: as long as it likes
option_reset:           db 0            ; 1: the machine is reset when a run is over its time
option_port:            db 0            ; 0: no line; 1..4: COM1..COM4
option_xon_xoff:        db 0            ; 1: XON and XOFF are kept off the line
option_keep:            db 0            ; 1: spool files stay after the host has kept them
command:                db COMMAND_NONE

section .startdata
command_words:          db "SNAP", 0, COMMAND_SNAP
                        db "RUN", 0, COMMAND_RUN
                        db "SEND", 0, COMMAND_SEND
                        db "STANDBY", 0, COMMAND_STANDBY
                        db "PROBE", 0, COMMAND_PROBE
                        db 0

; letter, routine that takes the value at option_value
option_letters:         db 'L'
                        dw option_take_label
                        db 'P'
                        dw option_take_program
                        db 'N'
                        dw option_take_repeats
                        db 'D'
                        dw option_take_folder
                        db 'S'
                        dw option_take_line
                        db 'T'
                        dw option_take_limit
                        db 'F'
                        dw option_take_files
                        db 'K'
                        dw option_take_script
                        db 'H'
                        dw option_take_hot
                        db 0

word_keep:              db "KEEP", 0
word_variable:          db "READOFF=", 0

section .staybss
option_label:           resb LABEL_MOST + 1
option_program:         resb PROGRAM_MOST + 1
option_spool:           resb PATH_MOST + 2      ; from the root on, ends with '\'

section .bss
option_value:           resb 256                ; also for paths in the making
program_word:           resb 128                ; the program as typed
program_arguments:      resb 128                ; what follows it, its blanks included
        alignb  2
file_list:              resw 1                  ; SEND: the rest of the line
line_text:              resb LINE_MOST + 1                ; a copy of the command line, or of the variable

section .start

; options_read: read the variable, then the command line; make the spool folder's path whole.
; Input: none.  Output: the variables above; CF=1 when something is wrong (it has been said).
; Destroys: AX, BX, CX, DX, SI, DI.
options_read:
        mov     dx, word_variable
        mov     di, line_text
        mov     cx, LINE_MOST
        call    environment_copy
        jc      .line
        mov     byte [command], COMMAND_HELP    ; the variable holds options only: no word is taken
        call    line_parse
        jc      .leave
.line:
        mov     byte [command], COMMAND_NONE
        mov     si, PSP_TAIL
        lodsb
        mov     cl, al
        xor     ch, ch
        mov     di, line_text
        rep     movsb
        mov     byte [di], 0
        call    line_parse
        jc      .leave
        call    spool_folder_whole
.leave:
        ret

; line_parse: take a line apart.
; Input: line_text.  Output: options, [command], program_word, program_arguments, [file_list];
; CF=1 when something is wrong (it has been said).  Destroys: AX, BX, CX, DX, SI, DI.
line_parse:
        mov     si, line_text
.next:
        call    skip_blanks
        cmp     byte [si], 0
        je      .good
        cmp     byte [si], '/'
        je      .option
        cmp     byte [command], COMMAND_NONE
        jne     .rest
        mov     di, option_value
        call    take_word
        mov     bx, command_words
        call    word_find
        jc      .no_command
        mov     al, [bx]
        mov     [command], al
        jmp     short .next
.option:
        call    option_parse
        jnc     .next
        ret
.no_command:
        mov     dx, text_no_command
        jmp     say_wrong
.rest:
        cmp     byte [command], COMMAND_HELP
        je      .wrong_place
        cmp     byte [command], COMMAND_SNAP
        je      .wrong_place
        cmp     byte [command], COMMAND_STANDBY
        je      .wrong_place
        cmp     byte [command], COMMAND_SEND
        je      .files
        cmp     byte [command], COMMAND_PROBE
        je      .probe
        mov     di, program_word
        call    take_word
        mov     di, program_arguments
        call    copy_string
        clc
        ret
.probe:                                 ; options may follow it
        cmp     byte [program_word], 0
        jne     .wrong_place
        mov     di, program_word
        call    take_word
        jmp     short .next
.files:
        mov     [file_list], si
.good:
        clc
        ret
.wrong_place:
        mov     di, option_value
        call    take_word
        mov     dx, text_not_here
        jmp     say_wrong

; say_wrong: say what is wrong with the word in option_value.
; Input: DX = text that goes before it.  Output: CF=1.  Destroys: SI.
say_wrong:
        mov     si, text_readoff
        call    put_string
        mov     si, option_value
        call    put_string
        mov     si, dx
        call    put_string
        stc
        ret

; option_parse: take one option.
; Input: SI = its '/'.  Output: SI behind it; CF=1 when it is wrong (it has been said).
; Destroys: AX, BX, CX, DX, DI.
option_parse:
        mov     [.begin], si
        inc     si
        lodsb
        call    upper
        cmp     al, '?'
        je      .help
        cmp     byte [si], ':'
        jne     .word
        inc     si
        mov     bx, option_letters
.letter:
        cmp     byte [bx], 0
        je      .unknown
        cmp     [bx], al
        je      .found
        add     bx, 3
        jmp     short .letter
.found:
        mov     di, option_value
        mov     ah, ' '                 ; AH = what ends the value
        cmp     byte [si], '"'
        jne     .value
        lodsb
        mov     ah, al
.value:
        lodsb
        test    al, al
        jz      .end_of_line
        cmp     al, ah
        je      .value_end
        cmp     al, TAB
        je      .value_end
        stosb
        jmp     short .value
.end_of_line:
        dec     si
        cmp     ah, '"'
        je      .no_quote
.value_end:
        mov     byte [di], 0
        cmp     di, option_value
        je      .no_quote
        push    si
        call    [bx + 1]
        pop     si
        jc      .unknown
        ret
.no_quote:
        mov     dx, text_no_value
        jmp     short .say
.word:
        dec     si
        mov     di, option_value
        call    take_word
        push    si
        mov     si, option_value
        mov     di, word_keep
        call    words_equal
        pop     si
        jne     .unknown
        mov     byte [option_keep], 1
        clc
        ret
.help:
        mov     byte [command], COMMAND_HELP
        mov     si, line_end + 2        ; nothing more is read
        clc
        ret
.unknown:
        mov     dx, text_no_option
.say:
        mov     si, [.begin]
        mov     di, option_value
        call    take_word
        jmp     say_wrong

section .bss
        alignb  2
.begin:         resw 1
section .start

; spool_folder_whole: make the spool folder's path one that starts at a drive's root, for a program may change
; drive and directory. Without /D: it is the current directory.
; Input: option_spool.  Output: option_spool, ends with '\'; CF=1 when there is no such drive or it
; is too long (it has been said).  Destroys: AX, BX, CX, DX, SI, DI.
spool_folder_whole:
        mov     si, option_spool
        mov     di, option_value
        call    path_whole
        jc      .wrong
        cmp     byte [di - 1], '\'
        je      .ended
        mov     word [di], '\'
        inc     di
.ended:
        sub     di, option_value
        cmp     di, PATH_MOST - 13
        ja      .wrong
        mov     si, option_value
        mov     di, option_spool
        call    copy_string
        clc
        ret
.wrong:
        mov     si, option_spool
        mov     di, option_value
        call    copy_string
        mov     dx, text_no_folder
        jmp     say_wrong
