; What is resident: the chain of memory blocks that DOS keeps, first to last.
;
; The chain belongs to DOS and may be damaged: each step is checked, and a chain that breaks is written up to there,
; with a last entry that says so. The agent's own blocks and the free ones next to them count as one free block, as
; they were before the agent came, so that the agent makes no difference between two snapshots.

MCB_SIGNATURE           equ 0           ; 'M', or 'Z' for the last
MCB_OWNER               equ 1
MCB_PARAGRAPHS          equ 3
MCB_NAME                equ 8           ; from DOS 4 on
MCB_NAME_SIZE           equ 8
MCB_MORE                equ 'M'
MCB_FREE                equ 0
MCB_OWNER_PSP           equ 10h         ; smaller owners are no programs
MCB_BROKEN              equ 0FFFFh      ; owner of the entry that says where the chain breaks
DOS_LISTS               equ 52h
DOS_WITH_BLOCK_NAMES    equ 4
DOS_WITH_PROGRAM_PATHS  equ 3
PSP_INT20               equ 20CDh       ; first word of a PSP
RESIDENT_NAME_MOST      equ 12          ; 8.3
RESIDENT_MOST           equ L_resident_size + 1 + RESIDENT_NAME_MOST

; ----------------------------------------------------------------------------------------------
; residents_section: write the section residents.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI BP.
residents_section:
        mov     di, scratch
        mov     word [residents_visitor], resident_write
        call    chain_walk
        mov     al, TAG_RESIDENTS
        jmp     section_up_to

; free_paragraphs: the largest free block, the agent not counted.
; Input: none.  Output: AX.  Destroys: BX CX DX SI DI BP.
free_paragraphs:
        xor     di, di
        mov     word [residents_visitor], .look
        call    chain_walk
        mov     ax, di
        ret
.look:
        cmp     dx, MCB_FREE
        jne     .done
        cmp     cx, di
        jbe     .done
        mov     di, cx
.done:
        ret

; ----------------------------------------------------------------------------------------------
; chain_walk: visit every block in order, the agent's own joined with the free ones beside them.
; Input: [residents_visitor], called with AX = segment of the header, DX = owner, CX = paragraphs; it keeps BX, BP.
; Output: what the visitor makes of SI, DI.  Destroys: AX BX CX DX BP.
chain_walk:
        push    es
        mov     ah, DOS_LISTS
        push    di
        call    dos
        pop     di
        mov     ax, [es:bx - 2]
        mov     word [residents_free_at], 0     ; no free run yet
.block:
        mov     es, ax
        mov     bl, [es:MCB_SIGNATURE]
        mov     dx, [es:MCB_OWNER]
        mov     cx, [es:MCB_PARAGRAPHS]
        cmp     bl, MCB_LAST
        je      .sound
        cmp     bl, MCB_MORE
        jne     .broken
        mov     bp, ax                  ; BP = the next header; it must lie above, which also ends any loop
        inc     bp
        add     bp, cx
        jc      .broken
        cmp     bp, ax
        jbe     .broken
.sound:
        cmp     dx, MCB_FREE
        je      .is_free
        mov     si, cs
        cmp     dx, si
        je      .is_free
        call    .flush
        call    [residents_visitor]
        jmp     short .next
.is_free:
        cmp     word [residents_free_at], 0
        je      .opens
        inc     cx                      ; a header becomes free memory, too
        add     [residents_free_size], cx
        jmp     short .next
.opens:
        mov     [residents_free_at], ax
        mov     [residents_free_size], cx
.next:
        mov     ax, bp
        cmp     bl, MCB_MORE
        je      .block
        call    .flush
        pop     es
        ret
.broken:
        push    ax
        call    .flush
        pop     ax
        mov     dx, MCB_BROKEN
        xor     cx, cx
        call    [residents_visitor]
        pop     es
        ret

; .flush: visit the free run that has gathered, if any.
.flush:
        cmp     word [residents_free_at], 0
        je      .nothing
        push    ax
        push    cx
        push    dx
        mov     ax, [residents_free_at]
        mov     cx, [residents_free_size]
        mov     dx, MCB_FREE
        call    [residents_visitor]
        mov     word [residents_free_at], 0
        pop     dx
        pop     cx
        pop     ax
.nothing:
        ret

; ----------------------------------------------------------------------------------------------
; resident_write: add one block to the section.
; Input: AX, DX, CX as from chain_walk; DI = where.  Output: DI behind it; snapshot_cut set when it did not fit.
; Destroys: AX CX DX SI.
resident_write:
        cmp     di, scratch_end - RESIDENT_MOST
        ja      .full
        mov     [di + L_resident.segment], ax
        mov     [di + L_resident.owner], dx
        mov     [di + L_resident.paragraphs], cx
        add     di, L_resident_size
        push    di
        inc     di                      ; the length comes last
        call    resident_name
        pop     si
        mov     ax, di
        sub     ax, si
        dec     ax
        mov     [si], al
        ret
.full:
        mov     byte [snapshot_cut], 1
        ret

; resident_name: the name of a block's owner.
; Input: AX = segment of the header, DX = owner, DI = where.  Output: DI behind the name; nothing when there is none.
; Destroys: AX CX DX SI.
resident_name:
        cmp     dx, MCB_BROKEN
        je      .broken
        cmp     dx, MCB_FREE
        je      .none
        push    es
        cmp     dx, MCB_OWNER_PSP
        jb      .own_header             ; DOS and its like: the block's own header tells
        dec     dx
        mov     ax, dx                  ; the owner's first block: its PSP follows the header
        call    is_block_of_owner
        jc      .restore
        inc     dx
        cmp     byte [dos_version + 1], DOS_WITH_BLOCK_NAMES
        jb      .by_environment
.own_header:
        cmp     byte [dos_version + 1], DOS_WITH_BLOCK_NAMES
        jb      .restore
        mov     es, ax
        mov     si, MCB_NAME
        mov     cx, MCB_NAME_SIZE
        call    copy_name
.restore:
        pop     es
.none:
        ret
.by_environment:
        cmp     byte [dos_version + 1], DOS_WITH_PROGRAM_PATHS
        jb      .restore
        call    name_by_environment
        jmp     short .restore
.broken:
        push    es
        push    ds
        pop     es                      ; the name is ours
        mov     si, broken_name
        mov     cx, broken_name_end - broken_name
        call    copy_name
        pop     es
        ret

; is_block_of_owner: is there a sound header at AX that belongs to AX+1?
; Input: AX.  Output: ES = AX; CF=1 when not.  Destroys: CX.
is_block_of_owner:
        mov     es, ax
        cmp     byte [es:MCB_SIGNATURE], MCB_MORE
        je      .sound
        cmp     byte [es:MCB_SIGNATURE], MCB_LAST
        jne     .no
.sound:
        mov     cx, ax
        inc     cx
        cmp     cx, [es:MCB_OWNER]
        jne     .no
        clc
        ret
.no:
        stc
        ret

; copy_name: copy a name up to its end, or to the first octet that no name holds (garbage may follow).
; Input: ES:SI, CX = octets at most, DI = where.  Output: DI, SI behind it.  Destroys: AX CX.
copy_name:
        jcxz    .done
.next:
        mov     al, [es:si]
        cmp     al, ' '
        jbe     .done
        mov     [di], al
        inc     si
        inc     di
        loop    .next
.done:
        ret

; ----------------------------------------------------------------------------------------------
; name_by_environment: the file that a program came from, without its folder (DOS 3: behind its environment).
; Input: DX = PSP, DI = where.  Output: DI behind the name.  Destroys: AX CX SI ES.
name_by_environment:
        mov     es, dx
        cmp     word [es:0], PSP_INT20
        jne     .none
        mov     ax, [es:PSP_ENVIRONMENT]
        test    ax, ax
        jz      .none
        call    environment_end
        jc      .none
        call    program_path
        jc      .none
        push    si                      ; SI = the path, AX = behind its NUL
        mov     cx, ax
        pop     ax                      ; AX = begin of what follows the last separator
.next:
        cmp     byte [es:si], '\'
        je      .separator
        cmp     byte [es:si], '/'
        je      .separator
        cmp     byte [es:si], ':'
        jne     .step
.separator:
        mov     ax, si
        inc     ax
.step:
        inc     si
        cmp     si, cx
        jb      .next
        mov     si, ax
        mov     cx, RESIDENT_NAME_MOST
        call    copy_name
.none:
        ret

; environment_end: find the end of an environment, within its memory block.
; Input: AX = its segment.  Output: ES = AX, SI = behind the second NUL, CX = octets in the block;
;        CF=1 when there is no block there, or no end in it (SI = CX then).  Destroys: AX.
environment_end:
        mov     si, ax
        dec     ax
        mov     es, ax
        cmp     byte [es:MCB_SIGNATURE], MCB_MORE
        je      .sound
        cmp     byte [es:MCB_SIGNATURE], MCB_LAST
        jne     .no_block
.sound:
        mov     cx, [es:MCB_PARAGRAPHS]
        mov     es, si
        cmp     cx, ENVIRONMENT_MOST >> 4
        jbe     .size
        mov     cx, ENVIRONMENT_MOST >> 4
.size:
        shl     cx, 1
        shl     cx, 1
        shl     cx, 1
        shl     cx, 1
        xor     si, si
        cmp     cx, 2
        jb      .no_end
        dec     cx
.next:
        cmp     word [es:si], 0
        je      .found
        inc     si
        cmp     si, cx
        jb      .next
        inc     cx
.no_end:
        mov     si, cx
        stc
        ret
.found:
        inc     cx
        add     si, 2
        clc
        ret
.no_block:
        mov     es, si
        xor     cx, cx
        xor     si, si
        stc
        ret

; program_path: the path that DOS 3 and later leave behind the environment.
; Input: ES, SI, CX as from environment_end.  Output: SI = the path, AX = behind its NUL; CF=1 when there is none.
; Destroys: nothing.
program_path:
        mov     ax, si
        add     ax, 3                   ; a count of strings, and at least a NUL
        cmp     ax, cx
        ja      .none
        cmp     word [es:si], 0
        je      .none
        add     si, 2
        mov     ax, si
.next:
        cmp     ax, cx
        jae     .none
        xchg    ax, si
        cmp     byte [es:si], 0
        xchg    ax, si
        je      .found
        inc     ax
        jmp     short .next
.found:
        inc     ax
        clc
        ret
.none:
        stc
        ret

        section .data
broken_name:            db 'chain-breaks'
broken_name_end:
        section .bss
residents_visitor:      resw 1
residents_free_at:      resw 1
residents_free_size:    resw 1
        section .text
