; Vectors: putting the hooks in and taking them out, the agent's own handlers, and vectors that dangle.

section .staydata
        align   2
; vectors that are hooked: vector, our handler, where the old one is kept
hook_table:             db VECTOR_DOS
                        dw hook_dos, old_dos
                        db VECTOR_CONSOLE
                        dw hook_console, old_console
                        db VECTOR_VIDEO
                        dw hook_video, old_video
                        db VECTOR_KEYS
                        dw hook_keys, old_keys
                        db VECTOR_KEYBOARD
                        dw hook_keyboard, old_keyboard
                        db VECTOR_DIVIDE
                        dw hook_divide, old_division
hook_table_tick:        db VECTOR_TICK                  ; where a reset was asked for, or keys are typed
                        dw hook_tick, old_tick
hook_table_end:
HOOK_ENTRY              equ 5

section .staybss
        alignb  2
hooks_left:             resb 7                          ; by hook_table: 1 when it is in the chain and must stay
critical_seen:          resb 1                          ; 1 + code of the last critical error of our own calls

section .start

; hooks_learn: what the hooks must know.
; Input: none.  Output: [indos_at], [own_segment].  Destroys: AX, BX, SI.
hooks_learn:
        mov     [own_segment], cs
        push    es
        mov     ah, 34h
        int     21h
        mov     [indos_at], bx
        mov     [indos_at + 2], es
        pop     es
        mov     si, indos_operands
.next:
        lodsw
        xchg    ax, bx
        mov     [bx], ax
        xchg    ax, bx
        cmp     si, indos_operands_end
        jb      .next
        ret

section .stay

; hooks_set: put our handlers into the chains, those that are not there from an earlier repeat.
; Input: [hooks_left].  Output: old_*.  Destroys: AX, BX, CX, DX, SI, DI.
hooks_set:
        mov     si, hook_table
        mov     di, hooks_left
.next:
        cmp     byte [di], 0
        jne     .there
        push    es
        mov     al, [si]
        mov     ah, 35h
        call    dos
        mov     cx, si
        mov     si, [si + 3]
        mov     [si], bx
        mov     [si + 2], es
        mov     si, cx
        pop     es
        mov     dx, [si + 1]
        mov     al, [si]
        mov     ah, 25h
        call    dos
        cmp     byte [si], VECTOR_DOS
        jne     .there
        mov     byte [hooked_dos], 1
.there:
        inc     di
        add     si, HOOK_ENTRY
        call    hook_table_over
        jb      .next
        ret

; hooks_clear: take our handlers out again. One that another handler sits on must stay in the chain, unless
; that one's memory was given back: then it is gone, and the old handler comes back.
; Input: none.  Output: [hooks_left], [hooks_stay], flag HOOKS_LEFT.  Destroys: AX, BX, CX, DX, SI, DI.
hooks_clear:
        mov     si, hook_table
        mov     di, hooks_left
.next:
        mov     al, [si]
        mov     ah, 35h
        push    es
        call    dos
        mov     dx, es
        pop     es
        mov     cx, cs
        cmp     dx, cx
        jne     .others
        cmp     bx, [si + 1]
        je      .ours
.others:
        mov     ax, bx
        call    memory_is_free
        jc      .ours
        mov     byte [di], 1
        mov     byte [hooks_stay], 1
        or      byte [run_end_part + L_run_end.flags], RUN_END_FLAGS_HOOKS_LEFT
        jmp     short .after
.ours:
        mov     byte [di], 0
        mov     bx, [si + 3]
        mov     al, [si]
        mov     ah, 25h
        push    ds
        lds     dx, [bx]
        call    dos
        pop     ds
        cmp     byte [si], VECTOR_DOS
        jne     .after
        mov     byte [hooked_dos], 0
.after:
        inc     di
        add     si, HOOK_ENTRY
        call    hook_table_over
        jb      .next
        ret

; hook_table_over: is this the end of the vectors that are hooked?
; Input: SI = where in hook_table.  Output: CF=0 when it is.  Destroys: nothing.
hook_table_over:
        cmp     byte [option_reset], 0
        jne     .all
        cmp     word [script_elements], 0
        jne     .all
        cmp     si, hook_table_tick
        ret
.all:
        cmp     si, hook_table_end
        ret

; memory_is_free: does an address lie in memory that DOS has free?
; Input: DX:AX = segment, offset.  Output: CF=1 when it does.  Destroys: AX, BX, CX, DX.
memory_is_free:
        push    es
        mov     cl, 4
        shr     ax, cl
        add     dx, ax                  ; DX = its paragraph
        jc      .no
        mov     ah, 52h
        call    dos
        mov     ax, [es:bx - 2]         ; the first block's header
.block:
        mov     es, ax
        mov     bl, [es:0]
        cmp     bl, MCB_LAST
        je      .block_there
        cmp     bl, 'M'
        jne     .no
.block_there:
        cmp     dx, ax                  ; below this block: in none
        jb      .no
        add     ax, [es:3]
        jc      .no
        cmp     dx, ax
        jbe     .inside
        cmp     bl, MCB_LAST
        je      .no
        inc     ax
        jmp     short .block
.inside:
        cmp     word [es:1], 0
        jne     .no
        pop     es
        stc
        ret
.no:
        pop     es
        clc
        ret

; ctrl_c_handler: INT 23h. The program is ended, and that is noted; the agent itself goes on.
ctrl_c_handler:
        test    byte [cs:gate], GATE_IDLE
        jz      .program
        cmp     byte [cs:overlay_there], 0
        je      .leave
        mov     byte [cs:ctrl_c_seen], 1        ; the line looks at it
.leave:
        iret
.program:
        mov     byte [cs:program_broken], 1
        stc
        retf                            ; with the flags left on the stack: DOS ends the program

; critical_handler: INT 24h of the agent: the call fails, the agent says so in its own words.
; Input: DI = what is wrong.  Output: AL, [critical_seen].
critical_handler:
        mov     ax, di
        inc     ax
        mov     [cs:critical_seen], al
        mov     al, CRITICAL_FAIL
        iret
