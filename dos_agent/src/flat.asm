; The staircase beyond 1 MB: on a 386 or later in real mode, in a block that an XMS manager gave and locked, with the A20
; line that it opened. Without a manager nobody says which of that memory is free: then it is left alone. Under a
; monitor (virtual-8086 mode) the way there is barred.
;
; Data segments of 4 GB ("unreal mode"): the processor goes to protected mode for the few instructions that load DS, and
; comes back; interrupts are off from there until DS has its 64 KB again. Whatever DS held, and the table of descriptors
; that was in use, are put back.

XMS_A20_ON              equ 05h         ; for this program alone
XMS_A20_OFF             equ 06h
XMS_ALLOCATE            equ 09h         ; DX = KB; DX = handle
XMS_FREE                equ 0Ah
XMS_LOCK                equ 0Ch         ; DX:BX = linear address
XMS_UNLOCK              equ 0Dh
FLAT_LEAST_KB           equ 64
FLAT_MOST_KB            equ 27 << SHIFT_MOST >> 4       ; the last point
FLAT_SELECTOR           equ 08h
REAL_SELECTOR           equ 10h

section .data
        align   4
flat_table:             dq 0
                        dw 0FFFFh, 0, 9200h, 00CFh      ; base 0, 4 GB, data
                        dw 0FFFFh, 0, 9200h, 0000h      ; as in real mode
flat_table_end:

section .bss
        alignb  4
flat_base:              resd 1                          ; linear address of the first node
flat_at:                resd 1                          ; node to read next
flat_register:          resb 6                          ; for LGDT
flat_found:             resb 6                          ; as it was
flat_handle:            resw 1
flat_linked:            resw 1                          ; nodes

section .text

; probe_extended: the staircase beyond 1 MB.
; Input: a snapshot was taken ([processor_known], [xms_entry]).
; Output: CX = octets of the section probe_extended in scratch; [probe_problem].  Destroys: all but SP.
probe_extended:
        mov     ax, MEMORY_REGION_EXTENDED | 4 << 8
        call    stairs_begin
        jc      .none
        mov     al, PROBE_PROBLEM_BEFORE_386
        cmp     byte [processor_known], PROCESSOR_I80386
        jb      .problem
        call    status_word
        test    al, MSW_PROTECTED
        mov     al, PROBE_PROBLEM_V86
        jnz     .problem
        mov     al, PROBE_PROBLEM_NO_XMS
        cmp     word [xms_entry + 2], 0
        je      .problem
        mov     ah, XMS_QUERY_FREE
        call    xms_call                ; AX = KB of the largest block
        cmp     ax, FLAT_MOST_KB
        jbe     .size
        mov     ax, FLAT_MOST_KB
.size:
        cmp     ax, FLAT_LEAST_KB
        jb      .no_block
        push    ax
        mov     dx, ax
        mov     ah, XMS_ALLOCATE
        call    xms_call
        pop     cx
        dec     ax
        jnz     .no_block
        mov     [flat_handle], dx
        mov     ax, cx
        mov     cl, 4
        shl     ax, cl
        mov     [stair_most], ax        ; 16 nodes a KB
        mov     ah, XMS_A20_ON
        call    xms_call
        dec     ax
        jnz     .no_a20
        mov     ah, XMS_QUERY_A20
        call    xms_call
        dec     ax
        jnz     .a20_off
        mov     dx, [flat_handle]
        mov     ah, XMS_LOCK
        call    xms_call
        dec     ax
        jnz     .no_lock
        mov     [flat_base], bx
        mov     [flat_base + 2], dx
        mov     [scratch + L_probe_memory.base], bx
        mov     [scratch + L_probe_memory.base + 2], dx
        mov     word [flat_linked], 0
        mov     word [stair_link], flat_link
        mov     word [stair_burst], flat_burst
        call    stairs
        push    di
        mov     dx, [flat_handle]
        mov     ah, XMS_UNLOCK
        call    xms_call
        call    .give_back
        pop     di
        jmp     stairs_finish
.no_lock:
        call    .give_back
.no_block:
        mov     al, PROBE_PROBLEM_NO_BLOCK
        jmp     short .problem
.a20_off:
        call    .give_back
        jmp     short .closed
.no_a20:
        call    .free
.closed:
        mov     al, PROBE_PROBLEM_NO_A20
.problem:
        mov     [probe_problem], al
.none:
        jmp     stairs_none
.give_back:
        mov     ah, XMS_A20_OFF
        call    xms_call
.free:
        mov     dx, [flat_handle]
        mov     ah, XMS_FREE
        jmp     xms_call

        cpu     386
guarded_flat_begin:

; flat_enter: give DS 4 GB from address 0 on.
; Input: interrupts off, DS = CS.  Output: DS = 0.  Destroys: AX, BX, the upper half of EAX.
flat_enter:
        o32 sgdt [flat_found]
        mov     word [flat_register], flat_table_end - flat_table - 1
        xor     eax, eax
        mov     ax, cs
        shl     eax, 4
        add     eax, flat_table
        mov     [flat_register + 2], eax
        lgdt    [flat_register]
        mov     bx, FLAT_SELECTOR
        call    flat_load
        xor     bx, bx
        mov     ds, bx
        ret

; flat_leave: give DS its 64 KB again.
; Input: interrupts off.  Output: DS = CS.  Destroys: AX, BX, the upper half of EAX.
flat_leave:
        mov     bx, REAL_SELECTOR
        call    flat_load
        push    cs
        pop     ds
        o32 lgdt [flat_found]
        ret

; flat_load: load a descriptor into DS.
; Input: BX = selector.  Output: none.  Destroys: EAX.
flat_load:
        mov     eax, cr0
        or      al, MSW_PROTECTED
        mov     cr0, eax
        jmp     short $+2               ; what was fetched before goes
        mov     ds, bx
        and     al, ~MSW_PROTECTED & 0FFh
        mov     cr0, eax
        jmp     short $+2
        ret

; flat_link: link the nodes of a block; each holds the linear address of the next.
; Input: [stair_nodes], no fewer than the last time.  Output: [stair_round], [stair_round_reads].
; Destroys: AX, BX, CX, DX, SI.
flat_link:
        push    eax
        push    ebx
        push    ecx
        push    edx
        mov     ax, [stair_nodes]
        mov     dx, ax
        add     ax, VISIT_NODES - 1
        shr     ax, 10
        mov     [stair_round], ax
        shl     ax, 10
        mov     [stair_round_reads], ax
        movzx   ecx, word [flat_linked]
        test    cx, cx
        jz      .first
        dec     cx                      ; the last one points back to the first
.first:
        mov     [flat_linked], dx
        mov     ebx, ecx
        shl     ebx, 6
        sub     dx, cx
        mov     cx, dx
        mov     edx, [flat_base]
        mov     [flat_at], edx
        add     ebx, edx
        pushf
        cli
        push    ebx
        call    flat_enter
        pop     ebx
.node:
        lea     eax, [ebx + STRIDE]
        mov     [ebx], eax
        mov     ebx, eax
        loop    .node
        mov     [ebx - STRIDE], edx
        call    flat_leave
        popf
        pop     edx
        pop     ecx
        pop     ebx
        pop     eax
        ret

; flat_burst: make visits, and time them.
; Input: AX = visits, interrupts off.  Output: AX = counts.  Destroys: BX, CX, DX, SI.
flat_burst:
        push    ebp
        push    edi
        push    eax
        mov     bp, ax
        mov     esi, [flat_at]
        call    flat_enter
        call    pit_count
        mov     di, ax
        mov     eax, esi
.visit:
        mov     cx, VISIT_TURNS
.turn:
%rep TURN_READS
        mov     eax, [eax]
%endrep
        dec     cx
        jnz     .turn
        dec     bp
        jnz     .visit
        mov     esi, eax
        call    pit_count
        sub     di, ax
        call    flat_leave
        mov     [flat_at], esi
        pop     eax
        mov     ax, di
        pop     edi
        pop     ebp
        ret
guarded_flat_end:
        cpu     8086
