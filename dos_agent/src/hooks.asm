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
;       INT 21h 06 (DL=FF), 0B, 4406 (STDIN), INT 16h 01 11 21  the POLLS_OF_A_WAIT'th poll in vain within one tick
;
; each of the program's own: what DOS asks the keyboard for is DOS's affair. A poll by DOS is counted where the program makes
; it, and what DOS asks INT 16h for it (twice or more, or not at all) takes the short way through. One screen a wait: a
; wait that polls is over when a key has come or something was printed.
;
; What is kept is what was asked for: an octet goes into the buffer before DOS prints it, but a write (40) is taken after it,
; for DOS says then how much of it was written. Flags come back as the service leaves them: those of 02, 06 and 09 are the
; caller's own.
;
; One octet (gate) says what a hook may do; nearly every call needs to look at that alone, and at InDOS. A single octet is kept
; where the call came from; all else works on our own stack (hook_stack), and while that is in use all calls pass.
; On the program's stack a hook needs at most 8 octets while the call below is under way, 10 otherwise.
; Once the agent is gone and these hooks had to stay, the gate says GATE_IDLE and all they do is pass.

CONSOLE_HIGH            equ SCRATCH_SIZE * 3 / 4        ; from here on the buffer goes to the record at the next call
HANDLE_UNKNOWN          equ 0FFFFh
DEVICE_CONSOLE          equ 82h         ; INT 21h AX=4400h: a device, and the console for output
DEVICE_KEYS             equ 81h         ; a device, and the console for input

GATE_IDLE               equ 01h         ; no program runs
GATE_BUSY               equ 02h         ; hook_stack is in use
GATE_PRINTING           equ 04h         ; a printing INT 21h is under way
GATE_CONSOLE            equ 08h         ; an INT 29h that was taken is under way
GATE_WORK               equ 10h         ; something waits to be written when DOS is free
GATE_SHUT               equ GATE_IDLE | GATE_BUSY
GATE_NESTED             equ GATE_SHUT | GATE_PRINTING | GATE_CONSOLE
INDOS_OPERAND           equ 2           ; octets into CMP [offset], 0: the offset

section .hookdata
old_dos:                dd 0
old_video:              dd 0
old_console:            dd 0
old_keys:               dd 0
indos_at:               dd 0
own_segment:            dw 0
caller_stack:           dd 0            ; SP, SS
hook_work:              dw 0            ; routine for on_own_stack
handle_asked:           dw HANDLE_UNKNOWN
console_used:           dw 0            ; octets in the console buffer (scratch)
console_quick:          dw 0            ; up to here an octet is kept without further thought
console_limit:          dw SCRATCH_SIZE ; where it ends: a screen that waits to be written may lie behind
screen_waits:           dw 0            ; octets of that screen
bios_data:              dw BIOS_DATA
gate:                   db GATE_IDLE
dos_polls_left:         dw 0            ; as polls_left, for polls by DOS; 0: the last wait was none. Right behind the gate,
                                        ; for hook_keys looks at its low octet with it; one more 0 there does no harm
handle_device:          db 0            ; of handle_asked: DEVICE_*
polls_left:             dw 0            ; polls in vain within a tick that make a wait
poll_mark:                              ; what is as it was at the last poll as long as there is neither key nor tick:
poll_tail:              db 0            ; where the keyboard's buffer ended when it was empty
poll_tick:              db 0
print_octet:            db 0
wait_kept:              db 0            ; 1: the screen of this wait has been looked at
hooked_dos:             db 0            ; 1 while our hook is in the chain of INT 21h
hooks_stay:             db 0            ; 1 when a resident program sits on our hooks

section .hooks

; work: call a routine on our own stack.
%macro work 1
        cli
        mov     word [cs:hook_work], %1
        call    on_own_stack
%endmacro

; call_below: call the handler below with a bit of the gate set, and return to the caller.
%macro call_below 2
        or      byte [cs:gate], %1
        pushf
        call    far [cs:%2]
        and     byte [cs:gate], ~%1 & 0FFh
        iret
%endmacro

; on_own_stack: call [hook_work] with ES = SS = our segment, DS as it was, DF = 0, interrupts off.
; The routine may turn them on, and may destroy all but SS, SP.
; Input: interrupts off, all registers for the routine.  Output: interrupts off.  Destroys: flags.
on_own_stack:
        or      byte [cs:gate], GATE_BUSY
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
        call    [cs:hook_work]
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
        and     byte [cs:gate], ~GATE_BUSY & 0FFh
        ret

section .startdata
indos_operands:                         ; where hooks_learn puts the offset of InDOS
section .hooks

; dos_looked_at: NZ when DOS is at work. DS is on the stack then, InDOS's segment in it.
%macro dos_looked_at 0
        push    ds
        mov     ds, [cs:indos_at + 2]
%%look:
        cmp     byte [word 0], 0
section .startdata
        dw      %%look + INDOS_OPERAND
section .hooks
%endmacro

; unless_free: jump when DOS is at work.
%macro unless_free 1
        dos_looked_at
        pop     ds
        jne     %1
%endmacro

; keep_quickly: keep an octet where that takes nothing but room.
; %1 = register with it; %2 = where to go when it takes more, BX on the stack.
%macro keep_quickly 2
        push    bx
        mov     bx, [cs:console_used]
        cmp     bx, [cs:console_quick]
        jae     %2
        mov     [cs:scratch + bx], %1
        inc     word [cs:console_used]
        pop     bx
%endmacro

; poll_quickly: a poll of the program's own, DS on the stack; goes on to the old handler.
; %1 = polls that are left of such; %2 = the old handler.
%macro poll_quickly 2
        push    ax
        mov     ds, [cs:bios_data]
        mov     al, [BDA_KEYS_TAIL]
        mov     ah, [BDA_TICKS]
        cmp     ax, [cs:poll_mark]
        jne     %%further
        dec     word [cs:%1]
        jz      %%further
%%pass:
        pop     ax
        pop     ds
        jmp     far [cs:%2]
%%further:
        mov     word [cs:%1], -1        ; no second wait within this tick
        call    poll_further
        jmp     short %%pass
%endmacro

; hook_dos: INT 21h.
;   not the program's own call           -> pass
;   something waits to be written        -> write it into the record, DOS is free
;   02, 06 (DL not FF), 09               -> take what it is to print, call DOS
;   40 (CON)                             -> call DOS, take what it wrote
;   all else                             -> pass
hook_dos:
        cmp     byte [cs:gate], 0
        jne     .gate
.open:
        cmp     ah, 02h
        je      .octet
        cmp     ah, 06h
        je      .direct
        cmp     ah, 0Bh
        je      .polls
        cmp     ah, 0Ch
        ja      .files
        cmp     ah, 07h
        jae     .console
        cmp     ah, 01h
        je      .console
.pass:
        jmp     far [cs:old_dos]

.direct:
        cmp     dl, 0FFh                ; that one reads a key, if there is one
        jne     .octet
.polls:
        dos_looked_at
        jne     .pass_with_ds
        poll_quickly dos_polls_left, old_dos
.pass_with_ds:
        pop     ds
        jmp     short .pass

.octet:
        unless_free .pass
        keep_quickly dl, .octet_more
.print:
        call_below GATE_PRINTING, old_dos
.octet_more:
        pop     bx
        work    octet_printed
        jmp     short .print
.string:
        work    string_printed
        jmp     short .print

.gate:
        test    byte [cs:gate], GATE_SHUT
        jnz     .pass
        unless_free .pass
        and     byte [cs:gate], GATE_WORK       ; an earlier call that is under way no more was ended by Ctrl-C
        jz      .again
        work    room_make
.again:
        jmp     .open

.files:
        cmp     ah, 3Ch
        jb      .pass
        cmp     ax, 4406h               ; is there a key to read?
        jne     .console
        test    bx, bx                  ; STDIN
        jz      .polls
.console:                               ; 01, 07 to 0A, 0C; 3C and above
        unless_free .pass
        mov     word [cs:dos_polls_left], 0
        cmp     ah, 40h
        je      .write
        cmp     ah, 09h
        je      .string
        cmp     ah, 0Ch
        jb      .wait
        je      .flushes
        cmp     ah, 3Fh
        je      .read
        cmp     ah, 42h
        je      .go_on
        mov     word [cs:handle_asked], HANDLE_UNKNOWN  ; a handle may become another file's
        jmp     short .go_on

.flushes:                               ; 0Ch: what was typed ahead is thrown away, then the function in AL
        cmp     al, 0Ah
        ja      .go_on
        test    al, al
        jz      .go_on
        mov     byte [cs:wait_kept], 0
        work    wait_keep               ; a key that is typed now would be thrown away
        jmp     short .go_on

.read:
        test    bx, bx                  ; STDIN
        jnz     .go_on
        call    handle_look
        mov     word [cs:handle_asked], HANDLE_UNKNOWN
        cmp     byte [cs:handle_device], DEVICE_KEYS
        jne     .go_on
.wait:
        call    wait_asked
.go_on:
        jmp     .pass

.write:
        cmp     bx, STDOUT
        je      .written
        cmp     bx, STDERR
        je      .written
        cmp     bx, [cs:handle_asked]
        je      .known
        call    handle_look
.known:
        cmp     byte [cs:handle_device], DEVICE_CONSOLE
        jne     .go_on
.written:
        or      byte [cs:gate], GATE_PRINTING
        push    bp
        mov     bp, sp                  ; [bp] BP, [bp+2] IP, CS, flags
        push    word [bp + 6]
        mov     bp, [bp]
        call    far [cs:old_dos]
        mov     bp, sp
        pushf
        pop     word [bp + 6]           ; to the caller as DOS leaves them
        pop     bp
        jc      .unwritten
        work    write_taken
.unwritten:
        and     byte [cs:gate], ~GATE_PRINTING & 0FFh
        iret

; handle_look: does a handle of the program stand for CON?
; Input: BX = handle, AH = function, on the program's stack.  Output: [handle_device], [handle_asked].
; Destroys: flags.
handle_look:
        mov     [cs:handle_asked], bx
        mov     byte [cs:handle_device], 0
        work    handle_ask
        ret

; hook_console: INT 29h, AL = character. The handler below goes on to INT 10h in most systems.
hook_console:
        test    byte [cs:gate], GATE_NESTED
        jnz     .pass
        unless_free .pass
        keep_quickly al, .more
.show:
        call_below GATE_CONSOLE, old_console
.more:
        pop     bx
        work    octet_shown
        jmp     short .show
.pass:
        jmp     far [cs:old_console]

; hook_video: INT 10h; AH=0Eh: AL = character; AH=00h, AX=4F02h: a mode is set.
hook_video:
        cmp     ah, 0Eh
        jne     .other
        test    byte [cs:gate], GATE_NESTED
        jnz     .pass
        unless_free .pass
        keep_quickly al, .more
.pass:
        jmp     far [cs:old_video]
.more:
        pop     bx
        work    octet_shown
        jmp     short .pass
.other:
        test    ah, ah
        jz      .mode
        cmp     ax, 4F02h
        jne     .pass
.mode:
        test    byte [cs:gate], GATE_SHUT
        jnz     .pass
        work    mode_keep
        jmp     short .pass
