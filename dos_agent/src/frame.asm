; Frames of RFC 1662 on the serial port: flag, escapes, FCS-32. Payloads: protocols/link.toml.

FCS_SIZE                equ 4
FCS_GOOD_LOW            equ 020E3h      ; running value after a good frame and its FCS
FCS_GOOD_HIGH           equ 0DEBBh
XON                     equ 11h
XOFF                    equ 13h
FIRST_PRINTABLE         equ 20h
FRAME_LOOKS             equ 128         ; octets: on an 8088 well within a tick

; crc_step: let one octet into a running value that lies in registers.
; Input: AL = octet, DX:CX = value.  Output: DX:CX.  Destroys: BX.
%macro crc_step 0
        mov     bl, cl
        xor     bl, al
        xor     bh, bh
        mov     cl, ch                  ; the value moves down by 8 bits
        mov     ch, dl
        mov     dl, dh
        xor     cl, [CRC_0 + bx]
        xor     ch, [CRC_1 + bx]
        xor     dl, [CRC_2 + bx]
        mov     dh, [CRC_3 + bx]
%endmacro

; ----------------------------------------------------------------------------------------------
; head_send: send a frame that was made in line_work.head.
; Input: CX = its octets.  Output: CF=1 when the port takes nothing.  Destroys: AX BX CX DX SI DI BP.
head_send:
        mov     si, line_work + L_line_work.head
        xor     dx, dx
        ; fall through

; frame_send: send a frame whose payload lies in two parts.
; Input: SI, CX = first part; BX, DX = second part (DX may be 0).
; Output: CF=1 when the port takes nothing.  Destroys: AX BX CX DX SI DI BP.
frame_send:
        push    bx
        push    dx
        mov     ax, -1
        mov     [fcs_out], ax
        mov     [fcs_out + 2], ax
        mov     al, FLAG_OCTET
        call    uart_send
        call    frame_run
        pop     cx
        pop     si
        call    frame_run
        not     word [fcs_out]
        not     word [fcs_out + 2]
        mov     si, fcs_out
        mov     cx, FCS_SIZE
        call    frame_run
        mov     al, FLAG_OCTET
        call    uart_send
        cmp     byte [uart_is_stuck], 1
        cmc
        ret

; frame_run: send octets of a frame, escaped, and let them into its FCS.
; Input: SI = octets, CX = how many (may be 0).  Output: none.  Destroys: AX BX CX DX SI DI BP.
;
; SI = next octet, BP = behind the last, DX:CX = FCS, DI = line status register (swapped with DX for the port).
frame_run:
        test    cx, cx
        jnz     .some
        ret
.some:
        mov     bp, si
        add     bp, cx
        mov     cx, [fcs_out]
        mov     dx, [fcs_out + 2]
        mov     di, [uart_status]
.next:
        lodsb
        crc_step
        cmp     al, FLAG_OCTET
        je      .escape
        cmp     al, ESCAPE_OCTET
        je      .escape
        cmp     al, FIRST_PRINTABLE
        jb      .control
.plain:
        mov     ah, al
        xchg    dx, di
        uart_emit
        xchg    dx, di
        cmp     si, bp
        jb      .next
        cmp     si, fcs_out + FCS_SIZE  ; the FCS itself went out: its value is done with
        je      .done
        mov     [fcs_out], cx
        mov     [fcs_out + 2], dx
.done:
        ret
.control:
        cmp     byte [line_xon_xoff], 0
        je      .plain
        cmp     al, XON
        je      .escape
        cmp     al, XOFF
        jne     .plain
.escape:
        xor     al, ESCAPE_FLIP
        push    ax
        xchg    dx, di
        mov     ah, ESCAPE_OCTET
        uart_emit
        xchg    dx, di
        pop     ax
        jmp     .plain

; ----------------------------------------------------------------------------------------------
; frame_next: look at what has come in, up to the end of a good frame. What is no frame is dropped without a word.
; Input: none.  Output: CF=0: a payload of CX octets at line_work.frame; CF=1: none yet.  Destroys: AX BX DX DI.
;
; Says none once in FRAME_LOOKS octets, too: on a line that never falls silent the callers look at clock and keyboard then.
frame_next:
        call    uart_poll
        mov     bx, [ring_tail]
        cmp     bx, [ring_head]
        je      .none
        dec     word [frame_looks]
        jz      .enough
        mov     al, [line_work + L_line_work.ring + bx]
        inc     bx
        and     bx, [ring_mask]
        mov     [ring_tail], bx
        cmp     al, FLAG_OCTET
        je      .flag
        cmp     al, ESCAPE_OCTET
        je      .escape
        cmp     byte [line_xon_xoff], 0
        je      .octet
        cmp     al, XON                 ; bare ones come from the line, not from the host
        je      frame_next
        cmp     al, XOFF
        je      frame_next
.octet:
        xor     al, [frame_flip]
        mov     byte [frame_flip], 0
        mov     di, [frame_length]
        cmp     di, FRAME_LIMIT
        jae     frame_next              ; too long: the rest goes by, and the FCS won't hold
        mov     [line_work + L_line_work.frame + di], al
        inc     di
        mov     [frame_length], di
        mov     cx, [fcs_in]
        mov     dx, [fcs_in + 2]
        crc_step
        mov     [fcs_in], cx
        mov     [fcs_in + 2], dx
        jmp     frame_next
.escape:
        mov     byte [frame_flip], ESCAPE_FLIP
        jmp     frame_next
.flag:
        mov     cx, [frame_length]
        mov     ax, [fcs_in]
        mov     dx, [fcs_in + 2]
        mov     bl, [frame_flip]
        call    frame_forget
        test    bl, bl                  ; 7D 7E: the sender gave the frame up
        jnz     .again
        cmp     cx, FCS_SIZE + 1
        jb      .again
        cmp     ax, FCS_GOOD_LOW
        jne     .again
        cmp     dx, FCS_GOOD_HIGH
        jne     .again
        sub     cx, FCS_SIZE            ; CF=0
        ret
.again:
        jmp     frame_next
.enough:
        mov     word [frame_looks], FRAME_LOOKS
.none:
        stc
        ret

; frame_forget: begin a new frame.
; Input: none.  Output: none.  Destroys: nothing.
frame_forget:
        mov     word [frame_length], 0
        mov     byte [frame_flip], 0
        mov     word [fcs_in], -1
        mov     word [fcs_in + 2], -1
        ret

        section .bss
        alignb  2
fcs_out:                resd 1
fcs_in:                 resd 1
frame_length:           resw 1
frame_looks:            resw 1          ; octets until none is said
frame_flip:             resb 1          ; ESCAPE_FLIP after an escape
line_xon_xoff:          resb 1          ; 1: XON and XOFF are escaped
        section .text
