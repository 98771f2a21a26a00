; The line: offers the records in the spool to the host, sends what it does not have, and lets go what it has kept.
;
; The protocol is protocols/link.toml. The host does not time anything: whoever hears nothing, asks again. Every frame
; names its record and place, so that asking or sending twice does no harm. A record's file goes only when the host says
; that it has kept this id with this length and this check, and only when the file is still the same.

HELLO_EVERY             equ 4           ; ticks between two hellos, at a fast rate
HELLO_FOR               equ 36          ; ticks that a host has to answer: 2 s
SLOW_RATE_SHIFT         equ 3           ; each wait grows by the divisor / 8: an octet at 300 baud takes 33 ms
LOOK_EVERY              equ 8           ; rounds of waiting between two looks at the keyboard

DOS_SET_DTA             equ 1Ah
DOS_DELETE              equ 41h
HEAD_SIZE               equ 1 + L_offer_size    ; the longest frame but for data's octets

%include "waiting.asm"
%include "uart.asm"
%include "frame.asm"
%include "flight.asm"
%include "pieces.asm"
%include "offered.asm"
%include "transfer.asm"
%include "rate.asm"

struc L_line_work
.frame:         resb FRAME_LIMIT        ; the frame that is coming in
.ring:          resb RING_SIZE          ; octets as they came
.file:          resb FILE_SIZE          ; part of the record's file; of a wide ring, where nothing is sent
.flights:       resb FLIGHTS_MOST * L_flight_size
.names:         resb NAMES_MOST * NAME_SIZE
.head:          resb HEAD_SIZE          ; of the frame that goes out
endstruc
line_work               equ scratch
%if L_line_work_size > SCRATCH_SIZE
%error "the line's buffers have outgrown scratch"
%endif
%if RING_SIZE + FILE_SIZE < RING_WIDE || L_line_work.file != L_line_work.ring + RING_SIZE
%error "a wide ring does not fit"
%endif

; ----------------------------------------------------------------------------------------------
; line_offer_spool: offer every record in the spool; delete what the host kept.
; Input: option_port, option_rate_divisor, option_spool, option_keep, agent_serial, boot_nonce.
; Output: AX = records that the host has not kept; CF=1 when there are any; [line_over]: 1 when nothing can be said
; to the host, or the person has had enough.  Destroys: BX CX DX SI DI BP.
line_offer_spool:
        mov     dx, dta
        mov     ah, DOS_SET_DTA
        call    dos
        call    spool_count
        mov     [line_left], ax
        mov     word [line_stays], 0
        mov     byte [line_over], 1
        mov     byte [line_stop], 0
        test    ax, ax
        mov     si, text_line_nothing
        jz      .say
        call    uart_open
        mov     si, text_line_no_port
        jc      .say
        call    line_greet
        jc      .no_host
        call    rate_agree
        jnc     .agreed
.no_host:
        mov     si, text_line_no_host
        cmp     byte [line_stop], 0
        jne     .stopped
        cmp     byte [uart_is_stuck], 0
        je      .close
        mov     si, text_line_no_sending
        jmp     short .close
.stopped:
        mov     si, text_line_gave_up
        jmp     short .close
.agreed:
        call    rate_say
.batch:
        mov     byte [line_over], 0
        call    names_gather
        jcxz    .bye
        mov     si, line_work + L_line_work.names
.record:
        push    cx
        push    si
        call    line_record
        pop     si
        pop     cx
        cmp     byte [line_over], 0
        jne     .bye
        add     si, NAME_SIZE
        loop    .record
        jmp     short .batch
.bye:
        mov     ax, [line_left]
        mov     byte [line_work + L_line_work.head], FRAME_BYE
        mov     [line_work + L_line_work.head + 1 + L_bye.left], ax
        mov     cx, 1 + L_bye_size
        call    head_send
        xor     si, si
.close:
        push    si
        call    uart_close
        pop     si
        test    si, si
        jz      .said
.say:
        call    line_say
.said:
        mov     ax, [line_left]
        cmp     ax, 1
        cmc
        jnc     .done
        push    ax
        call    put_dec16
        mov     si, text_line_left
        call    put_string
        pop     ax
        stc
.done:
        ret

; line_say: say something about the port.
; Input: SI = text.  Output: none.  Destroys: AX SI.
line_say:
        push    si
        mov     si, text_line_port
        call    put_string
        mov     al, [option_port]
        xor     ah, ah
        call    put_dec16
        pop     si
        jmp     put_string

; ----------------------------------------------------------------------------------------------
; line_greet, line_greet_for: say hello until the host says welcome.
; Input: line_greet_for: AX = ticks that it may take.
; Output: CF=1 when no host answers in time.  Destroys: AX BX CX DX SI DI BP.
line_greet:
        mov     ax, HELLO_FOR
line_greet_for:
        mov     [line_hello_for], ax
        mov     al, [option_xon_xoff]
        mov     [line_xon_xoff], al
        call    frame_forget
        call    ticks_now
        mov     [line_since], ax
.hello:
        mov     di, line_work + L_line_work.head
        mov     ax, FRAME_HELLO | LINK_VERSION << 8
        stosw
        call    boot_put
        mov     al, [option_xon_xoff]
        stosb
        mov     cx, 1 + L_hello_size
        call    head_send
        jc      .done
        call    ticks_now
        mov     [line_mark], ax
.listen:
        call    frame_next
        jc      .nothing
        cmp     byte [line_work + L_line_work.frame], FRAME_WELCOME
        jne     .listen
        cmp     cx, 1 + L_welcome_size
        jae     .welcome
.nothing:
        call    uart_listen             ; a line that never falls silent must not keep us here
        call    line_stop_wanted
        jc      .done
        mov     bx, [line_since]
        mov     ax, [line_hello_for]
        call    waited
        cmc
        jc      .done                   ; long enough
        mov     bx, [line_mark]
        mov     ax, HELLO_EVERY
        call    waited
        jc      .listen
        jmp     short .hello
.welcome:
        mov     ax, [line_work + L_line_work.frame + 1 + L_welcome.data_limit]
        call    piece_limit
        mov     al, [line_work + L_line_work.frame + 1 + L_welcome.flags]
        and     al, WELCOME_FLAGS_XON_XOFF
        or      [line_xon_xoff], al
        clc
.done:
        ret

; waited: has it been so long?
; Input: BX = tick of the beginning, AX = ticks at a fast rate.  Output: CF=1 when not yet.  Destroys: AX BX CX.
waited:
        mov     cx, [rate_now]
        shr     cx, 1
        shr     cx, 1
        shr     cx, 1
        add     ax, cx
        xchg    ax, bx
        push    ax
        call    ticks_now
        pop     cx
        sub     ax, cx
        cmp     ax, bx
        ret
%if L_hello.version || L_hello.agent_serial != 1 || L_hello.boot_nonce != 5 || L_hello.flags != 9
%error "line_greet writes its parts one after another"
%endif
%if HELLO_FLAGS_XON_XOFF != 1 || WELCOME_FLAGS_XON_XOFF != 1
%error "line_greet takes option_xon_xoff for the flags"
%endif
%if SLOW_RATE_SHIFT != 3
%error "waited divides by 8"
%endif

; line_stop_wanted: has the person asked to stop? Looked at now and then.
; Input: none.  Output: CF=1 and line_stop when so.  Destroys: AX.
line_stop_wanted:
        dec     byte [line_until_look]
        test    byte [line_until_look], LOOK_EVERY - 1
        jnz     .no                     ; CF=0
        call    stop_wanted
        jnc     .no
        mov     byte [line_stop], 1
.no:
        ret

; ----------------------------------------------------------------------------------------------
; line_record: offer one record, and let go of its file when the host has kept it.
; Input: SI = name.  Output: line_left, line_stays; line_over when the line is to end.
; Destroys: AX BX CX DX SI DI BP.
line_record:
        call    put_string
        mov     di, spool_path
        call    spool_name
        mov     si, text_line_gap
        call    put_string
        mov     dx, spool_path
        mov     ax, DOS_OPEN
        call    dos
        mov     [line_handle], ax
        mov     al, VERDICT_UNREADABLE
        jc      .verdict
        mov     di, line_offer
        call    file_look
        mov     al, VERDICT_UNREADABLE
        jc      .close
        mov     ax, [line_offer + L_offer.length]
        mov     dx, [line_offer + L_offer.length + 2]
        call    put_dec32
        mov     si, text_line_octets
        call    put_string
        call    line_transfer
        cmp     al, VERDICT_KEPT
        jne     .close
        mov     di, line_again          ; is it still the file that was sent?
        call    file_look
        mov     al, VERDICT_UNREADABLE
        jc      .close
        mov     si, line_offer
        mov     di, line_again
        mov     cx, L_offer_size
        repe    cmpsb
        jne     .close
        mov     al, VERDICT_KEPT
.close:
        mov     bx, [line_handle]
        call    handle_close
.verdict:
        cmp     al, VERDICT_KEPT
        jne     .stays
        dec     word [line_left]
        mov     si, text_line_kept_stays
        cmp     byte [option_keep], 0
        jne     .keep
        mov     dx, spool_path
        mov     ah, DOS_DELETE
        call    dos
        mov     si, text_line_kept
        jnc     .say
        mov     si, text_line_kept_locked
.keep:
        inc     word [line_stays]
.say:
        jmp     put_string
.stays:
        inc     word [line_stays]
        cmp     al, VERDICT_SILENT
        je      .over
        cmp     al, VERDICT_STOPPED
        jb      .verdict_text
.over:
        mov     byte [line_over], 1
.verdict_text:
        mov     bl, al
        xor     bh, bh
        shl     bx, 1
        mov     si, [line_verdicts + bx]
        jmp     put_string

        section .data
        align   2
line_verdicts:          dw 0, 0, text_line_store_failed, text_line_too_long, text_line_busy, text_line_silent
                        dw text_line_no_progress, text_line_unreadable, text_line_stopped, text_line_stuck
text_line_port:         db 'COM', 0
text_line_nothing:      db ': the spool holds no record to send.', CR, LF, 0
text_line_no_port:      db ': there is no such serial port.', CR, LF, 0
text_line_no_host:      db ': no host answers. Is it watching this line?', CR, LF, 0
text_line_no_sending:   db ': the port does not send.', CR, LF, 0
text_line_gave_up:      db ': stopped.', CR, LF, 0
text_line_left:         db ' record(s) not yet with the host; they stay in the spool.', CR, LF, 0
text_line_gap:          db '  ', 0
text_line_octets:       db ' octets: ', 0
text_line_kept:         db 'kept by the host', CR, LF, 0
text_line_kept_stays:   db 'kept by the host; the file stays', CR, LF, 0
text_line_kept_locked:  db 'kept by the host; the file could not be deleted', CR, LF, 0
text_line_store_failed: db 'the host could not keep it', CR, LF, 0
text_line_too_long:     db 'too long for the host', CR, LF, 0
text_line_busy:         db 'the host is busy', CR, LF, 0
text_line_silent:       db 'the host no longer answers', CR, LF, 0
text_line_no_progress:  db 'too much of it is lost on the line', CR, LF, 0
text_line_unreadable:   db 'cannot be read, or is no record', CR, LF, 0
text_line_stopped:      db 'stopped', CR, LF, 0
text_line_stuck:        db 'the port does not send', CR, LF, 0

        section .bss
        alignb  2
line_left:              resw 1          ; records that the host has not kept
line_stays:             resw 1          ; files passed by that are still in the folder
line_handle:            resw 1
line_since:             resw 1          ; tick of the first hello
line_hello_for:         resw 1          ; ticks that the host has to answer
line_offer:             resb L_offer_size
line_again:             resb L_offer_size
line_over:              resb 1          ; the line is to end
line_stop:              resb 1          ; because the person wants it
line_until_look:        resb 1
        section .text
