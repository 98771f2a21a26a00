; The line: offers the records in the spool to the host, sends what it does not have, and lets go what it has kept.
;
; The protocol is protocols/link.toml. The host does not time anything: whoever hears nothing, asks again. Every frame
; names its record and place, so that asking or sending twice does no harm. A record's file goes only when the host says
; that it has kept this id with this length and this check, and only when the file is still the same.

HELLO_EVERY             equ 4           ; ticks between two hellos, at a fast rate
HELLO_FOR               equ 36          ; ticks that a host has to answer: 2 s
ANSWER_QUICK            equ 4           ; ticks without news before an offer asks what has come
ANSWER_SLOW             equ 18          ; ticks that an offer waits for its answer
SLOW_RATE_SHIFT         equ 3           ; each wait grows by the divisor / 8: an octet at 300 baud takes 33 ms
TRIES                   equ 8           ; offers without progress before a record is given up
TRIES_SILENT            equ 3           ; with no word at all in the last ones, the line is given up
FUTILE_MOST             equ 64          ; pieces sent again without progress count as a try
LOOK_EVERY              equ 64          ; rounds of waiting between two looks at the keyboard

NAME_SIZE               equ 13          ; 8.3 and NUL
NAMES_MOST              equ 40          ; names taken from the folder at a time
DOS_SET_DTA             equ 1Ah
DOS_DELETE              equ 41h
DOS_FIND_FIRST          equ 4Eh
DOS_FIND_NEXT           equ 4Fh
DOS_SEEK_FROM_END       equ 4202h
HEAD_SIZE               equ 1 + L_offer_size    ; the longest frame but for data's octets
FILE_STEP               equ 512
FILE_SIZE               equ 3 * FILE_STEP       ; holds any piece, from the step below it on

VERDICT_NONE            equ 0
VERDICT_KEPT            equ 1
VERDICT_REFUSED         equ 1           ; and the host's reason on top
VERDICT_SILENT          equ 5
VERDICT_NO_PROGRESS     equ 6
VERDICT_UNREADABLE      equ 7
VERDICT_STOPPED         equ 8
VERDICT_STUCK           equ 9

%include "uart.asm"
%include "frame.asm"
%include "flight.asm"

struc L_line_work
.ring:          resb RING_SIZE          ; octets as they came
.frame:         resb FRAME_LIMIT        ; the frame that is coming in
.file:          resb FILE_SIZE          ; part of the record's file
.flights:       resb FLIGHTS_MOST * L_flight_size
.names:         resb NAMES_MOST * NAME_SIZE
.head:          resb HEAD_SIZE          ; of the frame that goes out
endstruc
line_work               equ scratch
%if L_line_work_size > SCRATCH_SIZE
%error "the line's buffers have outgrown scratch"
%endif

; ----------------------------------------------------------------------------------------------
; line_offer_spool: offer every record in the spool; delete what the host kept.
; Input: option_port, option_rate_divisor, option_spool, option_keep, agent_serial, boot_nonce.
; Output: AX = records that the host has not kept; CF=1 when there are any.  Destroys: BX CX DX SI DI BP.
line_offer_spool:
        mov     dx, dta
        mov     ah, DOS_SET_DTA
        call    dos
        call    spool_count
        mov     [line_left], ax
        mov     word [line_stays], 0
        mov     byte [line_over], 0
        mov     byte [line_xon_xoff], 0
        mov     byte [line_stop], 0
        test    ax, ax
        mov     si, text_line_nothing
        jz      .say
        call    uart_open
        mov     si, text_line_no_port
        jc      .say
        call    line_greet
        mov     si, text_line_no_host
        jnc     .batch
        cmp     byte [line_stop], 0
        jne     .stopped
        cmp     byte [uart_is_stuck], 0
        je      .close
        mov     si, text_line_no_sending
        jmp     short .close
.stopped:
        mov     si, text_line_gave_up
        jmp     short .close
.batch:
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
        mov     si, line_work + L_line_work.head
        mov     byte [si], FRAME_BYE
        mov     [si + 1 + L_bye.left], ax
        mov     cx, 1 + L_bye_size
        xor     dx, dx
        call    frame_send
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
; line_greet: say hello until the host says welcome.
; Input: none.  Output: CF=1 when no host answers in time.  Destroys: AX BX CX DX SI DI BP.
line_greet:
        call    frame_forget
        call    ticks_now
        mov     [line_since], ax
.hello:
        mov     si, line_work + L_line_work.head
        mov     byte [si], FRAME_HELLO
        mov     byte [si + 1 + L_hello.version], LINK_VERSION
        mov     ax, [agent_serial]
        mov     [si + 1 + L_hello.agent_serial], ax
        mov     ax, [agent_serial + 2]
        mov     [si + 1 + L_hello.agent_serial + 2], ax
        mov     ax, [boot_nonce]
        mov     [si + 1 + L_hello.boot_nonce], ax
        mov     ax, [boot_nonce + 2]
        mov     [si + 1 + L_hello.boot_nonce + 2], ax
        mov     byte [si + 1 + L_hello.flags], 0
        mov     cx, 1 + L_hello_size
        xor     dx, dx
        call    frame_send
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
        call    line_stop_wanted
        jc      .done
        mov     bx, [line_since]
        mov     ax, HELLO_FOR
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
        mov     [line_xon_xoff], al
        clc
.done:
        ret

; waited: has it been so long?
; Input: BX = tick of the beginning, AX = ticks at a fast rate.  Output: CF=1 when not yet.  Destroys: AX BX CX.
waited:
        mov     cx, [option_rate_divisor]
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
        push    ax
        mov     bx, [line_handle]
        mov     ah, DOS_CLOSE
        call    dos
        pop     ax
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

; file_look: what there is to offer of the open file.
; Input: line_handle, DI = L_offer to be filled.  Output: CF=1 when it can't be read or is no record.
; Destroys: AX BX CX DX SI.
file_look:
        mov     word [file_held], 0     ; the buffer is used for this
        mov     bx, [line_handle]
        xor     ax, ax
        xor     dx, dx
        mov     cx, L_header_size
        call    file_read
        jc      .done
        mov     si, line_work + L_line_work.file
        cmp     word [si + L_header.magic], 'RO'
        jne     .no
        cmp     word [si + L_header.magic + 2], 'f' | 1Ah << 8
        jne     .no
        add     si, L_header.id
        mov     cx, L_record_id_size
        push    di
        rep     movsb
        pop     di
        mov     ax, DOS_SEEK_FROM_END
        xor     cx, cx
        xor     dx, dx
        call    dos
        jc      .done
        mov     [di + L_offer.length], ax
        mov     [di + L_offer.length + 2], dx
        sub     ax, CHECK_SIZE
        sbb     dx, 0
        mov     cx, CHECK_SIZE
        call    file_read
        jc      .done
        mov     ax, [line_work + L_line_work.file]
        mov     [di + L_offer.check], ax
        mov     ax, [line_work + L_line_work.file + 2]
        mov     [di + L_offer.check + 2], ax
        clc
        ret
.no:
        stc
.done:
        ret

; file_read: read octets of the open file into line_work.file.
; Input: BX = handle, DX:AX = offset, CX = how many.  Output: AX = how many; CF=1 when less than asked for.
; Destroys: CX DX.
file_read:
        push    cx
        mov     cx, dx
        mov     dx, ax
        mov     ax, DOS_SEEK
        call    dos
        pop     cx
        jc      .done
        mov     dx, line_work + L_line_work.file
        mov     ah, DOS_READ
        call    dos
        jc      .done
        cmp     ax, cx
.done:
        ret

; ----------------------------------------------------------------------------------------------
; line_transfer: bring one record to the host.
; Input: line_offer, line_handle.  Output: AL = VERDICT_*.  Destroys: AH BX CX DX SI DI BP.
;
;       offer; until there is a verdict:
;               hear what came; when the host's state is known, send the next piece that it lacks
;               with nothing to send and no news for a while: offer again, TRIES times without progress
line_transfer:
        call    flights_begin
        mov     byte [line_verdict], VERDICT_NONE
        mov     byte [line_tries], TRIES
        mov     byte [line_futile], 0
        mov     byte [line_knows], 0
.offer:
        cmp     byte [line_tries], TRIES_SILENT
        jne     .ask
        mov     byte [line_heard], 0
.ask:
        mov     byte [line_work + L_line_work.head], FRAME_OFFER
        mov     si, line_work + L_line_work.head
        mov     cx, 1
        mov     bx, line_offer
        mov     dx, L_offer_size
        call    frame_send
        jc      .stuck
        mov     byte [line_asked], 1
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
        jc      .failed
        mov     byte [line_until_look], 1       ; look at the keyboard between two pieces
        call    ticks_now
        mov     [line_mark], ax
        cmp     byte [line_futile], FUTILE_MOST
        jb      .round
        mov     byte [line_futile], 0
        jmp     short .no_progress
.wait:
        mov     bx, ANSWER_SLOW
        cmp     byte [line_asked], 0
        jne     .how_long
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
        dec     byte [line_tries]
        jnz     .offer
        mov     al, VERDICT_NO_PROGRESS
        cmp     byte [line_heard], 0
        jne     .done
        mov     al, VERDICT_SILENT
.done:
        ret
.failed:
        cmp     byte [uart_is_stuck], 1
        je      .stuck
        mov     al, VERDICT_UNREADABLE
        ret
.stuck:
        mov     al, VERDICT_STUCK
        ret

; line_hear: take a frame from the host. What is about something else is noise.
; Input: line_work.frame, CX = octets in it.  Output: line_verdict, or what the host has.  Destroys: AX BX CX DX SI DI BP.
line_hear:
        mov     byte [line_heard], 1
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

; piece_send: send a data frame.
; Input: piece_begin, piece_size.  Output: CF=1 when the file can't be read or the port is stuck.
; Destroys: AX BX CX DX SI DI BP.
piece_send:
        call    piece_load
        jc      .done
        push    si
        mov     si, line_offer + L_offer.id
        mov     di, line_work + L_line_work.head
        mov     al, FRAME_DATA
        stosb
        mov     cx, L_record_id_size
        rep     movsb
        mov     si, piece_begin
        mov     cx, 4
        rep     movsb
        pop     bx
        mov     dx, [piece_size]
        mov     si, line_work + L_line_work.head
        mov     cx, 1 + L_data_size
        call    frame_send
.done:
        ret

; piece_load: have the octets of a piece in memory.
; Input: piece_begin, piece_size.  Output: SI = them; CF=1 when they can't be read.  Destroys: AX BX CX DX.
piece_load:
        call    .held
        jnc     .done
        mov     ax, [piece_begin]
        mov     dx, [piece_begin + 2]
        and     ax, ~(FILE_STEP - 1) & 0FFFFh
        mov     [file_begin], ax
        mov     [file_begin + 2], dx
        mov     bx, [line_handle]
        mov     cx, FILE_SIZE
        mov     word [file_held], 0
        call    file_read
        jnc     .read
        cmp     ax, FILE_SIZE           ; less than asked for is usual; an error code is caught by .held
        ja      .failed
.read:
        mov     [file_held], ax
        call    .held
.done:
        ret
.failed:
        stc
        ret
; .held: CF=1 when the piece is not in memory; SI.
.held:
        mov     ax, [piece_begin]
        mov     dx, [piece_begin + 2]
        sub     ax, [file_begin]
        sbb     dx, [file_begin + 2]
        jnz     .absent                 ; below, or 64 KB above
        mov     si, ax
        add     ax, [piece_size]
        jc      .absent
        cmp     [file_held], ax
        lea     si, [line_work + L_line_work.file + si]
        ret
.absent:
        stc
        ret

; ----------------------------------------------------------------------------------------------
; spool_first, spool_next: find record files, the serial left out.
; Input: the DTA is dta.  Output: CF=1 when there is none (more); SI = its name.  Destroys: AX CX DX DI.
spool_first:
        mov     si, text_line_pattern
        mov     di, spool_path
        call    spool_name
        mov     dx, spool_path
        xor     cx, cx                  ; plain files
        mov     ah, DOS_FIND_FIRST
        jmp     short spool_next.find
spool_next:
        mov     ah, DOS_FIND_NEXT
.find:
        call    dos
        jc      .done
        mov     si, dta + DTA_NAME
        mov     di, serial_name
        mov     cx, SERIAL_NAME_SIZE
        repe    cmpsb
        je      spool_next
        mov     si, dta + DTA_NAME
        clc
.done:
        ret

; spool_count: how many records there are.
; Input: the DTA is dta.  Output: AX.  Destroys: BX CX DX SI DI.
spool_count:
        xor     bx, bx
        call    spool_first
.next:
        jc      .done
        inc     bx
        call    spool_next
        jmp     short .next
.done:
        mov     ax, bx
        ret

; names_gather: take names from the folder, after those that stay.
; Input: line_stays.  Output: CX = how many, in line_work.names.  Destroys: AX BX DX SI DI BP.
;
; The folder is searched anew each time: what a search that is under way does when files go is up to the drive.
names_gather:
        mov     bp, [line_stays]
        mov     bx, line_work + L_line_work.names
        call    spool_first
.next:
        jc      .done
        test    bp, bp
        jz      .take
        dec     bp
        jmp     short .step
.take:
        cmp     bx, line_work + L_line_work.names + NAMES_MOST * NAME_SIZE
        jae     .done
        mov     di, bx
        mov     cx, NAME_SIZE
        rep     movsb
        add     bx, NAME_SIZE
.step:
        call    spool_next
        jmp     short .next
.done:
        mov     ax, bx
        sub     ax, line_work + L_line_work.names
        mov     cl, NAME_SIZE
        div     cl
        mov     cl, al
        xor     ch, ch
        ret
%if NAMES_MOST * NAME_SIZE / NAME_SIZE > 255
%error "names_gather counts in an octet"
%endif

        section .data
        align   2
line_verdicts:          dw 0, 0, text_line_store_failed, text_line_too_long, text_line_busy, text_line_silent
                        dw text_line_no_progress, text_line_unreadable, text_line_stopped, text_line_stuck
text_line_pattern:      db '*.RDO', 0
text_line_port:         db 'COM', 0
text_line_nothing:      db ': the spool holds no record to send.', CR, LF, 0
text_line_no_port:      db ': there is no such serial port.', CR, LF, 0
text_line_no_host:      db ': no host answers. Is it watching this line, at this rate?', CR, LF, 0
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
SERIAL_NAME_SIZE        equ 11          ; SERIAL.RDO and NUL

        section .bss
        alignb  2
line_left:              resw 1          ; records that the host has not kept
line_stays:             resw 1          ; files passed by that are still in the folder
line_handle:            resw 1
line_since:             resw 1          ; tick of the first hello
line_mark:              resw 1          ; tick of the last sending
file_begin:             resd 1          ; part of the file that is in memory: from here,
file_held:              resw 1          ; so many octets
line_offer:             resb L_offer_size
line_again:             resb L_offer_size
line_over:              resb 1          ; the line is to end
line_stop:              resb 1          ; because the person wants it
line_until_look:        resb 1
line_verdict:           resb 1
line_tries:             resb 1
line_futile:            resb 1          ; pieces sent again since the last progress
line_knows:             resb 1          ; the host has said what it has
line_asked:             resb 1          ; an offer waits for its answer
line_heard:             resb 1          ; something sound came from the host
        section .text
