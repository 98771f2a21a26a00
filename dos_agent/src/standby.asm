; STANDBY: ask the host what is to be done, do it, ask again; until the host has nothing more, is not there, or ESC.
;
;       offer the spool
;       ask: run | snapshot | reset | person | wait | power | nothing
;       do it by the code of RUN and SNAP
;
; Nothing is remembered from one step to the next but the last step's token, which only keeps words from being shown
; twice and says what the person's key was for. So a reset or a power cut at any moment costs the step in hand at most.
; The overlay's variables are gone after each run; what outlives one stands in .staybss.

ASK_EVERY               equ 36          ; ticks between two questions: 2 s
ASK_TRIES               equ 4
AGAIN_MOST              equ 2           ; times that a step is done again in one start of the agent
ALONE_TRIES             equ 12          ; looks for a host that was there, and seconds between them: a minute, and
ALONE_SECONDS           equ 5           ; what the looks themselves take
RESET_WARM              equ 1234h

%include "steps.asm"

section .staybss
        alignb  2
standby_token:          resd 1          ; of the step that was given last, 0 for none
standby_again:          resb 1          ; how often the step in hand was done without its records reaching the host
standby_alone:          resb 1          ; how often the host was looked for in vain since its last step
standby_files:          resb 1          ; 1: option_files is a step's, in the place of the command line's
standby_flags:          resb 1          ; ASK_FLAGS_FRESH, ASK_FLAGS_WARM: as it was at the start

section .bss
        alignb  2
standby_step:           resb L_step_size        ; the step in hand, but for its texts
standby_words:          resw 1          ; where its words lie, NUL behind them
standby_tries:          resb 1
standby_unknown:        resb 1          ; 1: a step came that is none of ours
standby_told:           resb 1          ; ASK_FLAGS_TOLD when the person has said that it is done
standby_same:           resb 1          ; 1: the step is the one that was given last

section .text

; command_standby: the whole of STANDBY.
; Output: AL = exit code.
command_standby:
        cmp     byte [option_port], 0
        mov     si, text_standby_no_line
        jne     .asked
        jmp     nothing_done
.asked:
        call    begin_records
        call    standby_begin
.next:
        call    standby_offer
        jc      .alone
        call    standby_ask
        jc      .alone
        mov     byte [standby_alone], 0
        call    standby_say
        mov     byte [standby_told], 0
        call    standby_futile
        mov     si, text_standby_futile
        jc      .give_up
        mov     bl, [standby_step + L_step.what]
        xor     bh, bh
        shl     bx, 1
        call    [standby_steps + bx]
        jnc     .next
        ret
.alone:
        call    standby_patience
        jnc     .next
        jmp     short .prompt
.give_up:
        call    put_string
.prompt:
        jmp     step_stopped

; standby_futile: is one and the same run or snapshot given again and again? Then its records do not reach the host.
; Input: standby_step, [standby_same].  Output: [standby_again]; CF=1 when so.  Destroys: AL.
standby_futile:
        mov     al, [standby_step + L_step.what]
        cmp     al, WHAT_RUN
        je      .makes_records
        cmp     al, WHAT_PROBE
        je      .makes_records
        cmp     al, WHAT_SNAPSHOT
        jne     .new
.makes_records:
        cmp     byte [standby_same], 0
        je      .new
        inc     byte [standby_again]
        cmp     byte [standby_again], AGAIN_MOST + 1
        cmc
        ret
.new:
        mov     byte [standby_again], 0
        clc
        ret

; standby_patience: a host that was there may come back, when it is started again; one that never was is not waited for.
; Input: [standby_token], [standby_alone].  Output: CF=1 when it is time to give up.  Destroys: AX BX CX DX SI.
standby_patience:
        cmp     byte [ctrl_c_seen], 0
        jne     .over
        mov     ax, [standby_token]
        or      ax, [standby_token + 2]
        jz      .over
        inc     byte [standby_alone]
        cmp     byte [standby_alone], ALONE_TRIES
        ja      .over
        mov     si, text_standby_alone
        call    put_string
        mov     word [standby_step + L_step.seconds], ALONE_SECONDS
        jmp     standby_wait
.over:
        stc
        ret

; standby_begin: note what kind of boot this is.
; Input: [boot_state].  Output: [standby_flags].  Destroys: AX.
standby_begin:
        xor     al, al
        cmp     byte [boot_state], BOOT_STATE_FRESH
        jne     .found
        mov     al, ASK_FLAGS_FRESH
.found:
        push    es
        push    ax
        mov     ax, BIOS_DATA
        mov     es, ax
        pop     ax
        cmp     word [es:BDA_RESET], RESET_WARM
        pop     es
        jne     .cold
        or      al, ASK_FLAGS_WARM
.cold:
        mov     [standby_flags], al
        ret

; standby_offer: offer what is in the spool.
; Input: none.  Output: CF=1 when the line is over, or the person has had enough.  Destroys: all but SP.
standby_offer:
        cmp     byte [ctrl_c_seen], 1
        cmc
        jc      .done
        mov     dx, dta
        mov     ah, DOS_SET_DTA
        call    dos
        call    spool_count
        test    ax, ax
        jz      .done                   ; CF=0
        call    line_offer_spool
        cmp     byte [line_over], 1     ; what only one record suffers from is no reason to end
        cmc
.done:
        ret

; standby_ask: ask the host for a step.
; Input: [standby_told], [standby_token].
; Output: standby_step, standby_words, [standby_same], options and program of a run; CF=1 when none came (it has been
; said).  Destroys: all but SP.
standby_ask:
        call    uart_open
        mov     si, text_line_no_port
        jc      .say
        mov     word [ring_mask], RING_WIDE - 1 ; a person's words are long, and come at once
        mov     byte [line_stop], 0
        call    line_greet
        mov     si, text_line_no_host
        jc      .close
        mov     byte [standby_tries], ASK_TRIES
        mov     byte [standby_unknown], 0
.ask:
        call    ask_send
        mov     si, text_line_no_sending
        jc      .close
        call    ticks_now
        mov     [line_mark], ax
.listen:
        call    frame_next
        jc      .nothing
        cmp     byte [line_work + L_line_work.frame], FRAME_STEP
        jne     .listen
        call    step_take
        jc      .listen
        call    uart_close
        clc
        ret
.nothing:
        call    uart_listen
        call    line_stop_wanted
        jc      .close
        mov     bx, [line_mark]
        mov     ax, ASK_EVERY
        call    waited
        jc      .listen
        dec     byte [standby_tries]
        jnz     .ask
        mov     si, text_standby_no_step
        cmp     byte [standby_unknown], 0
        je      .close
        mov     si, text_standby_unknown
.close:
        push    si
        call    uart_close
        pop     si
        cmp     byte [line_stop], 0
        je      .say
        mov     si, text_line_gave_up
.say:
        call    line_say
        stc
        ret

; ask_send: send the question.
; Input: as standby_ask.  Output: CF=1 when the port takes nothing.  Destroys: AX BX CX DX SI DI BP.
ask_send:
        mov     di, line_work + L_line_work.head
        mov     al, FRAME_ASK
        stosb
        call    boot_put
        mov     al, [standby_flags]
        or      al, [standby_told]
        stosb
        mov     si, standby_token
        movsw
        movsw
        mov     cx, 1 + L_ask_size
        jmp     head_send
%if L_ask.agent_serial || L_ask.boot_nonce != 4 || L_ask.flags != 8 || L_ask.token != 9
%error "ask_send writes its parts one after another"
%endif
%if 1 + L_ask_size > HEAD_SIZE
%error "a question does not fit where frames are made"
%endif

; step_take: take a step out of its frame.
; Input: line_work.frame, CX = octets in it.  Output: as standby_ask; CF=1 when it is not as a step must be.
; Destroys: AX BX CX DX SI DI BP.
step_take:
        mov     bp, line_work + L_line_work.frame
        mov     si, bp
        inc     si
        add     bp, cx                  ; BP = behind it
        cmp     cx, 1 + L_step_size
        jb      .bad
        cmp     byte [si + L_step.what], STEPS
        jb      .known
        mov     byte [standby_unknown], 1
        jmp     .bad
.known:
        mov     byte [standby_same], 0
        mov     ax, [si + L_step.token]
        cmp     ax, [standby_token]
        jne     .other
        mov     ax, [si + L_step.token + 2]
        cmp     ax, [standby_token + 2]
        jne     .other
        mov     byte [standby_same], 1
.other:
        mov     di, standby_step
        mov     cx, L_step_size
        rep     movsb
        mov     di, option_label
        mov     dx, LABEL_MOST
        call    step_text
        jc      .bad
        mov     di, option_program
        mov     dx, PROGRAM_MOST
        call    step_text
        jc      .bad
        mov     di, program_word
        mov     dx, TAIL_MOST
        call    step_text
        jc      .bad
        mov     di, program_arguments
        cmp     si, bp
        jae     .bad
        cmp     byte [si], 0
        je      .no_arguments
        mov     al, ' '                 ; as it stands on a command line
        stosb
.no_arguments:
        mov     dx, TAIL_MOST
        call    step_text
        jc      .bad
        mov     ax, bp
        sub     ax, si
        cmp     ax, 2
        jb      .bad
        lodsw
        mov     [standby_words], si
        add     si, ax
        jc      .bad
        cmp     bp, si
        jb      .bad
        push    si
        mov     di, option_script
        mov     byte [di], 0
        cmp     si, bp
        je      .no_keys                ; an older host; what comes behind the keys is of a later one
        mov     dx, SCRIPT_TEXT_MOST
        call    step_text
        jc      .no_keys
        cmp     si, bp
        je      .no_keys                ; a host that knows nothing of files: those of the command line stay
        cmp     byte [si], 0
        je      .no_keys
        mov     di, option_files
        mov     dx, PATTERNS_MOST
        call    step_text
        mov     byte [standby_files], 1
        jmp     short .no_more
.no_keys:
        pushf
        cmp     byte [standby_files], 0
        je      .as_they_are
        mov     byte [option_files], 0  ; the step before this one had some
        mov     byte [standby_files], 0
.as_they_are:
        popf
.no_more:
        pop     si
        jc      .bad
        mov     byte [si], 0            ; ends the words
        call    script_ready
        jc      .bad
        mov     ax, [standby_step + L_step.token]
        mov     [standby_token], ax
        mov     ax, [standby_step + L_step.token + 2]
        mov     [standby_token + 2], ax
        clc
        ret
.bad:
        stc
        ret
%if L_step.label != L_step_size || program_arguments - program_word < TAIL_MOST + 1
%error "step_take relies on another layout"
%endif

; step_text: take a text with its length before it.
; Input: SI = length, BP = behind the frame, DI = where it goes, DX = octets it may have.
; Output: SI behind it; CF=1 when it is too long.  Destroys: AX CX DI.
step_text:
        cmp     si, bp
        cmc
        jc      .done
        lodsb
        xor     ah, ah
        mov     cx, bp
        sub     cx, si
        cmp     cx, ax
        jb      .done
        cmp     dx, ax
        jb      .done
        mov     cx, ax
        rep     movsb
        mov     byte [di], 0            ; CF=0
.done:
        ret

; standby_say: show a step's words, unless they stand there already.
; Input: standby_words, [standby_same], [standby_told].  Output: none.  Destroys: SI.
standby_say:
        cmp     byte [standby_same], 0
        jne     .again
        call    put_line_end
        mov     si, [standby_words]
        jmp     put_string
.again:
        cmp     byte [standby_told], 0
        je      .done
        cmp     byte [standby_step + L_step.what], WHAT_POWER
        je      .done                   ; there it was no person who said it
        mov     si, text_standby_not_yet
        call    put_string
.done:
        ret

section .data
text_standby_no_line:   db "Readoff: STANDBY needs a line: /S:COM1.", CR, LF, 0
text_standby_no_step:   db ': the host does not say what to do.', CR, LF, 0
text_standby_unknown:   db ': this READOFF.COM is too old for what the host asks.', CR, LF, 0
text_standby_futile:    db "Readoff: what comes of this step does not reach the host.", CR, LF, 0
text_standby_alone:     db "Readoff: waits for the host to come back; ESC gives the prompt back.", CR, LF, 0
text_standby_prompt:    db "Readoff: no longer standing by.", CR, LF, 0
text_standby_not_yet:   db "That is not all: please do as the words above say.", CR, LF, 0
section .text
