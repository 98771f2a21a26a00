; The staircase: blocks from 1 KB on, four sizes an octave, each read around and around in reads that depend on one
; another. How a block is linked and read is another file's affair (chain.asm); here is how long and how often.
;
; After Saavedra and Smith, IEEE Transactions on Computers 44(10), 1995: with a stride of a cache line or more, a block
; that fits a cache takes the time of that cache, and one that does not takes the time of what lies behind it.

STRIDE                  equ 64          ; octets; as long as a line of any cache up to the early Pentium's, or longer
VISIT_TURNS             equ 16          ; a visit is so many turns of 64 reads: 64 KB in steps of STRIDE
TURN_READS              equ 64
VISIT_NODES             equ VISIT_TURNS * TURN_READS
PASSES                  equ 5
PASS_LEAST              equ 2400        ; counts that a pass takes at least: 2 ms
DOUBLINGS_MOST          equ 11
SHIFT_MOST              equ 11          ; the last octave begins at 1 KB << 11
POINTS_MOST             equ 49
%if SCRATCH_SIZE < L_probe_memory_size + 1 + POINTS_MOST * L_memory_point_size
%error scratch does not hold a staircase
%endif
%if L_memory_point.maximum != L_memory_point.minimum + 4 * (PASSES - 1)
%error the passes of a point must follow one another
%endif

section .data
        align   2
stair_sizes:            dw 16, 19, 23, 27       ; nodes, and so KB / 16: an octave in four steps, rounded
stair_sizes_end:

section .bss
        alignb  2
stair_link:             resw 1                  ; routine that links [stair_nodes] nodes; gives stair_round, round_reads
stair_burst:            resw 1                  ; likewise, that makes AX visits; gives AX = the timer's counts
stair_most:             resw 1                  ; nodes that there is room for
stair_nodes:            resw 1                  ; in this block
stair_round:            resw 1                  ; visits once around the block
stair_round_reads:      resw 1                  ; reads of those
stair_visits:           resw 1                  ; in a burst, which goes without interrupts
stair_bursts:           resw 1                  ; in a pass
stair_points:           resb 1
stair_shift:            resb 1
stair_doublings:        resb 1

section .text

; stairs_begin: the beginning of a staircase's section.
; Input: AL = MEMORY_REGION_*, AH = octets a read.  Output: as probe_timer.  Destroys: AX, BX, CX, DX, DI.
stairs_begin:
        push    ax
        mov     cx, L_probe_memory_size + 1
        call    scratch_clear
        pop     ax
        mov     [scratch + L_probe_memory.region], al
        mov     [scratch + L_probe_memory.read_octets], ah
        jmp     probe_timer

; stairs_finish: the rest of a staircase's section.
; Input: DI behind the last point, [stair_points].  Output: CX = octets of the section.  Destroys: AX, SI, DI.
stairs_finish:
        push    di
        mov     al, [stair_points]
        mov     [scratch + L_probe_memory_size], al
        lea     si, [di - L_memory_point_size]
        mov     di, scratch + L_probe_memory.largest
        mov     cx, L_memory_point_size
        rep     movsb
        mov     si, scratch + L_probe_memory_size + 1
        mov     di, scratch + L_probe_memory.smallest
        mov     cx, L_memory_point_size
        rep     movsb
        mov     word [scratch + L_probe_memory.stride], STRIDE
        mov     byte [scratch + L_probe_memory.passes], PASSES
        mov     ax, [probe_overhead]
        mov     [scratch + L_probe_memory.overhead], ax
        pop     cx
        sub     cx, scratch
        ret

; stairs_none: a section without points.
; Input: [probe_problem].  Output: CX = octets of the section.  Destroys: AL.
stairs_none:
        mov     al, [probe_problem]
        mov     [scratch + L_probe_memory.problem], al
        mov     cx, L_probe_memory_size + 1
        ret

; stairs: measure all blocks.
; Input: [stair_link], [stair_burst], [stair_most].
; Output: DI behind the last point, [stair_points].  Destroys: AX, BX, CX, DX, SI.
stairs:
        mov     di, scratch + L_probe_memory_size + 1
        mov     word [stair_points], 0  ; and the shift
.octave:
        mov     si, stair_sizes
.size:
        lodsw
        mov     cl, [stair_shift]
        shl     ax, cl
        cmp     ax, [stair_most]
        ja      .last
        call    .point
        cmp     si, stair_sizes_end
        jb      .size
        inc     byte [stair_shift]
        cmp     byte [stair_shift], SHIFT_MOST
        jbe     .octave
        ret
.last:                                  ; all that there is, where that is an eighth more
        mov     dx, [stair_nodes]
        mov     cl, 3
        shr     dx, cl
        add     dx, [stair_nodes]
        mov     ax, [stair_most]
        cmp     ax, VISIT_NODES
        jbe     .fits
        and     ax, ~(TURN_READS - 1) & 0FFFFh
.fits:
        cmp     ax, dx
        jae     .point
        ret
.point:
        push    si
        mov     [stair_nodes], ax
        call    stair_point
        pop     si
        ret

; stair_point: measure one block.
; Input: [stair_nodes], DI = where the point goes.  Output: DI behind it.  Destroys: AX, BX, CX, DX, SI.
stair_point:
        call    [stair_link]
        mov     byte [stair_doublings], 0
        mov     word [stair_visits], 1
        mov     ax, [stair_round]
        mov     [stair_bursts], ax
        call    stair_pass              ; once around brings it into whatever there is
        cmp     word [stair_round], 1
        je      .whole
        call    .long_enough
        jae     .time
.whole:                                 ; a pass is one burst
        mov     ax, [stair_round]
        mov     [stair_visits], ax
        mov     word [stair_bursts], 1
.double:
        call    stair_pass
        call    .long_enough
        jae     .time
        cmp     byte [stair_doublings], DOUBLINGS_MOST
        je      .time
        shl     word [stair_visits], 1
        inc     byte [stair_doublings]
        jmp     short .double
.time:
        mov     ax, [stair_nodes]
        mov     cx, STRIDE
        mul     cx
        mov     [di + L_memory_point.octets], ax
        mov     [di + L_memory_point.octets + 2], dx
        mov     ax, [stair_round_reads]
        xor     dx, dx
        mov     cl, [stair_doublings]
        xor     ch, ch
        jcxz    .reads
.shift:
        shl     ax, 1
        rcl     dx, 1
        loop    .shift
.reads:
        mov     [di + L_memory_point.reads], ax
        mov     [di + L_memory_point.reads + 2], dx
        mov     si, L_memory_point.minimum
.pass:
        push    si
        call    stair_pass
        pop     si
        mov     bx, si
        mov     [bx + di], ax
        mov     [bx + di + 2], dx
        add     si, 4
        cmp     si, L_memory_point.maximum
        jbe     .pass
        call    sort_times
        inc     byte [stair_points]
        add     di, L_memory_point_size
        ret
.long_enough:                           ; CF=0 when DX:AX is
        test    dx, dx
        jnz     .leave                  ; CF=0
        cmp     ax, PASS_LEAST
.leave:
        ret

; stair_pass: one pass.
; Input: [stair_bursts], [stair_visits].  Output: DX:AX = counts.  Destroys: BX, CX, SI.
stair_pass:
        mov     cx, [stair_bursts]
        xor     bx, bx
        xor     dx, dx
.burst:
        push    bx
        push    cx
        push    dx
        mov     ax, [stair_visits]
        pushf
        cli
        call    [stair_burst]
        popf
        mov     cl, [timer_shift]
        shr     ax, cl
        pop     dx
        pop     cx
        pop     bx
        sub     ax, [probe_overhead]
        jnc     .add
        xor     ax, ax
.add:
        add     bx, ax
        adc     dx, 0
        loop    .burst
        mov     ax, bx
        ret

; sort_times: put the times of a point in order.
; Input: DI = point.  Output: minimum to maximum.  Destroys: AX, BX, CX, DX.
sort_times:
        mov     cx, PASSES - 1          ; each round moves the longest of the rest to its end
.round:
        push    cx
        lea     bx, [di + L_memory_point.minimum]
.pair:
        mov     ax, [bx]
        mov     dx, [bx + 2]
        cmp     [bx + 6], dx
        ja      .ordered
        jb      .swap
        cmp     [bx + 4], ax
        jae     .ordered
.swap:
        xchg    ax, [bx + 4]
        xchg    dx, [bx + 6]
        mov     [bx], ax
        mov     [bx + 2], dx
.ordered:
        add     bx, 4
        loop    .pair
        pop     cx
        loop    .round
        ret
