; Does the program wait for a key? Its calls of INT 16h, and what is looked at for those of INT 21h as well (hooks.asm).

POLLS_OF_A_WAIT         equ 64          ; an 8088 at 4.77 MHz polls some 200 times a tick when it does nothing else

section .hooks

; hook_keys: INT 16h.
hook_keys:
        test    ah, 0CEh                ; 00, 01, 10, 11, 20, 21?
        jnz     .pass
        test    byte [cs:gate], GATE_IDLE | GATE_BUSY
        jnz     .pass
        cmp     byte [cs:script_left], 0
        jne     .script
        unless_free .pass, .indos
.look:
        test    ah, 01h
        jnz     .poll
        call    wait_look
        jmp     short .looked
.poll:
        call    poll_look
.looked:
        jc      .met
.pass:
        jmp     far [cs:old_keys]
.script:                                ; for DOS's own calls too
        test    ah, 01h
        jz      .look
        cmp     byte [cs:script_now], 0
        je      .polled
        call    script_look
.polled:
        cmp     byte [cs:dos_polls], 0
        je      .look
        unless_free .pass, .indos_polls         ; the hook on INT 21h has counted it
        jmp     short .look
.met:
        work    wait_met
        jmp     .pass

; wait_look: does the program wait for a key when it asks for one now?
; Input: none, on the program's stack.  Output: CF=1 when it does.  Destroys: other flags.
wait_look:
        mov     byte [cs:wait_kept], 0  ; each of these is a wait of its own
        push    ds
        push    ax
        mov     ax, BIOS_DATA
        mov     ds, ax
        mov     ax, [BDA_KEYS_HEAD]
        cmp     ax, [BDA_KEYS_TAIL]
        pop     ax
        pop     ds
        stc
        je      .leave
        clc
.leave:
        ret

; poll_look: does the program do nothing but poll the keyboard?
; Input: none, on the program's stack.  Output: CF=1 when it does, once a tick.  Destroys: other flags.
poll_look:
        push    ds
        push    ax
        mov     ax, BIOS_DATA
        mov     ds, ax
        mov     ax, [BDA_TICKS]
        cmp     ax, [cs:poll_tick]
        jne     .new_tick
        mov     ax, [BDA_KEYS_HEAD]
        cmp     ax, [BDA_KEYS_TAIL]
        jne     .key
        pop     ax
        pop     ds
        dec     word [cs:polls_left]    ; CF=0 so far
        jz      .wait
        ret
.wait:
        stc
        ret
.key:
        mov     byte [cs:wait_kept], 0
.new_tick:
        mov     [cs:poll_tick], ax      ; after a key this is no tick: the count begins again
        mov     word [cs:polls_left], POLLS_OF_A_WAIT
        pop     ax
        pop     ds
        clc
        ret
