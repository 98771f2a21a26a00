; What of a record is on its way to the host, and what was lost. Which piece goes next: pieces.asm.
;
; The table holds flights in the order in which they were sent. A line keeps that order: when a later one has come, an
; earlier one that has not come is lost, and goes again at once. What the table can't tell (the last ones were lost, or
; the host began anew) is found by asking: an offer's answer builds the table from what the host says it lacks.

FLIGHTS_MOST            equ 20
WINDOW                  equ 8           ; flights in the air at most; the host answers every fourth
LOST_TAKEN              equ 8           ; holes taken from one answer
FLYING                  equ 0
LOST                    equ 1
ARRIVED                 equ 2
MISSING                 equ 3           ; not there, but perhaps still in the air

struc L_flight
.begin:         resd 1
.end:           resd 1                  ; not included
.state:         resw 1
endstruc
flights                 equ line_work + L_line_work.flights
have_frame              equ line_work + L_line_work.frame + 1
have_holes              equ have_frame + L_have.holes

; flights_begin: nothing is known yet.
; Input: none.  Output: none.  Destroys: AX.
flights_begin:
        mov     word [flights_end], flights
        xor     ax, ax
        mov     [next_begin], ax
        mov     [next_begin + 2], ax
        mov     [host_offset], ax
        mov     [host_offset + 2], ax
        mov     [best_offset], ax
        mov     [best_offset + 2], ax
        mov     [pieces_well], al
        ret

; piece_limit: the longest piece that the host takes; pieces begin at that length.
; Input: AX = its octets, as the host has it.  Output: none.  Destroys: AX.
piece_limit:
        cmp     ax, DATA_LIMIT
        jbe     .not_above
        mov     ax, DATA_LIMIT
.not_above:
        test    ax, ax
        jnz     .some
        inc     ax
.some:
        mov     [piece_most], ax
        mov     [piece_length], ax
        ret

; compare_dwords: compare the dword at SI with the one at DI.
; Input: SI, DI.  Output: flags as after CMP.  Destroys: AX.
compare_dwords:
        mov     ax, [si + 2]
        cmp     ax, [di + 2]
        jne     .done
        mov     ax, [si]
        cmp     ax, [di]
.done:
        ret

; ----------------------------------------------------------------------------------------------
; have_take: take the host's word on what it has.
; Input: a frame have in line_work.frame, CX = holes in it.  Output: the table.  Destroys: AX BX CX DX SI DI BP.
have_take:
        mov     si, have_frame + L_have.offset
        mov     di, line_offer + L_offer.length
        call    compare_dwords
        ja      .done                   ; about another length: noise
        mov     [holes_told], cx
        mov     ax, [si]
        mov     [host_offset], ax
        mov     ax, [si + 2]
        mov     [host_offset + 2], ax
        mov     di, best_offset
        call    compare_dwords
        jbe     .no_news
        mov     ax, [si]                ; further than ever: a host that forgets again and again gets nowhere
        mov     [di], ax
        mov     ax, [si + 2]
        mov     [di + 2], ax
        mov     byte [line_tries], TRIES
        mov     byte [line_futile], 0
.no_news:
        cmp     byte [line_asked], 0
        jne     flights_rebuild
        cmp     byte [line_ahead], AHEAD_NOW
        jne     .review
        mov     byte [line_ahead], 0    ; its first word: has it more than was sent just now?
        cmp     word [holes_told], 0
        jne     flights_rebuild
        mov     si, host_offset
        mov     di, next_begin
        call    compare_dwords
        ja      flights_rebuild
.review:
        jmp     flights_review
.done:
        ret

; flights_rebuild: build the table from what the host lacks. Holes are lost; after the last, all is still to be sent.
; Input: the frame, holes_told, host_offset.  Output: the table, next_begin.  Destroys: AX BX CX DX SI DI.
flights_rebuild:
        mov     byte [line_asked], 0
        mov     byte [line_knows], 1
        mov     si, next_begin
        mov     di, host_offset
        call    compare_dwords
        jbe     .all_came
        call    pieces_shorter
.all_came:
        mov     word [flights_end], flights
        mov     ax, [host_offset]
        mov     [next_begin], ax
        mov     ax, [host_offset + 2]
        mov     [next_begin + 2], ax
        mov     cx, [holes_told]
        jcxz    .done
        mov     bx, have_holes
        mov     dx, LOST_TAKEN
.hole:
        mov     si, bx                  ; holes must rise, and end within the record
        mov     di, next_begin
        call    compare_dwords
        jb      .done
        lea     si, [bx + L_hole.end]
        mov     di, bx
        call    compare_dwords
        jbe     .done
        mov     di, line_offer + L_offer.length
        call    compare_dwords
        ja      .done
        mov     si, bx
        mov     ax, [si]                ; what lies before it is there
        mov     [next_begin], ax
        mov     ax, [si + 2]
        mov     [next_begin + 2], ax
        test    dx, dx
        jz      .done
        dec     dx
        mov     di, [flights_end]
        push    cx
        mov     cx, L_hole_size
        rep     movsb
        pop     cx
        mov     word [di], LOST
        inc     di
        inc     di
        mov     [flights_end], di
        mov     ax, [bx + L_hole.end]
        mov     [next_begin], ax
        mov     ax, [bx + L_hole.end + 2]
        mov     [next_begin + 2], ax
        add     bx, L_hole_size
        loop    .hole
.done:
        ret
%if L_flight.state != L_hole_size || L_flight_size != L_hole_size + 2
%error "flights_rebuild copies a hole into a flight"
%endif

; flights_review: find out which flights have arrived, and which of the others are lost.
; Input: the frame, holes_told, host_offset.  Output: the table.  Destroys: AX BX CX DX SI DI BP.
flights_review:
        mov     si, next_begin
        mov     di, host_offset
        call    compare_dwords
        jae     .judge
        mov     ax, [di]
        mov     [si], ax
        mov     ax, [di + 2]
        mov     [si + 2], ax
.judge:
        xor     bp, bp                  ; BP = last flight that has arrived
        mov     bx, flights
.next:
        cmp     bx, [flights_end]
        jae     .judged
        call    uart_poll
        call    flight_judge            ; AL
        cmp     al, ARRIVED
        je      .arrived
        cmp     word [bx + L_flight.state], LOST
        je      .step
        jmp     short .set
.arrived:
        cmp     word [bx + L_flight.state], LOST
        je      .set
        mov     bp, bx
        call    pieces_longer
        cmp     byte [line_loss], 1     ; one less, at least 0
        adc     byte [line_loss], -1
.set:
        xor     ah, ah
        mov     [bx + L_flight.state], ax
.step:
        add     bx, L_flight_size
        jmp     short .next
.judged:
        mov     bx, flights
        mov     di, bx                  ; DI = where the next one that stays goes
        xor     dx, dx                  ; DX = newly lost
.sift:
        cmp     bx, [flights_end]
        jae     .sifted
        mov     ax, [bx + L_flight.state]
        cmp     ax, ARRIVED
        je      .drop
        cmp     ax, MISSING
        jne     .keep
        mov     word [bx + L_flight.state], FLYING
        cmp     bx, bp
        jae     .keep
        mov     word [bx + L_flight.state], LOST
        inc     dx
        call    piece_is_lost
.keep:
        mov     si, bx
        mov     cx, L_flight_size / 2
        rep     movsw
.drop:
        add     bx, L_flight_size
        jmp     short .sift
.sifted:
        mov     [flights_end], di
        test    dx, dx
        jz      .done
        call    pieces_shorter
.done:
        ret

; flight_judge: has a flight arrived?
; Input: BX = flight; the frame, holes_told, host_offset.  Output: AL = ARRIVED, MISSING or FLYING (not to be told).
; Destroys: AH CX SI DI.
;
; The host tells the holes up to where its octets go on without telling how far; so a flight beyond the last hole can't
; be told, but for the one that ends that hole. Without holes nothing after the offset has come.
flight_judge:
        lea     si, [bx + L_flight.end]
        mov     di, host_offset
        call    compare_dwords
        jbe     .arrived
        mov     cx, [holes_told]
        jcxz    .missing
        mov     di, have_holes
.hole:
        mov     si, bx                  ; begins before the hole's end, and ends after its begin?
        add     di, L_hole.end
        call    compare_dwords
        lea     di, [di - L_hole.end]
        jae     .not_in_it
        lea     si, [bx + L_flight.end]
        call    compare_dwords
        ja      .missing
.not_in_it:
        add     di, L_hole_size
        loop    .hole
        sub     di, L_hole_size - L_hole.end    ; DI = the last hole's end
        mov     si, bx
        call    compare_dwords
        jbe     .arrived
        mov     al, FLYING
        ret
.arrived:
        mov     al, ARRIVED
        ret
.missing:
        mov     al, MISSING
        ret

        section .bss
        alignb  2
flights_end:            resw 1
next_begin:             resd 1          ; first octet that was never sent
host_offset:            resd 1          ; the host has all before it
best_offset:            resd 1          ; the most that it ever had
holes_told:             resw 1          ; in the frame that is being looked at
        section .text
