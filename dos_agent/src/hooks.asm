; The hooks on INT 21h, INT 29h and INT 10h: what the program prints is copied as it goes by; and those on INT 10h,
; INT 16h and INT 21h at moments when the screen is kept.
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
; The screen is kept before a mode is set (INT 10h 00, 4F02), and when the program begins to wait for a key:
;
;       INT 21h 01 07 08 0A 0C 3F (CON), INT 16h 00 10 20       with nothing in the keyboard buffer
;       INT 21h 06 (DL=FF), 0B, INT 16h 01 11 21                the POLLS_OF_A_WAIT'th poll in vain within one tick
;
; each of the program's own: what DOS asks the keyboard for is DOS's affair. One screen a wait: a wait that polls is over
; when a key has come or something was printed.
;
; Every hook works on our own stack (hook_stack); while it is in use (hook_busy) all calls pass straight through.
; Only keeping a single octet, and passing on, is done where the call came from.
; On the program's stack a hook needs at most 10 octets while the call below is under way (two words and its
; frame), 14 after it.
; Once the agent is gone and these hooks had to stay, program_active is 0 and all they do is pass.

CONSOLE_HIGH            equ SCRATCH_SIZE * 3 / 4        ; from here on the buffer goes to the record at the next call
HANDLE_UNKNOWN          equ 0FFFFh
DEVICE_CONSOLE          equ 82h         ; INT 21h AX=4400h: a device, and the console for output
DEVICE_KEYS             equ 81h         ; a device, and the console for input
FLAG_CARRY              equ 1

section .hookdata
old_dos:                dd 0
old_video:              dd 0
old_console:            dd 0
old_keys:               dd 0
indos_at:               dd 0
own_segment:            dw 0
caller_stack:           dd 0            ; SP, SS
print_flags:            dw 0
handle_asked:           dw HANDLE_UNKNOWN
console_used:           dw 0            ; octets in the console buffer (scratch)
console_limit:          dw SCRATCH_SIZE ; where it ends: a screen that waits to be written may lie behind
screen_waits:           dw 0            ; octets of that screen
poll_tick:              dw 0            ; tick of the last poll in vain
poll_count:             dw 0            ; polls in vain within it
handle_device:          db 0            ; of handle_asked: DEVICE_*
print_function:         db 0
print_octet:            db 0
program_active:         db 0            ; 1 while the program runs
hook_busy:              db 0            ; 1 while hook_stack is in use
printing:               db 0            ; 1 while a printing INT 21h is under way
dos_polls:              db 0            ; 1: the program polls by way of DOS
wait_kept:              db 0            ; 1: the screen of this wait has been looked at
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
        cmp     word [cs:screen_waits], 0
        jne     .make_room
        cmp     byte [cs:picture_waits], 0
        jne     .make_room
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
        jb      .other
        cmp     ah, 3Fh
        je      .read
        cmp     ah, 42h
        je      .pass
        mov     word [cs:handle_asked], HANDLE_UNKNOWN
.pass:
        jmp     far [cs:old_dos]

.other:
        cmp     ah, 0Ch
        ja      .pass
        je      .flushes
        cmp     ah, 01h
        je      .wait
        cmp     ah, 07h
        jb      .pass
        cmp     ah, 0Bh
        je      .polls
        jmp     short .wait             ; 07, 08, 0A

.flushes:                               ; 0Ch: what was typed ahead is thrown away, then the function in AL
        cmp     al, 0Ah
        ja      .pass
        test    al, al
        jz      .pass
        mov     byte [cs:wait_kept], 0
        own_stack
        call    wait_keep               ; a key that is typed now would be thrown away
        back_stack
        jmp     .pass

.read:
        test    bx, bx                  ; STDIN
        jnz     .pass
        call    handle_ask
        mov     word [cs:handle_asked], HANDLE_UNKNOWN
        cmp     byte [cs:handle_device], DEVICE_KEYS
        jne     .pass
.wait:
        mov     byte [cs:dos_polls], 0
        call    wait_look
        jnc     .pass
.keep:
        own_stack
        call    wait_met
        back_stack
        jmp     .pass

.direct:
        cmp     dl, 0FFh                ; that one reads a key, if there is one
        jne     .print
.polls:
        mov     byte [cs:dos_polls], 1
        call    poll_look
        jnc     .pass
        jmp     short .keep

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
        cmp     byte [cs:handle_device], DEVICE_CONSOLE
        jne     .pass

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
; Input: BX = handle, AH = function, on the program's stack.  Output: [handle_device], [handle_asked].
; Destroys: flags.
handle_ask:
        mov     [cs:handle_asked], bx
        mov     byte [cs:handle_device], 0
        own_stack
        mov     cl, DEVICE_CONSOLE
        cmp     ah, 40h
        je      .ask
        mov     cl, DEVICE_KEYS
.ask:
        mov     ax, 4400h
        pushf
        call    far [cs:old_dos]
        jc      .leave
        and     dl, cl
        mov     [cs:handle_device], dl
.leave:
        back_stack
        ret

; octet_quick: keep one octet, where that takes nothing but room in the buffer. Most octets come this way.
; Input: AL, interrupts off.  Output: CF=1 when console_take must see to it.  Destroys: nothing else.
octet_quick:
        push    bx
        mov     bx, [cs:console_used]
        cmp     bx, [cs:console_limit]
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

; hook_video: INT 10h; AH=0Eh: AL = character; AH=00h, AX=4F02h: a mode is set.
hook_video:
        cmp     ah, 0Eh
        jne     .other
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
.other:
        test    ah, ah
        jz      .mode
        cmp     ax, 4F02h
        jne     .pass
.mode:
        cmp     byte [cs:program_active], 0
        je      .pass
        cmp     byte [cs:hook_busy], 0
        jne     .pass
        own_stack
        mov     al, MOMENT_MODE_SET
        call    screen_keep
        back_stack
        jmp     short .pass

