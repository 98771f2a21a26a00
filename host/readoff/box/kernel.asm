; The DOS kernel of the test machine, loaded at 0070:0000. 8086 instructions only.
;
; It does in machine code what programs that hook interrupts notice of a real kernel: it changes to
; a stack of 384 octets, counts InDOS, sends each character for CON through INT 29h and INT 10h by
; their vectors, polls INT 16h for keys with INT 28h in between, calls INT 23h on Ctrl-C and INT 24h
; on a critical error. Memory, files and processes are served by the Python side through gates.
; nasm -f bin -o kernel.bin kernel.asm      (a test assembles this file and compares)
;
; The first words are a table of addresses for the Python side; its order is KERNEL_LABELS in images.py.

        cpu     8086
        bits    16
        org     0

STACK_SIZE      equ 384
GUARD_WORDS     equ 4
GUARD           equ 0D05h               ; below each stack: overwritten when a stack was too small
PSP_STACK       equ 2Eh                 ; SP and SS of the process's last call
CTRL_C          equ 3
BACKSPACE       equ 8
TAB             equ 9
CR              equ 0Dh
LF              equ 0Ah
END_OF_TEXT     equ 1Ah
LAST_FUNCTION   equ 6Ch
FLAG_CARRY      equ 01h
FLAG_ZERO       equ 40h
; Room between a kernel's first push and its CON driver's INT 29h, so that a hook of INT 10h finds
; about as little room as on real kernels (134 octets were measured on one).
DRIVER_DEPTH    equ 200

; The caller's registers, in the order in which every DOS since 2.0 leaves them on the caller's stack.
struc frame
.ax:    resw 1
.bx:    resw 1
.cx:    resw 1
.dx:    resw 1
.si:    resw 1
.di:    resw 1
.bp:    resw 1
.ds:    resw 1
.es:    resw 1
.ip:    resw 1
.cs:    resw 1
.flags: resw 1
endstruc

; What gate_service answers in AL.
DONE            equ 0
CRITICAL        equ 1
IS_CON          equ 2                   ; CON with its editing: the kernel does the rest
IS_CON_RAW      equ 3
IS_AUX          equ 4

table:
        dw      gates, gates_end, kernel_end
        dw      int00, int20, int21, int22, int23, int24, int25, int27, int28, int29, int1b
        dw      lists, first_mcb, indos, error_mode, current_psp, user_sp, exit_kind
        dw      io_stack, disk_stack, active, critical_ax, critical_code, critical_device
        dw      transfer, key_status_function, device_con, con_line_state, column

; ----------------------------------------------------------------------------------------------
gates:
gate_quick:     nop                     ; services that need no stack
                iret
gate_service:   nop                     ; the call in the caller's frame; AL = DONE ... IS_AUX
                ret
gate_failed:    nop                     ; INT 24h said: fail
                ret
gate_abort:     nop                     ; INT 24h said: abort. Does not come back
                ret
gate_char_out:  nop                     ; AL = character for handle 1; AH = DONE, IS_CON or IS_AUX
                ret
gate_char_in:   nop                     ; from handle 0: AH = DONE and AL, or IS_CON
                ret
gate_reentry:   nop                     ; a second call on a stack in use. Does not come back
                ret
gate_top:       nop                     ; the first process has ended. Does not come back
                ret
gates_end:

; ----------------------------------------------------------------------------------------------
; int21: the way in. Input: by function (AH).  Output: by function.
int21:
        cmp     ah, 33h
        je      .quick
        cmp     ah, 50h
        je      .quick
        cmp     ah, 51h
        je      .quick
        cmp     ah, 59h
        je      .quick
        cmp     ah, 62h
        je      .quick
        cmp     ah, LAST_FUNCTION
        jbe     .with_stack
        mov     al, 0
        iret
.quick:
        jmp     gate_quick
.with_stack:
        push    es
        push    ds
        push    bp
        push    di
        push    si
        push    dx
        push    cx
        push    bx
        push    ax
        cld
        mov     bx, cs
        mov     ds, bx
        mov     bx, sp
        mov     cx, ss
        mov     si, disk_stack          ; 01-0C have a stack of their own, so that INT 28h hooks may use the rest
        mov     dl, ah
        dec     dl
        cmp     dl, 0Bh
        ja      .chosen
        mov     si, io_stack
.chosen:
        cmp     byte [si + stack.busy], 0
        je      .free
        call    gate_reentry
.free:
        mov     byte [si + stack.busy], 1
        inc     byte [indos]
        mov     es, [current_psp]
        mov     [es:PSP_STACK], bx
        mov     [es:PSP_STACK + 2], cx
        mov     dx, ds
        mov     ss, dx
        mov     sp, [si + stack.top]
        push    word [user_sp]          ; the call that this one interrupts, if any
        push    word [user_ss]
        push    word [active]
        mov     [user_sp], bx
        mov     [user_ss], cx
        mov     [active], si
        sti
        mov     bl, ah
        mov     bh, 0
        shl     bx, 1
        call    [bx + dispatch]
        cli
        call    leave_stack
        mov     ss, cx
        mov     sp, bx
        pop     ax
        pop     bx
        pop     cx
        pop     dx
        pop     si
        pop     di
        pop     bp
        pop     ds
        pop     es
        iret

; leave_stack: give the DOS stack back and make the interrupted call, if any, the current one.
; Input: DS = kernel, IF = 0.  Output: CX:BX = the caller's stack.  Destroys: AX, DX, SI.
leave_stack:
        mov     bx, [user_sp]
        mov     cx, [user_ss]
        mov     si, [active]
        mov     byte [si + stack.busy], 0
        dec     byte [indos]
        mov     si, [si + stack.top]
        mov     ax, [si - 6]
        mov     [active], ax
        mov     ax, [si - 4]
        mov     [user_ss], ax
        mov     ax, [si - 2]
        mov     [user_sp], ax
        ret

; service: a call that the Python side serves whole.
; Input: the caller's frame.  Output: there.  Destroys: all.
service:
        call    gate_service
        cmp     al, CRITICAL
        je      .critical
        ret
.critical:
        call    critical
        cmp     al, 1
        je      service                 ; retry
        jb      .ignore
        cmp     al, 2
        jne     .fail
        call    gate_abort
.fail:
        jmp     gate_failed
.ignore:
        ret

; critical: ask INT 24h, on the caller's stack, with InDOS as it was before the call.
; Input: [critical_ax], [critical_code], [critical_device].  Output: AL = 0 ignore, 1 retry, 2 abort, 3 fail.
; Destroys: all but SP.
critical:
        mov     byte [error_mode], 1
        dec     byte [indos]
        mov     ax, [critical_ax]
        mov     di, [critical_code]
        mov     si, [critical_device]
        mov     bp, ds
        cli
        mov     [critical_sp], sp
        mov     ss, [user_ss]
        mov     sp, [user_sp]
        int     24h
        cli
        mov     bx, cs
        mov     ds, bx
        mov     ss, bx
        mov     sp, [critical_sp]
        sti
        cld
        mov     byte [error_mode], 0
        inc     byte [indos]
        ret

; ----------------------------------------------------------------------------------------------
; Ctrl-C.
; check_break: look whether Ctrl-C waits in the keyboard buffer; if so, do not come back.
; Input: none.  Output: none.  Destroys: nothing.
check_break:
        push    ax
        cmp     byte [break_seen], 0
        jne     .break
        call    key_status
        jz      .none
        cmp     al, CTRL_C
        jne     .none
        call    read_key
.break:
        mov     byte [break_seen], 0
        jmp     ctrl_c
.none:
        pop     ax
        ret

; ctrl_c: undo the call, tell INT 23h; it goes on (IRET, or RETF with CF = 0: the call is made again)
; or ends the program (RETF with CF = 1).
; Input: DS = kernel, on a DOS stack.  Does not return to its caller.
ctrl_c:
        mov     al, '^'
        call    put_con
        mov     al, 'C'
        call    put_con
        call    new_line
        cli
        call    leave_stack
        mov     byte [error_mode], 0
        mov     ss, cx
        mov     sp, bx
        pop     ax
        pop     bx
        pop     cx
        pop     dx
        pop     si
        pop     di
        pop     bp
        pop     ds
        pop     es
        mov     [cs:break_ax], ax
        mov     [cs:break_sp], sp
        clc
        int     23h
        cli
        pushf
        pop     word [cs:break_flags]
        cmp     sp, [cs:break_sp]
        je      .again
        add     sp, 2                   ; a RETF leaves the flags behind
        test    byte [cs:break_flags], FLAG_CARRY
        jnz     .end
.again:
        mov     ax, [cs:break_ax]
        jmp     int21
.end:
        mov     byte [cs:exit_kind], 1
        mov     ax, 4C00h
        jmp     int21

; ----------------------------------------------------------------------------------------------
; Keys.
; key_status: poll. Input: none.  Output: ZF = 1 no key; else AX = the key, left waiting.
key_status:
        mov     ah, [key_status_function]
        int     16h
        ret

; read_key: take a key. Input: none.  Output: AX.
read_key:
        mov     ah, [key_status_function]
        dec     ah                      ; 11h and 10h, or 01h and 00h
        int     16h
        ret

; con_in: wait for a character of CON.
; Input: [no_idle] = 1 to leave INT 28h out.  Output: AL (0: an extended key, its scan code comes next).
; Destroys: AH.
con_in:
        mov     al, [pending]
        mov     byte [pending], 0
        test    al, al
        jnz     .done
.wait:
        cmp     byte [break_seen], 0
        jne     .break
        call    key_status
        jnz     .there
        cmp     byte [no_idle], 0
        jne     .wait
        int     28h
        jmp     short .wait
.there:
        call    read_key
        test    al, al
        jz      .extended
        cmp     al, 0E0h
        jne     .done
        test    ah, ah
        jz      .done
        mov     al, 0
.extended:
        mov     [pending], ah
.done:
        ret
.break:
        mov     byte [break_seen], 0
        mov     al, CTRL_C
        ret

; std_in: wait for a character of handle 0.  Input: none.  Output: AL.  Destroys: AH.
std_in:
        call    gate_char_in
        cmp     ah, IS_CON
        je      con_in
        ret

; ----------------------------------------------------------------------------------------------
; Characters to CON.
; put_con: one character to the CON driver.  Input: AL.  Output: none.  Destroys: nothing.
put_con:
        sub     sp, DRIVER_DEPTH
        int     29h
        add     sp, DRIVER_DEPTH
        ret

; con_out: one character to CON, tabs expanded, Ctrl-C looked for every fourth character.
; Input: AL.  Output: none.  Destroys: AX.
con_out:
        cmp     al, TAB
        je      .tab
        cmp     al, ' '
        jb      .control
        inc     byte [column]
        jmp     short .put
.tab:
        mov     al, ' '
        call    con_out
        test    byte [column], 7
        jnz     .tab
        ret
.control:
        cmp     al, CR
        jne     .not_cr
        mov     byte [column], 0
.not_cr:
        cmp     al, BACKSPACE
        jne     .put
        dec     byte [column]
.put:
        call    put_con
        inc     byte [breath]
        test    byte [breath], 3
        jnz     .done
        call    check_break
.done:
        ret

; new_line: CR and LF to CON.  Input: none.  Output: none.  Destroys: AX.
new_line:
        mov     al, CR
        call    put_con
        mov     al, LF
        call    put_con
        mov     byte [column], 0
        ret

; std_out: one character to handle 1.  Input: AL.  Output: none.  Destroys: AX.
std_out:
        call    gate_char_out
        cmp     ah, IS_CON
        je      con_out
        cmp     ah, IS_AUX
        je      aux_out
        ret

; aux_out: one character to AUX, which is COM1.  Input: AL.  Output: none.  Destroys: AX.
aux_out:
        push    dx
        mov     ah, 01h
        xor     dx, dx
        int     14h
        pop     dx
        ret

; aux_in: wait for a character of AUX.  Input: none.  Output: AL.  Destroys: AH.
aux_in:
        push    dx
.wait:
        call    check_break
        mov     ah, 02h
        xor     dx, dx
        int     14h
        test    ah, 80h
        jnz     .wait
        pop     dx
        ret

; edit_line: read a line from CON with echo and backspace.
; Input: ES:DI = buffer, CX = most characters without the CR.
; Output: BX = characters; a CR behind them.  Destroys: AX.
edit_line:
        xor     bx, bx
.key:
        call    con_in
        cmp     al, CTRL_C
        je      .break
        test    al, al
        jz      .extended
        cmp     al, CR
        je      .end
        cmp     al, BACKSPACE
        je      .back
        cmp     bx, cx
        jae     .key
        mov     [es:bx + di], al
        inc     bx
        call    con_out
        jmp     short .key
.extended:
        call    con_in
        jmp     short .key
.back:
        test    bx, bx
        jz      .key
        dec     bx
        mov     al, BACKSPACE
        call    con_out
        mov     al, ' '
        call    con_out
        mov     al, BACKSPACE
        call    con_out
        jmp     short .key
.end:
        mov     [es:bx + di], al
        call    con_out
        ret
.break:
        jmp     ctrl_c

; ----------------------------------------------------------------------------------------------
; Functions with a flow of their own. Input: the caller's frame.  Output: there.  Destroys: all.
answer_al:                              ; AL into the caller's AL
        les     bx, [user_sp]
        mov     [es:bx + frame.ax], al
        ret

f_keyboard_echo:                        ; 01
        call    std_in
        cmp     al, CTRL_C
        je      to_ctrl_c
        push    ax
        call    std_out
        pop     ax
        jmp     answer_al
to_ctrl_c:
        jmp     ctrl_c

f_put:                                  ; 02
        les     bx, [user_sp]
        mov     al, [es:bx + frame.dx]
        jmp     std_out

f_aux_in:                               ; 03
        call    aux_in
        jmp     answer_al

f_aux_out:                              ; 04
        les     bx, [user_sp]
        mov     al, [es:bx + frame.dx]
        jmp     aux_out

f_direct:                               ; 06
        les     bx, [user_sp]
        mov     al, [es:bx + frame.dx]
        cmp     al, 0FFh
        je      .input
        call    gate_char_out
        cmp     ah, IS_CON
        je      .con
        cmp     ah, IS_AUX
        je      .aux
        ret
.aux:
        jmp     aux_out
.con:
        jmp     put_con                 ; no editing, no Ctrl-C
.input:
        or      byte [es:bx + frame.flags], FLAG_ZERO
        mov     byte [es:bx + frame.ax], 0
        call    gate_char_in
        cmp     ah, IS_CON
        jne     .there
        cmp     byte [pending], 0
        jne     .take
        call    key_status
        jz      .done
.take:
        call    con_in
.there:
        les     bx, [user_sp]
        and     byte [es:bx + frame.flags], ~FLAG_ZERO
        mov     [es:bx + frame.ax], al
.done:
        ret

f_keyboard:                             ; 07
        call    std_in
        jmp     answer_al

f_keyboard_break:                       ; 08
        call    std_in
        cmp     al, CTRL_C
        je      to_ctrl_c
        jmp     answer_al

f_text:                                 ; 09
        les     bx, [user_sp]
        mov     si, [es:bx + frame.dx]
        mov     es, [es:bx + frame.ds]
.next:
        es lodsb
        cmp     al, '$'
        je      .end
        push    es
        push    si
        call    std_out
        pop     si
        pop     es
        jmp     short .next
.end:
        jmp     answer_al

f_line:                                 ; 0A
        les     bx, [user_sp]
        mov     di, [es:bx + frame.dx]
        mov     es, [es:bx + frame.ds]
        mov     cl, [es:di]
        mov     ch, 0
        jcxz    .done
        dec     cx
        inc     di
        inc     di
        push    di
        call    edit_line
        pop     di
        mov     [es:di - 1], bl
.done:
        ret

f_status:                               ; 0B
        call    check_break
        call    gate_char_in_ready
        jmp     answer_al

; gate_char_in_ready: AL = FF when a character of CON waits, else 0.  Destroys: AH.
gate_char_in_ready:
        cmp     byte [pending], 0
        jne     .yes
        call    key_status
        jnz     .yes
        mov     al, 0
        ret
.yes:
        mov     al, 0FFh
        ret

f_flush:                                ; 0C
        mov     byte [pending], 0
.next:
        call    key_status
        jz      .empty
        call    read_key
        jmp     short .next
.empty:
        les     bx, [user_sp]
        mov     bl, [es:bx + frame.ax]
        mov     bh, 0
        cmp     bl, 01h
        je      .call
        cmp     bl, 06h
        jb      .none
        cmp     bl, 0Ah
        ja      .none
        cmp     bl, 09h
        je      .none
.call:
        shl     bx, 1
        jmp     [bx + dispatch]
.none:
        ret

f_read:                                 ; 3F
        call    service
        cmp     al, IS_CON
        je      .con
        cmp     al, IS_CON_RAW
        je      .con
        cmp     al, IS_AUX
        je      .aux
        ret
.aux:
        call    aux_in
        les     di, [transfer]
        stosb
        mov     ax, 1
        jmp     answer_count
.con:
        cmp     word [con_line_left], 0
        jne     .give
        mov     byte [no_idle], 1       ; measured on real kernels: no INT 28h here
        push    ds
        pop     es
        mov     di, con_line
        mov     [con_line_next], di
        mov     cx, CON_LINE_MOST
        call    edit_line
        mov     byte [no_idle], 0
        mov     byte [con_line + bx + 1], LF
        inc     bx
        inc     bx
        mov     [con_line_left], bx
        mov     al, LF
        call    con_out
        cmp     byte [con_line], END_OF_TEXT
        jne     .give
        mov     word [con_line_left], 0
        xor     ax, ax
        jmp     answer_count
.give:
        mov     cx, [con_line_left]
        cmp     cx, [transfer_count]
        jbe     .fits
        mov     cx, [transfer_count]
.fits:
        sub     [con_line_left], cx
        mov     ax, cx
        mov     si, [con_line_next]
        les     di, [transfer]
        rep     movsb
        mov     [con_line_next], si
answer_count:                           ; AX into the caller's AX, CF = 0
        les     bx, [user_sp]
        mov     [es:bx + frame.ax], ax
        and     byte [es:bx + frame.flags], ~FLAG_CARRY
        ret

f_write:                                ; 40
        call    service
        cmp     al, IS_CON
        jb      .done
        mov     ah, al
        les     si, [transfer]
        mov     cx, [transfer_count]
        mov     dx, cx
        jcxz    .counted
.next:
        es lodsb
        cmp     ah, IS_CON
        jne     .raw
        cmp     al, END_OF_TEXT
        je      .counted
        push    ax
        push    es
        call    con_out
        pop     es
        pop     ax
        loop    .next
        jmp     short .counted
.raw:
        cmp     ah, IS_AUX
        je      .aux
        call    put_con
        loop    .next
        jmp     short .counted
.aux:
        push    ax
        call    aux_out
        pop     ax
        loop    .next
.counted:
        mov     ax, dx
        sub     ax, cx
        jmp     answer_count
.done:
        ret

dispatch:
        dw      service, f_keyboard_echo, f_put, f_aux_in, f_aux_out, service, f_direct, f_keyboard
        dw      f_keyboard_break, f_text, f_line, f_status, f_flush
        times 3Fh - 0Dh dw service
        dw      f_read, f_write
        times LAST_FUNCTION - 40h dw service
        %if ($ - dispatch) != 2 * (LAST_FUNCTION + 1)
        %error "the table of functions has the wrong length"
        %endif

; ----------------------------------------------------------------------------------------------
; The other interrupts.
int00:                                  ; a divide error ends the program
        mov     dx, text_divide
        push    cs
        pop     ds
        mov     ah, 09h
        int     21h
        mov     byte [cs:exit_kind], 1
        mov     ax, 4C00h
        int     21h

int20:
        mov     ah, 00h
        jmp     int21

int27:                                  ; stay resident: DX octets
        mov     ax, dx
        add     ax, 15
        rcr     ax, 1
        mov     cl, 3
        shr     ax, cl
        mov     dx, ax
        mov     ax, 3100h
        jmp     int21

int22:                                  ; the first process ended
        call    gate_top
        jmp     short int22

int23:                                  ; nobody wants to know: end the program
        stc
        retf

int24:                                  ; ask the person
        push    bx
        push    cx
        push    dx
        push    ds
        push    cs
        pop     ds
.ask:
        mov     dx, text_critical
        mov     ah, 09h
        int     21h
        mov     ah, 01h
        int     21h
        and     al, 5Fh
        mov     bx, answers
        mov     cx, 4
.compare:
        cmp     al, [bx]
        je      .found
        inc     bx
        loop    .compare
        jmp     short .ask
.found:
        mov     dx, text_line_end
        mov     ah, 09h
        int     21h
        sub     bx, answers
        mov     al, bl
        pop     ds
        pop     dx
        pop     cx
        pop     bx
        iret

int25:                                  ; absolute disk access is not there; the flags stay on the stack
        mov     ax, 0C01h
        stc
        retf

int29:                                  ; AL to the screen
        push    ax
        push    bx
        push    si
        push    di
        push    bp
        mov     ah, 0Eh
        mov     bx, 0007h
        int     10h
        pop     bp
        pop     di
        pop     si
        pop     bx
        pop     ax
        iret

int1b:                                  ; Ctrl-Break
        mov     byte [cs:break_seen], 1
int28:
        iret

text_divide:    db CR, LF, "A division had no result", CR, LF, '$'
text_critical:  db CR, LF, "The drive fails: Abort, Retry, Ignore, Fail? $"
text_line_end:  db CR, LF, '$'
answers:        db "IRAF"               ; in the order of INT 24h's answers

; ----------------------------------------------------------------------------------------------
; Data that programs can find.
        align   2
first_mcb:      dw 0
lists:          times 22h db 0FFh       ; INT 21h/52h; only the NUL device below is real
device_nul:     dw device_con, 0070h
                dw 8004h, nothing_to_do, nothing_to_do
                db "NUL     "
device_con:     dw device_aux, 0070h
                dw 8013h, nothing_to_do, nothing_to_do
                db "CON     "
device_aux:     dw device_prn, 0070h
                dw 8000h, nothing_to_do, nothing_to_do
                db "AUX     "
device_prn:     dw device_clock, 0070h
                dw 8000h, nothing_to_do, nothing_to_do
                db "PRN     "
device_clock:   dw 0FFFFh, 0FFFFh
                dw 8008h, nothing_to_do, nothing_to_do
                db "CLOCK$  "
nothing_to_do:  retf
                align 2
error_mode:     db 0                    ; the octet before InDOS
indos:          db 0
current_psp:    dw 0
user_sp:        dw 0
user_ss:        dw 0
active:         dw 0                    ; the stack in use
exit_kind:      db 0                    ; 1 when the next end comes from Ctrl-C
key_status_function: db 11h
column:         db 0
breath:         db 0
pending:        db 0                    ; scan code of an extended key
break_seen:     db 0
no_idle:        db 0
                align 2
break_ax:       dw 0
break_sp:       dw 0
break_flags:    dw 0
critical_ax:    dw 0                    ; AH and AL for INT 24h
critical_code:  dw 0
critical_device: dw 0
critical_sp:    dw 0
transfer:       dw 0, 0                 ; what the Python side says about a read or write on a device
transfer_count: dw 0
CON_LINE_MOST   equ 126
con_line_state:
con_line_left:  dw 0
con_line_next:  dw 0
con_line:       times CON_LINE_MOST + 2 db 0

struc stack
.top:   resw 1
.busy:  resb 1
.spare: resb 1
endstruc
io_stack:       dw io_top
                db 0, 0
disk_stack:     dw disk_top
                db 0, 0
                times GUARD_WORDS dw GUARD
                times STACK_SIZE / 2 dw 0
io_top:
                times GUARD_WORDS dw GUARD
                times STACK_SIZE / 2 dw 0
disk_top:
                align 16
kernel_end:
