; The hooks on INT 21h, INT 29h and INT 10h: what the program prints is copied as it goes by.
;
; Under DOS each character that goes to CON passes INT 29h and INT 10h AH=0Eh through the vectors, from inside
; the INT 21h that asked for it; an emulated DOS may do without. So a character is taken where it is first asked for:
;
;       INT 21h 02 06 09 40     when InDOS is 0: this is the program, not DOS itself
;       INT 29h                 when InDOS is 0 and none of those calls is under way
;       INT 10h 0E              the same, and no INT 29h is under way
;
; A call of INT 21h that finds InDOS at 0 also shows that no earlier one is under way any more: one that was ended
; by Ctrl-C never came back.
;
; Every hook works on our own stack (hook_stack); while it is in use (hook_busy) all calls pass straight through.
; Only keeping a single octet, and passing on, is done where the call came from.
; On the program's stack a hook needs at most 10 octets while the call below is under way (two words and its
; frame), 14 after it.
; Once the agent is gone and these hooks had to stay, program_active is 0 and all they do is pass.

CONSOLE_HIGH            equ SCRATCH_SIZE * 3 / 4        ; from here on the buffer goes to the record at the next call
HANDLE_UNKNOWN          equ 0FFFFh
DEVICE_CONSOLE          equ 82h         ; INT 21h AX=4400h: a device, and the console for output
FLAG_CARRY              equ 1

section .hookdata
old_dos:                dd 0
old_video:              dd 0
old_console:            dd 0
indos_at:               dd 0
own_segment:            dw 0
caller_stack:           dd 0            ; SP, SS
print_flags:            dw 0
handle_asked:           dw HANDLE_UNKNOWN
console_used:           dw 0            ; octets in the console buffer (scratch)
handle_is_console:      db 0
print_function:         db 0
print_octet:            db 0
program_active:         db 0            ; 1 while the program runs
hook_busy:              db 0            ; 1 while hook_stack is in use
printing:               db 0            ; 1 while a printing INT 21h is under way
console_busy:           db 0            ; 1 while an INT 29h that was taken is under way
hooked_dos:             db 0            ; 1 while our hook is in the chain of INT 21h
hooks_stay:             db 0            ; 1 when a resident program sits on our hooks

section .hooks

; own_stack, back_stack: go to the hook's stack with all registers saved and DF=0, and back.
; Between them interrupts may be on; ES = SS = our segment, DS as it was.
%macro own_stack 0
        cli
        mov     byte [cs:hook_busy], 1
        mov     [cs:caller_stack], sp
        mov     [cs:caller_stack + 2], ss
        mov     ss, [cs:own_segment]
        mov     sp, hook_stack_top
        push    ax
        push    bx
        push    cx
        push    dx
        push    si
        push    di
        push    bp
        push    ds
        push    es
        push    cs
        pop     es
        cld
%endmacro

%macro back_stack 0
        cli
        pop     es
        pop     ds
        pop     bp
        pop     di
        pop     si
        pop     dx
        pop     cx
        pop     bx
        pop     ax
        mov     ss, [cs:caller_stack + 2]
        mov     sp, [cs:caller_stack]
        mov     byte [cs:hook_busy], 0
%endmacro

; unless_plain: jump when the call is none of the program's own, or may not be looked at.
%macro unless_plain 1
        cmp     byte [cs:program_active], 0
        je      %1
        cmp     byte [cs:hook_busy], 0
        jne     %1
        push    ds
        push    bx
        lds     bx, [cs:indos_at]
        cmp     byte [bx], 0
        pop     bx
        pop     ds
        jne     %1
%endmacro

; hook_dos: INT 21h.
;   not the program's own call           -> pass
;   console buffer is filling up         -> write it into the record, DOS is free
;   02, 06 (DL not FF), 09, 40 (CON)     -> call DOS, then take what it printed
;   all else                             -> pass
hook_dos:
        unless_plain .pass
        mov     byte [cs:printing], 0
        cmp     word [cs:console_used], CONSOLE_HIGH
        jae     .make_room
.select:
        cmp     ah, 40h
        je      .write
        cmp     ah, 09h
        je      .print
        cmp     ah, 02h
        je      .print
        cmp     ah, 06h
        je      .direct
        cmp     ah, 3Ch                 ; a handle may become another file's
        jb      .pass
        cmp     ah, 3Fh
        je      .pass
        cmp     ah, 42h
        je      .pass
        mov     word [cs:handle_asked], HANDLE_UNKNOWN
.pass:
        jmp     far [cs:old_dos]

.direct:
        cmp     dl, 0FFh                ; that one reads a key
        je      .pass
        jmp     short .print

.make_room:
        own_stack
        push    cs
        pop     ds
        sti
        call    console_flush_guarded
        back_stack
        jmp .select

.write:
        cmp     bx, STDOUT
        je      .print
        cmp     bx, STDERR
        je      .print
        cmp     bx, [cs:handle_asked]
        je      .known
        call    handle_ask
.known:
        cmp     byte [cs:handle_is_console], 0
        je      .pass

.print:
        push    ax
        push    bp
        mov     bp, sp                  ; [bp] BP, [bp+2] AX, [bp+4] IP, CS, flags
        mov     byte [cs:printing], 1
        push    word [bp + 8]
        mov     bp, [bp]
        call    far [cs:old_dos]
        pushf
        cli
        mov     byte [cs:printing], 0
        push    bp
        mov     bp, sp                  ; [bp] BP, [bp+2] flags, [bp+4] old BP, [bp+6] AX, [bp+8] IP, CS, flags
        push    ax
        mov     ax, [bp + 2]
        mov     [bp + 12], ax
        mov     [cs:print_flags], ax
        mov     al, [bp + 7]
        mov     [cs:print_function], al
        cmp     al, 06h                 ; 02 and 06: one octet
        mov     al, dl
        ja      .many
        call    octet_quick
        jnc     .taken
.many:
        pop     ax
        own_stack
        call    print_taken
        back_stack
        push    ax
.taken:
        pop     ax
        pop     bp
        add     sp, 6                   ; flags, old BP, AX
        iret

; handle_ask: does a handle of the program stand for CON?
; Input: BX = handle, on the program's stack.  Output: [handle_is_console], [handle_asked].
; Destroys: flags.
handle_ask:
        mov     [cs:handle_asked], bx
        mov     byte [cs:handle_is_console], 0
        own_stack
        mov     ax, 4400h
        pushf
        call    far [cs:old_dos]
        jc      .leave
        and     dl, DEVICE_CONSOLE
        cmp     dl, DEVICE_CONSOLE
        jne     .leave
        mov     byte [cs:handle_is_console], 1
.leave:
        back_stack
        ret

; octet_quick: keep one octet, where that takes nothing but room in the buffer. Most octets come this way.
; Input: AL, interrupts off.  Output: CF=1 when console_take must see to it.  Destroys: nothing else.
octet_quick:
        push    bx
        mov     bx, [cs:console_used]
        cmp     bx, SCRATCH_SIZE
        cmc
        jc      .leave
        cmp     byte [cs:console_cut], 1
        cmc
        jc      .leave
        mov     [cs:scratch + bx], al
        inc     word [cs:console_used]
        add     word [cs:console_octets], 1
        adc     word [cs:console_octets + 2], 0
.leave:
        pop     bx
        ret

; hook_console: INT 29h, AL = character. The handler below goes on to INT 10h in most systems.
hook_console:
        unless_plain .pass
        cmp     byte [cs:printing], 0
        jne     .pass
        cli
        call    octet_quick
        jnc     .taken
        own_stack
        call    octet_taken
        back_stack
.taken:
        mov     byte [cs:console_busy], 1
        pushf
        call    far [cs:old_console]
        mov     byte [cs:console_busy], 0
        iret
.pass:
        jmp     far [cs:old_console]

; hook_video: INT 10h; AH=0Eh: AL = character.
hook_video:
        cmp     ah, 0Eh
        jne     .pass
        unless_plain .pass
        cmp     byte [cs:printing], 0
        jne     .pass
        cmp     byte [cs:console_busy], 0
        jne     .pass
        cli
        call    octet_quick
        jnc     .pass
        own_stack
        call    octet_taken
        back_stack
.pass:
        jmp     far [cs:old_video]

section .hookdata
hookdata_end:
section .hooks
