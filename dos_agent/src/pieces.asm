; Which piece of a record goes next, and how long pieces are: half as long where some are lost, longer again where they come.

PIECE_LEAST             equ 64          ; octets
PIECE_GROWS_AFTER       equ 16          ; pieces that came, one after another

; piece_choose: choose the next piece to send: of what was lost first, then of what has not been sent yet.
; Input: the table.  Output: piece_begin, piece_size, and the piece in the table as flying; CF=1 when none is to go now.
; Destroys: AX BX CX DX SI DI.
piece_choose:
        xor     cx, cx                  ; CX = flights in the air
        xor     dx, dx                  ; DX = first that was lost
        mov     bx, flights
.count:
        cmp     bx, [flights_end]
        jae     .counted
        cmp     word [bx + L_flight.state], LOST
        je      .lost
        inc     cx
        jmp     short .step
.lost:
        test    dx, dx
        jnz     .step
        mov     dx, bx
.step:
        add     bx, L_flight_size
        jmp     short .count
.counted:
        cmp     cx, WINDOW
        jae     .none
        cmp     bx, flights + (FLIGHTS_MOST - 1) * L_flight_size
        ja      .none
        test    dx, dx
        jnz     .again
        mov     si, next_begin
        mov     di, line_offer + L_offer.length
        call    compare_dwords
        jae     .none
        call    piece_cut
        jmp     short .add
.again:
        inc     byte [line_futile]
        mov     si, dx
        lea     di, [si + L_flight.end]
        call    piece_cut
        mov     di, dx
        lea     si, [di + L_flight.end]
        call    compare_dwords          ; all of it goes: it leaves its place
        jne     .add
        lea     si, [di + L_flight_size]
        mov     cx, [flights_end]
        sub     cx, si
        rep     movsb
        mov     [flights_end], di
.add:
        mov     di, [flights_end]
        mov     ax, [piece_begin]
        mov     dx, [piece_begin + 2]
        mov     [di + L_flight.begin], ax
        mov     [di + L_flight.begin + 2], dx
        add     ax, [piece_size]
        adc     dx, 0
        mov     [di + L_flight.end], ax
        mov     [di + L_flight.end + 2], dx
        mov     word [di + L_flight.state], FLYING
        add     di, L_flight_size
        mov     [flights_end], di
        clc
        ret
.none:
        stc
        ret

; piece_cut: cut a piece from the front of a range.
; Input: SI = its begin (a dword that moves on), DI = its end.  Output: piece_begin, piece_size.  Destroys: AX CX.
piece_cut:
        push    dx
        mov     ax, [si]
        mov     [piece_begin], ax
        mov     cx, [si + 2]
        mov     [piece_begin + 2], cx
        mov     dx, [di + 2]            ; DX:CX = what is left
        push    cx
        mov     cx, [di]
        sub     cx, ax
        pop     ax
        sbb     dx, ax
        mov     ax, [piece_length]
        jnz     .long
        cmp     cx, ax
        jae     .long
        mov     ax, cx
.long:
        mov     [piece_size], ax
        add     [si], ax
        adc     word [si + 2], 0
        pop     dx
        ret

; piece_is_lost: where pieces can't be much shorter, what is lost counts against the rate.
; Input: none.  Output: line_loss.  Destroys: nothing.
piece_is_lost:
        cmp     word [piece_length], 2 * PIECE_LEAST
        ja      .done
        cmp     byte [line_loss], LOSS_MOST
        jae     .done
        add     byte [line_loss], LOSS_WEIGHT
.done:
        ret

; pieces_shorter: pieces are being lost: halve their length.
; Input: none.  Output: none.  Destroys: AX.
pieces_shorter:
        mov     byte [pieces_well], 0
        mov     ax, [piece_length]
        shr     ax, 1
        cmp     ax, PIECE_LEAST
        jb      .done
        mov     [piece_length], ax
.done:
        ret

; pieces_longer: a piece has come: after some of them, double their length.
; Input: none.  Output: none.  Destroys: nothing.
pieces_longer:
        inc     byte [pieces_well]
        cmp     byte [pieces_well], PIECE_GROWS_AFTER
        jb      .done
        mov     byte [pieces_well], 0
        push    ax
        mov     ax, [piece_length]
        shl     ax, 1
        cmp     ax, [piece_most]
        jbe     .set
        mov     ax, [piece_most]
.set:
        mov     [piece_length], ax
        pop     ax
.done:
        ret

        section .bss
        alignb  2
piece_begin:            resd 1
piece_size:             resw 1
piece_length:           resw 1          ; of the next pieces
piece_most:             resw 1
pieces_well:            resb 1
        section .text
