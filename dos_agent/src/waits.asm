; Does the program wait for a key? Its calls of INT 16h, and what is looked at for those of INT 21h as well (hooks.asm).

POLLS_OF_A_WAIT         equ 64          ; an 8088 at 4.77 MHz polls some 200 times a tick when it does nothing else

section .hooks

; hook_keys: INT 16h.
;   asked by DOS while it prints, or for a poll that the hook on INT 21h has counted      -> pass
;   asked by DOS otherwise                                                                -> look, for the script
;   asked by the program                                                                  -> look
hook_keys:
        test    word [cs:gate], GATE_SHUT | GATE_PRINTING | 0FF00h      ; and dos_polls_left
        jnz     .doubtful
.look:
        test    ah, 0CEh                ; 00, 01, 10, 11, 20, 21?
        jnz     .pass
        dos_looked_at
        jne     .by_dos
.looked_at:
        test    ah, 01h
        jz      .wait
        poll_quickly polls_left, old_keys
.doubtful:
        unless_free .pass
        test    byte [cs:gate], GATE_SHUT
        jz      .look
.pass:
        jmp     far [cs:old_keys]
.by_dos:
        cmp     byte [cs:script_left], 0
        jne     .looked_at
        pop     ds
        jmp     short .pass
.wait:
        pop     ds
        call    wait_asked
        jmp     short .pass

; wait_asked: the program asks for a key, and comes back with one only: where there is none, it waits.
; Input: none, on the program's stack.  Output: none.  Destroys: flags.
wait_asked:
        mov     byte [cs:wait_kept], 0  ; each of these is a wait of its own
        push    ds
        push    ax
        mov     ds, [cs:bios_data]
        mov     ax, [BDA_KEYS_HEAD]
        cmp     ax, [BDA_KEYS_TAIL]
        pop     ax
        pop     ds
        jne     .leave
        work    wait_met
.leave:
        ret

; poll_further: a poll after which something is new: the tick, the keyboard's buffer, or that it makes a wait.
; Input: AL = low octet of BDA_KEYS_TAIL, AH = that of BDA_TICKS, DS = BIOS_DATA, on the program's stack.
; Output: none.  Destroys: AX, flags.
poll_further:
        cmp     ax, [cs:poll_mark]
        je      .wait
        mov     word [cs:polls_left], POLLS_OF_A_WAIT - 1
        cmp     word [cs:dos_polls_left], 0
        je      .begun
        mov     word [cs:dos_polls_left], POLLS_OF_A_WAIT - 1
.begun:
        xchg    ah, [cs:poll_tick]
        cmp     al, [BDA_KEYS_HEAD]
        jne     .key
        xchg    al, [cs:poll_tail]
        cmp     al, [cs:poll_tail]
        je      .no_key
.key:                                   ; there, or gone again
        mov     byte [cs:wait_kept], 0
.no_key:
        cmp     ah, [cs:poll_tick]
        je      .leave
        cmp     byte [cs:script_now], 0
        je      .leave
        work    script_step             ; a text is waited for: once a tick it is looked for
.leave:
        ret
.wait:
        work    wait_met
        ret
