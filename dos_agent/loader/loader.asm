; The loader: what brings READOFF.COM over a bare null-modem line to a machine that has neither it nor a floppy.
;
; nasm -f bin -I dos_agent/src/ -o loader.bin dos_agent/loader/loader.asm
; python -m readoff.link.printable loader.bin > dos_agent/GO.COM
;
; GO.COM is this, written in printable characters, so that DOS's own COPY can take it from the line as text. What it is
; in memory when it begins to run: a piece that unpacked it (printable.py writes that), then this from ORIGIN on, with its
; CRC-32 behind it.
;
; It asks for block after block (loader_ask, loader_block in link.toml), each with its own check, and asks again for one that
; is spoilt or does not come. ESC ends it. Nothing is left on the disk unless the file is whole.

        cpu     8086
        bits    16
ORIGIN          equ 200h
        org     ORIGIN

%include "contract.inc"

BIOS_DATA       equ 40h
BDA_TICKS       equ 6Ch                 ; 18.2 a second
UART_LSR        equ 5
UART_LSR_READY  equ 01h                 ; an octet has come
UART_LSR_THRE   equ 20h                 ; one can be given
DIVISOR_9600    equ 12                  ; of 1.8432 MHz / 16
LCR_8N1         equ 03h
LCR_DLAB        equ 80h
MCR_READY       equ 03h                 ; DTR, RTS
PATIENCE        equ 18                  ; ticks without an octet after which a block is asked for again
SILENCE         equ 3                   ; ticks without an octet after which the line is quiet
SEND_POLLS      equ 0                   ; 65536 looks at a port that takes nothing
ESC_KEY         equ 1Bh
COMMAND_TAIL    equ 81h
CHECK_SIZE      equ 4

%macro say 1
        mov     dx, %1
        mov     ah, 09h
        int     21h
%endmacro

begin:
        mov     si, begin
        mov     cx, body_end - begin
        call    crc32
        cmp     ax, [body_end]
        jne     .damaged
        cmp     dx, [body_end + 2]
        je      .whole
.damaged:
        mov     dx, text_damaged
        jmp     leave_badly
.whole:
        call    port_open
        mov     dx, text_no_port
        jc      leave_badly
        mov     dx, file_name
        xor     cx, cx
        mov     ah, 5Bh                 ; creates, and only what is not there yet
        int     21h
        mov     dx, text_no_file
        jc      leave_badly
        mov     [file_handle], ax
        say     text_begin
        call    transfer                ; DX = what to say when CF=1
        pushf
        push    dx
        mov     bx, [file_handle]
        mov     ah, 3Eh
        int     21h
        jc      .no_end                 ; DOS could not write its last part
        pop     dx
        popf
        jc      .give_up
        say     text_done
        mov     ax, 4C00h
        int     21h
.no_end:
        pop     dx
        popf
        mov     dx, text_full
.give_up:
        push    dx
        mov     dx, file_name
        mov     ah, 41h                 ; half a program is worse than none
        int     21h
        pop     dx
leave_badly:
        mov     ah, 09h
        int     21h
        mov     ax, 4C01h
        int     21h

; transfer: all blocks into the file.
; Input: [file_handle], the open port.  Output: CF=1: DX = a text.  Destroys: all but SP and segments.
transfer:
        mov     word [ask + L_loader_ask.block], 0
.next:
        call    block_get
        mov     dx, text_escape
        jc      .end
        mov     cx, [answer + L_loader_block.length]
        jcxz    .end                    ; CF is clear
        mov     dx, answer + L_loader_block_size
        mov     bx, [file_handle]
        mov     ah, 40h
        int     21h
        mov     dx, text_full
        jc      .end
        cmp     ax, cx
        jb      .end                    ; a full disk: fewer than asked for, CF=1
        mov     dl, '.'
        mov     ah, 02h
        int     21h
        inc     word [ask + L_loader_ask.block]
        jmp     short .next
.end:
        ret

; block_get: ask for the block in [ask] until it is here.
; Input: [ask + L_loader_ask.block].  Output: answer; CF=1 when ESC was pressed.  Destroys: AX BX CX DX SI DI BP.
block_get:
        mov     ah, 01h
        int     16h
        jz      .ask
        xor     ah, ah
        int     16h
        cmp     al, ESC_KEY
        jne     block_get
        stc
        ret
.ask:
        mov     ax, [ask + L_loader_ask.block]
        not     ax
        mov     [ask + L_loader_ask.inverted], ax
        mov     si, ask
        mov     cx, L_loader_ask_size
        call    line_send
        mov     di, answer
        mov     cx, L_loader_block_size
        call    line_receive
        jc      .again
        mov     ax, [answer + L_loader_block.block]
        cmp     ax, [ask + L_loader_ask.block]
        jne     .again
        mov     cx, [answer + L_loader_block.length]
        cmp     cx, LOADER_BLOCK_LIMIT
        ja      .again
        push    cx
        add     cx, CHECK_SIZE
        call    line_receive
        pop     cx
        jc      .again
        add     cx, L_loader_block_size
        mov     si, answer
        call    crc32                   ; leaves SI behind what it summed
        cmp     ax, [si]
        jne     .again
        cmp     dx, [si + 2]
        jne     .again
        clc
        ret
.again:
        call    line_quiet
        jmp     short block_get

; ----------------------------------------------------------------------------------------------
; port_open: the port that the command line names (1 to 4; COM1 without), at 9600 8N1.
; Input: the command tail.  Output: [line_status], CF=1 when there is none.  Destroys: AX BX DX SI ES (40h afterwards).
port_open:
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     si, COMMAND_TAIL
.blank:
        lodsb
        cmp     al, ' '
        je      .blank
        xor     bx, bx
        sub     al, '1'
        cmp     al, 3
        ja      .first
        mov     bl, al
        shl     bx, 1
.first:
        mov     dx, [es:bx]
        test    dx, dx                  ; the BIOS lists no such port; CF=0
        jz      .none
        add     dx, UART_LSR - 2        ; line control
        mov     al, LCR_8N1 | LCR_DLAB
        out     dx, al
        sub     dx, 3
        mov     al, DIVISOR_9600
        out     dx, al
        inc     dx
        xor     al, al
        out     dx, al
        inc     dx
        inc     dx
        mov     al, LCR_8N1
        out     dx, al
        inc     dx
        mov     al, MCR_READY
        out     dx, al
        sub     dx, 3
        xor     al, al                  ; no interrupts of the port
        out     dx, al
        add     dx, UART_LSR - 1
        mov     [line_status], dx
        in      al, dx
        inc     al                      ; FFh: nothing is there
        jz      .none
        clc
        ret
.none:
        stc
        ret

; line_send: give octets to the port.
; Input: DS:SI, CX.  Output: none; a port that takes nothing is given up (the answer will not come).  Destroys: AX BX CX DX SI.
line_send:
        mov     dx, [line_status]
        mov     bx, SEND_POLLS
.poll:
        in      al, dx
        test    al, UART_LSR_THRE
        jnz     .ready
        dec     bx
        jnz     .poll
.ready:
        sub     dx, UART_LSR
        lodsb
        out     dx, al
        loop    line_send
        ret

; line_receive: take octets from the port.
; Input: DI = where to, CX = how many, ES = 40h.  Output: DI behind them; CF=1 when none came for PATIENCE ticks.
; Destroys: AX BX CX DX.
line_receive:
        mov     dx, [line_status]
.octet:
        mov     bx, [es:BDA_TICKS]
.poll:
        in      al, dx
        test    al, UART_LSR_READY
        jnz     .take
        mov     ax, [es:BDA_TICKS]
        sub     ax, bx                  ; at midnight the count begins anew: at worst a block is asked for twice
        cmp     ax, PATIENCE
        jb      .poll
        stc
        ret
.take:
        sub     dx, UART_LSR
        in      al, dx
        add     dx, UART_LSR
        mov     [di], al
        inc     di
        loop    .octet
        clc
        ret

; line_quiet: throw away what comes until nothing has come for SILENCE ticks.
; Input: ES = 40h.  Output: none.  Destroys: AX BX DX.
line_quiet:
        mov     dx, [line_status]
        mov     bx, [es:BDA_TICKS]
.poll:
        in      al, dx
        test    al, UART_LSR_READY
        jz      .nothing
        sub     dx, UART_LSR
        in      al, dx
        jmp     short line_quiet
.nothing:
        mov     ax, [es:BDA_TICKS]
        sub     ax, bx
        cmp     ax, SILENCE
        jb      .poll
        ret

; crc32: ISO-HDLC, a bit at a time: small rather than quick.
; Input: DS:SI, CX > 0.  Output: DX:AX, SI behind the octets.  Destroys: BL CX.
crc32:
        mov     ax, -1
        mov     dx, ax
.octet:
        xor     al, [si]
        inc     si
        mov     bl, 8
.bit:
        shr     dx, 1
        rcr     ax, 1
        jnc     .even
        xor     ax, 8320h
        xor     dx, 0EDB8h
.even:
        dec     bl
        jnz     .bit
        loop    .octet
        not     ax
        not     dx
        ret

; ----------------------------------------------------------------------------------------------
ask:
        dw      LOADER_ASK_MARK
        dw      0, 0
%if $ - ask != L_loader_ask_size
        %error "the ask is not what link.toml declares"
%endif
file_name       db      'READOFF.COM', 0
text_begin      db      'Taking READOFF.COM at 9600. ESC ends this.', 13, 10, '$'
text_done       db      13, 10, 'READOFF.COM is here and whole. GO.COM may be deleted.', 13, 10, '$'
text_damaged    db      'GO.COM is damaged. Delete it, and take it from the line again.', 13, 10, '$'
text_no_port    db      'No such serial port. GO 2 takes COM2.', 13, 10, '$'
text_no_file    db      'READOFF.COM cannot be made here: is it here already, is the disk full or protected?', 13, 10, '$'
text_full       db      13, 10, 'The disk is full or fails. Nothing was left on it.', 13, 10, '$'
text_escape     db      13, 10, 'Ended. Nothing was left on the disk.', 13, 10, '$'
body_end:                               ; the CRC-32 of all this follows

; Behind it, not in the file:
absolute body_end + CHECK_SIZE
file_handle     resw 1
line_status     resw 1
answer          resb L_loader_block_size + LOADER_BLOCK_LIMIT + CHECK_SIZE
