; The staircase in conventional memory, on any processor: all that DOS has free, read in words.
;
; Each 64 KB of the block are a ring of nodes, STRIDE octets apart; a node holds the offset of the next one. So each read
; must wait for the one before it. A block beyond 64 KB is several rings, gone through one after the other.

section .data
        align   2
section .bss
        alignb  2
CHAIN_RINGS_MOST        equ 11
chain_block:            resw 1                  ; segment, DOS's memory block
chain_base:             resw 1                  ; segment of the first node, a multiple of STRIDE
chain_full:             resw 1                  ; rings of 64 KB that are linked
chain_at:               resw 1                  ; node to read next
chain_visit:            resw 1                  ; visit to make next
chain_visits:           resw 2 * CHAIN_RINGS_MOST       ; segment, turns
chain_visits_end:       resw 1                  ; where they end

section .text

; probe_memory: the staircase in conventional memory.
; Input: [probe_at].  Output: CX = octets of the section probe_memory in scratch; [probe_problem].
; Destroys: all but SP.
probe_memory:
        mov     ax, MEMORY_REGION_CONVENTIONAL | 2 << 8
        call    stairs_begin
        jc      stairs_none
        mov     byte [probe_problem], PROBE_PROBLEM_NO_MEMORY
        mov     bx, 0FFFFh              ; more than there is: DOS tells the largest block
        mov     ah, 48h
        call    dos
        cmp     bx, 256                 ; 4 KB
        jb      stairs_none
        mov     ah, 48h
        call    dos
        jc      stairs_none
        mov     byte [probe_problem], PROBE_PROBLEM_NONE
        mov     [chain_block], ax
        mov     dx, ax
        add     ax, STRIDE / 16 - 1
        and     ax, ~(STRIDE / 16 - 1) & 0FFFFh
        mov     [chain_base], ax
        sub     dx, ax
        add     bx, dx                  ; BX = paragraphs from there on
        shr     bx, 1
        shr     bx, 1
        mov     [stair_most], bx
        mov     bx, ax
        xor     dx, dx
        mov     cx, 4
.linear:
        shl     ax, 1
        rcl     dx, 1
        loop    .linear
        mov     [scratch + L_probe_memory.base], ax
        mov     [scratch + L_probe_memory.base + 2], dx
        mov     word [chain_full], 0
        mov     word [stair_link], chain_link
        mov     word [stair_burst], chain_burst
        call    stairs
        push    di
        mov     ax, [chain_block]
        call    block_free
        pop     di
        jmp     stairs_finish

; chain_link: link the nodes of a block.
; Input: [stair_nodes], no fewer than the last time.  Output: [stair_round], [stair_round_reads], the visits.
; Destroys: AX, BX, CX, DX, SI.
chain_link:
        push    di
        push    es
        mov     ax, [stair_nodes]
        mov     dx, ax
        and     dx, VISIT_NODES - 1     ; DX = nodes of the last ring, when it is not a whole one
        mov     cl, 10
        shr     ax, cl                  ; AX = whole rings
        mov     si, chain_visits
        mov     bx, [chain_base]
        push    ax
        xor     cx, cx                  ; CX = ring
.whole:
        cmp     cx, ax
        je      .rest
        mov     [si], bx
        mov     word [si + 2], VISIT_TURNS
        add     si, 4
        cmp     cx, [chain_full]
        jb      .linked
        push    cx
        mov     cx, VISIT_NODES
        call    .ring
        pop     cx
.linked:
        add     bx, 1000h
        inc     cx
        jmp     short .whole
.rest:
        pop     cx                      ; CX = whole rings
        mov     [chain_full], cx
        test    dx, dx
        jz      .visits
        mov     word [si + 2], VISIT_TURNS
        jcxz    .small
        push    dx
        mov     cl, 6
        shr     dx, cl
        mov     [si + 2], dx            ; it has whole turns
        pop     dx
.small:
        mov     [si], bx
        add     si, 4
        mov     cx, dx
        call    .ring
.visits:
        mov     [chain_visits_end], si
        sub     si, chain_visits
        shr     si, 1
        shr     si, 1
        mov     [stair_round], si
        mov     ax, [stair_nodes]
        cmp     ax, VISIT_NODES
        jae     .reads
        mov     ax, VISIT_NODES         ; a small ring is read so often
.reads:
        mov     [stair_round_reads], ax
        mov     word [chain_at], 0
        mov     word [chain_visit], chain_visits
        pop     es
        pop     di
        ret
.ring:                                  ; BX = segment, CX = nodes
        push    ax
        mov     es, bx
        xor     di, di
.node:
        lea     ax, [di + STRIDE]
        mov     [es:di], ax
        mov     di, ax
        loop    .node
        mov     word [es:di - STRIDE], 0
        pop     ax
        ret

; chain_burst: make visits, and time them.
; Input: AX = visits, interrupts off.  Output: AX = counts.  Destroys: BX, CX, DX, SI.
chain_burst:
        push    di
        push    bp
        push    ds
        mov     bp, ax
        mov     bx, [chain_at]
        mov     si, [chain_visit]
        call    pit_count
        mov     di, ax
.visit:
        mov     ds, [cs:si]
        mov     cx, [cs:si + 2]
.turn:
%rep TURN_READS
        mov     bx, [bx]
%endrep
        dec     cx
        jz      .visited
        jmp     .turn
.visited:
        add     si, 4
        cmp     si, [cs:chain_visits_end]
        jb      .more
        mov     si, chain_visits
.more:
        dec     bp
        jz      .over
        jmp     .visit
.over:
        call    pit_count
        pop     ds
        sub     di, ax
        mov     ax, di
        mov     [chain_at], bx
        mov     [chain_visit], si
        pop     bp
        pop     di
        ret
