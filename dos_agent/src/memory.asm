; The snapshot's memory: what DOS has free, and what the BIOS says by INT 12h and INT 15h.

INT_MEMORY              equ 12h
SYSTEM_EXTENDED         equ 88h
SYSTEM_E801             equ 0E801h
MEMORY_UNTOLD           equ 0FFFFh

; memory_section: write the section memory.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI BP.
memory_section:
        call    free_paragraphs
        mov     [scratch + L_memory.free_paragraphs], ax
        int     INT_MEMORY
        mov     [scratch + L_memory.conventional_kb], ax
        call    extended_memory
        mov     [scratch + L_memory.extended_88_kb], ax
        call    large_memory
        mov     [scratch + L_memory.e801_low_kb], cx
        mov     [scratch + L_memory.e801_high_64kb], dx
        mov     al, TAG_MEMORY
        mov     cx, L_memory_size
        jmp     section_in_scratch

; extended_memory: ask INT 15h AH=88h.
; Input: none.  Output: AX = KB above 1 MB, or MEMORY_UNTOLD.  Destroys: BX.
;
; The first BIOS that has this call returns with the caller's carry, so that CF alone says nothing there: it goes in
; clear, and a BIOS that does nothing is found by the octet in AL that it leaves alone, twice.
extended_memory:
        mov     ax, SYSTEM_EXTENDED << 8
        call    .ask
        jc      .untold
        cmp     ax, SYSTEM_EXTENDED << 8
        jne     .told
        mov     ax, SYSTEM_EXTENDED << 8 | 55h
        call    .ask
        jc      .untold
        cmp     ax, SYSTEM_EXTENDED << 8 | 55h
        jne     .told
.untold:
        mov     ax, MEMORY_UNTOLD
.told:
        ret
.ask:
        push    es
        push    bp
        clc
        int     INT_SYSTEM
        pop     bp
        pop     es
        cld
        ret

; large_memory: ask INT 15h AX=E801h.
; Input: none.  Output: CX = KB from 1 to 16 MB, DX = blocks of 64 KB above, or both MEMORY_UNTOLD.
; Destroys: AX BX SI DI.
large_memory:
        push    es
        push    bp
        mov     ax, SYSTEM_E801
        xor     bx, bx
        xor     cx, cx
        xor     dx, dx
        stc                             ; a BIOS that does nothing leaves it so
        int     INT_SYSTEM
        cld
        pop     bp
        pop     es
        jc      .untold
        mov     si, cx                  ; some answer in CX and DX, some in AX and BX, some in both
        or      si, dx
        jnz     .told
        mov     cx, ax
        mov     dx, bx
        cmp     cx, SYSTEM_E801         ; untouched: no answer
        jne     .told
.untold:
        mov     cx, MEMORY_UNTOLD
        mov     dx, cx
.told:
        ret
