; The line's rate: both sides begin at the start rate, where a line always works, and agree on the fastest that holds.
;
; The same machine as RateSeeker in host/readoff/link/rates.py. Rates are divisors of 115,200. A rate that failed is not
; tried again by this start of the agent: option_rate_divisor, the fastest that may be used, becomes the next slower one.
; Whatever happens to the host, it is back at the start rate after RATE_SILENT ms without a sound frame, so the agent
; goes back there too, and says hello for longer than that.

RATE_ASK_EVERY          equ 9           ; ticks between two questions
RATE_ASKS               equ 5           ; together longer than RATE_TRYING
RATE_CHANGE             equ 0FFFFh      ; counts that the host has to let its answer out and set its port: 55 ms
TRIAL_WAIT              equ 3           ; ticks that a trial waits for its answer
TRIALS                  equ 5
TRIALS_HEARD            equ 3           ; answers that are enough
TICK_MS                 equ 54          ; a little less than one
HELLO_FOR_AGAIN         equ HELLO_FOR + RATE_SILENT / TICK_MS + 1
LOSS_WEIGHT             equ 2           ; a lost piece counts 2, one that came takes 1 off:
LOSS_MOST               equ 24          ; there, more than a third has been lost for long
UNHEARD_MOST            equ 2           ; offers without any word from the host
%if RATE_ASK_EVERY * RATE_ASKS * TICK_MS <= RATE_TRYING
%error "the agent gives up asking before a host whose answer was lost is back"
%endif

; rate_begin: the start rate, or the fastest that is allowed, if that is slower.
; Input: option_rate_divisor.  Output: rate_now, AX = rate_now, line_loss.  Destroys: nothing.
rate_begin:
        mov     ax, [option_rate_divisor]
        cmp     ax, RATE_START_DIVISOR
        jae     .slower
        mov     ax, RATE_START_DIVISOR
.slower:
        mov     [rate_now], ax
        mov     byte [line_loss], 0
        ret

; rate_is_start: is the line at the start rate?
; Input: rate_now.  Output: CF=0 when it is.  Destroys: nothing.
rate_is_start:
        cmp     word [rate_now], RATE_START_DIVISOR
        ret

; ----------------------------------------------------------------------------------------------
; rate_agree: agree on the fastest rate that holds.
; Input: the line is at the start rate, and the host has said welcome.
; Output: rate_now; CF=1 when the host is gone, the port stuck, or the person has had enough.
; Destroys: AX BX CX DX SI DI BP.
rate_agree:
        mov     ax, [option_rate_divisor]
        cmp     ax, [rate_now]
        jae     .settled
        mov     byte [rate_asks], RATE_ASKS
.ask:
        mov     ax, [option_rate_divisor]
        call    rate_send
        jc      .done
        call    ticks_now
        mov     [line_mark], ax
.listen:
        call    frame_next
        jc      .nothing
        cmp     byte [line_work + L_line_work.frame], FRAME_AGREED
        jne     .listen
        cmp     cx, 1 + L_agreed_size
        jb      .listen
        mov     ax, [line_work + L_line_work.frame + 1 + L_agreed.divisor]
        cmp     ax, [option_rate_divisor]
        jb      .settled                ; faster than was asked for: no answer to rely on
        cmp     ax, [rate_now]
        jae     .settled
        call    rate_try
        jnc     .done
        cmp     byte [rate_failed], 0
        stc
        je      .done
        call    rate_back
        jnc     rate_agree
.done:
        ret
.nothing:
        mov     ax, RATE_ASK_EVERY
        call    rate_wait
        jc      .listen
        jnz     .stopped
        dec     byte [rate_asks]
        jnz     .ask
.settled:
        clc
        ret
.stopped:
        stc
        ret

; rate_wait: listen for a while.
; Input: AX = ticks from line_mark on.
; Output: CF=1 when it is not over; else ZF=1 when it is over, ZF=0 when the person has had enough.
; Destroys: AX BX CX DX.
rate_wait:
        push    ax
        call    uart_listen
        call    line_stop_wanted
        pop     ax
        jc      .stop
        mov     bx, [line_mark]
        call    waited
        jc      .done
        xor     ax, ax                  ; CF=0, ZF=1
.done:
        ret
.stop:
        or      al, 1                   ; CF=0, ZF=0
        ret

; rate_try: go to a rate that was agreed on, and try it.
; Input: AX = its divisor.  Output: CF=0 when it holds; CF=1 and rate_failed=1 when it does not, rate_failed=0 when the
; port is stuck or the person has had enough.  Destroys: AX BX CX DX SI DI BP.
rate_try:
        mov     bp, RATE_CHANGE
        call    uart_rate
        call    frame_forget
        xor     ax, ax
        mov     [trial_number], al
        mov     [trial_answers], ax
        mov     [rate_failed], al
.trial:
        cmp     byte [trial_number], TRIALS
        je      .failed
        inc     byte [trial_number]
        mov     si, line_work + L_line_work.head
        mov     byte [si], FRAME_TRIAL
        mov     al, [trial_number]
        mov     [si + 1 + L_trial.number], al
        mov     cx, 1 + L_trial_size
        mov     bx, trial_octets
        mov     dx, TRIAL_SIZE
        call    frame_send
        jc      .done
        call    ticks_now
        mov     [line_mark], ax
.hear:
        call    frame_next
        jc      .nothing
        call    trial_heard
        cmp     byte [trial_count], TRIALS_HEARD
        je      .done                   ; CF=0
        cmp     al, [trial_number]
        je      .trial
        jmp     short .hear
.nothing:
        mov     ax, TRIAL_WAIT
        call    rate_wait
        jc      .hear
        jz      .trial
        stc
.done:
        ret
.failed:
        mov     byte [rate_failed], 1
        stc
        ret

; trial_heard: take the answer to a trial, once.
; Input: line_work.frame, CX = octets in it.  Output: AL = the trial's number, or 0 when it is no such answer;
; trial_count.  Destroys: AH CX SI DI.
trial_heard:
        xor     al, al
        cmp     cx, 1 + L_heard_size + TRIAL_SIZE
        jne     .done
        mov     si, line_work + L_line_work.frame
        cmp     byte [si], FRAME_HEARD
        jne     .done
        mov     cl, [si + 1 + L_heard.number]
        add     si, 1 + L_heard_size
        dec     cl
        cmp     cl, [trial_number]      ; 1 to trial_number, less 1
        jae     .done
        push    cx
        mov     di, trial_octets
        mov     cx, TRIAL_SIZE
        repe    cmpsb
        pop     cx
        jne     .done
        mov     ah, 1
        shl     ah, cl
        test    [trial_answered], ah
        jnz     .again
        or      [trial_answered], ah
        inc     byte [trial_count]
.again:
        mov     al, cl
        inc     ax
.done:
        ret
%if TRIALS > 8
%error "trial_answered has a bit for each trial"
%endif

; ----------------------------------------------------------------------------------------------
; rate_retreat: too much is lost: leave this rate, and agree on a slower one.
; Input: the line is not at the start rate.  Output: rate_now, said on the screen; CF=1 as rate_agree.
; Destroys: AX BX CX DX SI DI BP.
rate_retreat:
        mov     byte [line_loss], 0
        mov     byte [rate_asks], 2
.leave:
        mov     ax, RATE_START_DIVISOR  ; a host that hears it is back at once
        call    rate_send
        jc      .done
        dec     byte [rate_asks]
        jnz     .leave
        call    rate_back
        jc      .done
        call    rate_agree
        jc      .done
        mov     si, text_rate_slower
        call    put_string
        call    rate_put
        mov     si, text_rate_goes_on
        call    put_string
        clc
.done:
        ret

; rate_back: go back to the start rate and find the host there.
; Input: rate_now, which is left for good.  Output: option_rate_divisor, rate_now; CF=1 as line_greet.
; Destroys: AX BX CX DX SI DI BP.
rate_back:
        mov     bx, rate_ladder
        xor     ah, ah
.step:
        mov     al, [bx]
        inc     bx
        cmp     ax, [rate_now]
        jbe     .step                   ; ends: rate_now is above the start rate
        mov     [option_rate_divisor], ax
        mov     ax, RATE_START_DIVISOR
        mov     bp, CLOSE_COUNTS
        call    uart_rate
        mov     ax, HELLO_FOR_AGAIN
        jmp     line_greet_for

; rate_send: ask for a rate.
; Input: AX = divisor.  Output: CF=1 when the port takes nothing.  Destroys: AX BX CX DX SI DI BP.
rate_send:
        mov     byte [line_work + L_line_work.head], FRAME_RATE
        mov     [line_work + L_line_work.head + 1 + L_rate.divisor], ax
        mov     cx, 1 + L_rate_size
        jmp     head_send

; rate_say: say at which rate the line goes on, where it is not the start rate.
; Input: rate_now.  Output: none.  Destroys: AX BX CX DX SI.
rate_say:
        call    rate_is_start
        jnc     .done
        mov     si, text_rate_at
        call    line_say
        call    rate_put
        mov     si, text_rate_bits
        call    put_string
.done:
        ret

; rate_put: print the rate.
; Input: rate_now.  Output: none.  Destroys: AX BX CX DX.
rate_put:
        mov     ax, RATE_BASE & 0FFFFh
        mov     dx, RATE_BASE >> 16
        mov     cx, [rate_now]
        cmp     cx, 1
        je      .whole
        div     cx
        xor     dx, dx
.whole:
        jmp     put_dec32

        section .data
trial_octets:           times TRIAL_SIZE / 8 db 55h, 0AAh, 0, 0FFh, 0Fh, 0F0h, 33h, 0CCh
rate_ladder:            db 1, 2, 3, 6, RATE_START_DIVISOR
text_rate_at:           db ': ', 0
text_rate_bits:         db ' bits a second.', CR, LF, 0
text_rate_slower:       db '(down to ', 0
text_rate_goes_on:      db ' bits a second) ', 0

        section .bss
        alignb  2
rate_now:               resw 1          ; divisor in use
trial_answers:                          ; the two next, as a word
trial_answered:         resb 1          ; a bit for each trial that was answered
trial_count:            resb 1          ; how many are
trial_number:           resb 1          ; the last trial's
rate_asks:              resb 1
rate_failed:            resb 1
line_loss:              resb 1          ; what was lost lately, by LOSS_WEIGHT
        section .text
