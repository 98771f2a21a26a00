; One record on its way: offered, sent piece by piece, until the host has kept it or there is no use in going on.

ANSWER_QUICK            equ 4           ; ticks without news before an offer asks what has come
ANSWER_SLOW             equ 18          ; ticks that an offer waits for its answer
TRIES                   equ 16          ; offers without progress before a record is given up
TRIES_SILENT            equ 6           ; offers without any word from the host before the line is given up
AHEAD_NOW               equ 2           ; line_ahead, which each offer doubles: pieces follow the first one unasked
FUTILE_MOST             equ 64          ; pieces sent again without progress count as a try

VERDICT_NONE            equ 0
VERDICT_KEPT            equ 1
VERDICT_REFUSED         equ 1           ; and the host's reason on top
VERDICT_SILENT          equ 5
VERDICT_NO_PROGRESS     equ 6
VERDICT_UNREADABLE      equ 7
VERDICT_STOPPED         equ 8
VERDICT_STUCK           equ 9

; ----------------------------------------------------------------------------------------------
; line_transfer: bring one record to the host.
; Input: line_offer, line_handle.  Output: AL = VERDICT_*.  Destroys: AH BX CX DX SI DI BP.
;
;       offer; at a fast rate go on as if the host had said that it has nothing, for so it is with most records;
;       until there is a verdict:
;               hear what came; when the host's state is known, send the next piece that it lacks
;               with nothing to send and no news for a while: offer again, TRIES times without progress
line_transfer:
        call    flights_begin
        mov     byte [line_verdict], VERDICT_NONE
        mov     byte [line_tries], TRIES
        mov     byte [line_futile], 0
        mov     byte [line_knows], 0
        mov     byte [line_unheard], 0
        mov     byte [line_ahead], 0
        call    rate_is_start
        jnc     .offer                  ; a piece in vain would cost a second
        cmp     byte [option_keep], 0
        jne     .offer                  ; the host may well have records that stay
        mov     byte [line_ahead], AHEAD_NOW / 2
.offer:
        mov     byte [line_work + L_line_work.head], FRAME_OFFER
        mov     si, line_work + L_line_work.head
        mov     cx, 1
        mov     bx, line_offer
        mov     dx, L_offer_size
        call    frame_send
        jc      .stuck
        mov     byte [line_asked], 1
        shl     byte [line_ahead], 1
        cmp     byte [line_ahead], AHEAD_NOW
        jne     .sent
        mov     byte [line_asked], 0
        mov     byte [line_knows], 1
.sent:
        call    ticks_now
        mov     [line_mark], ax
.round:
        call    frame_next
        jc      .heard_all
        call    line_hear
        mov     al, [line_verdict]
        test    al, al
        jz      .round
        ret
.heard_all:
        call    line_stop_wanted
        mov     al, VERDICT_STOPPED
        jc      .done
        cmp     byte [line_knows], 0
        je      .wait
        call    piece_choose
        jc      .wait
        call    piece_send
        mov     al, VERDICT_UNREADABLE
        jc      .failed
        mov     byte [line_until_look], 1       ; look at the keyboard between two pieces
        call    ticks_now
        mov     [line_mark], ax
        cmp     byte [line_loss], LOSS_MOST
        jae     .lossy
.not_lossy:
        cmp     byte [line_futile], FUTILE_MOST
        jb      .round
        mov     byte [line_futile], 0
        jmp     short .no_progress
.lossy:
        call    rate_is_start
        jnc     .not_lossy
.retreat:
        call    rate_retreat
        jc      .alone
        mov     byte [line_unheard], 0
        mov     byte [line_tries], TRIES
        mov     byte [line_knows], 0
        jmp     .offer
.alone:
        cmp     byte [line_stop], 0
        mov     al, VERDICT_STOPPED
        jne     .done
        mov     al, VERDICT_SILENT
        jmp     short .failed
.wait:
        call    uart_listen             ; whether something came or not: a line that never falls silent is no answer
        mov     bx, ANSWER_SLOW
        cmp     byte [line_asked], 0
        jne     .how_long
        cmp     byte [line_ahead], AHEAD_NOW
        je      .how_long
        mov     si, host_offset         ; the host has all, and is putting it away
        mov     di, line_offer + L_offer.length
        call    compare_dwords
        je      .how_long
        mov     bx, ANSWER_QUICK
.how_long:
        mov     ax, bx
        mov     bx, [line_mark]
        call    waited
        jc      .round
.no_progress:
        inc     byte [line_unheard]
        cmp     byte [line_unheard], UNHEARD_MOST
        jb      .again
        call    rate_is_start
        jc      .retreat
.again:
        cmp     byte [line_unheard], TRIES_SILENT
        mov     al, VERDICT_SILENT
        jae     .done
        dec     byte [line_tries]
        jz      .given_up
        jmp     .offer
.given_up:
        mov     al, VERDICT_NO_PROGRESS
.done:
        ret
.failed:
        cmp     byte [uart_is_stuck], 1
        je      .stuck
        ret
.stuck:
        mov     al, VERDICT_STUCK
        ret

; line_hear: take a frame from the host. What is about something else is noise.
; Input: line_work.frame, CX = octets in it.  Output: line_verdict, or what the host has.  Destroys: AX BX CX DX SI DI BP.
line_hear:
        dec     cx                      ; CX = octets after the kind
        cmp     cx, L_record_id_size
        jb      .done
        push    cx
        mov     si, line_work + L_line_work.frame + 1
        mov     di, line_offer + L_offer.id
        mov     cx, L_record_id_size
        repe    cmpsb
        pop     cx
        jne     .done
        mov     byte [line_unheard], 0
        mov     al, [line_work + L_line_work.frame]
        cmp     al, FRAME_HAVE
        je      .have
        cmp     al, FRAME_KEPT
        je      .kept
        cmp     al, FRAME_REFUSED
        jne     .done
        cmp     cx, L_refused_size
        jb      .done
        mov     al, [line_work + L_line_work.frame + 1 + L_refused.reason]
        cmp     al, REFUSAL_BUSY
        je      .busy
        cmp     al, REFUSAL_TOO_LONG
        je      .refused
        mov     al, REFUSAL_STORE_FAILED        ; and any other reason
.refused:
        add     al, VERDICT_REFUSED
        mov     [line_verdict], al
        ret
.busy:
        mov     byte [line_knows], 0    ; be quiet for a while, then offer again
        cmp     byte [line_asked], 0
        jne     .done                   ; since the offer; busy again and again must not put that off for ever
        mov     byte [line_asked], 1
        call    ticks_now
        mov     [line_mark], ax
        ret
.have:
        cmp     cx, L_have_size
        jb      .done
        sub     cx, L_have_size
        shr     cx, 1
        shr     cx, 1
        shr     cx, 1
        jmp     have_take               ; CX = holes
.kept:
        cmp     cx, L_kept_size
        jb      .done
        mov     di, line_offer + L_offer.length         ; SI = the frame's length and check
        mov     cx, L_offer_size - L_offer.length
        repe    cmpsb
        jne     .done
        mov     byte [line_verdict], VERDICT_KEPT
.done:
        ret
%if L_kept.length != L_offer.length || L_hole_size != 8
%error "line_hear relies on another layout"
%endif

        section .bss
        alignb  2
line_mark:              resw 1          ; tick of the last sending
line_verdict:           resb 1
line_tries:             resb 1
line_futile:            resb 1          ; pieces sent again since the last progress
line_knows:             resb 1          ; the host has said what it has
line_asked:             resb 1          ; an offer waits for its answer
line_ahead:             resb 1          ; AHEAD_NOW: pieces went unasked, and the host has said nothing yet
line_unheard:           resb 1          ; tries since something sound came from the host
        section .text
