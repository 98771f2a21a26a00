; The DOS kernel of the test machine, loaded at 0070:0000. 8086 instructions only.
;
; It does in machine code what programs that hook interrupts notice of a real kernel: it changes to
; a stack of 384 octets, counts InDOS, sends each character for CON through INT 29h and INT 10h by
; their vectors, polls INT 16h for keys with INT 28h in between, calls INT 23h on Ctrl-C and INT 24h
; on a critical error. Memory, files and processes are served by the Python side through gates.
; nasm -f bin -I host/readoff/box/ -o kernel.bin kernel.asm      (a test assembles this file and compares)
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
        dw      transfer, key_status_function, device_con, con_line_state, column, break_check

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

; push_frame, pop_frame: the registers of whoever calls, as the caller's frame.
%macro push_frame 0
        push    es
        push    ds
        push    bp
        push    di
        push    si
        push    dx
        push    cx
        push    bx
        push    ax
%endmacro
%macro pop_frame 0
        pop     ax
        pop     bx
        pop     cx
        pop     dx
        pop     si
        pop     di
        pop     bp
        pop     ds
        pop     es
%endmacro

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
        push_frame
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
        cmp     byte [break_check], 0   ; BREAK ON: look for Ctrl-C at every call but 06h
        je      .serve
        cmp     ah, 06h
        je      .serve
        call    check_break
.serve:
        mov     bl, ah
        mov     bh, 0
        shl     bx, 1
        call    [bx + dispatch]
        cli
        call    leave_stack
        mov     ss, cx
        mov     sp, bx
        pop_frame
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
        pop_frame
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

%include "kernel_console.inc"
%include "kernel_functions.inc"
%include "kernel_data.inc"
