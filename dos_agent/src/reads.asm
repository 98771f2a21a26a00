; Sequential reads of a disk, twice the same octets: a file through DOS, and sectors through INT 13h. Nothing is written,
; no drive is asked for that was not there: the file is READOFF.COM, which has just been read; the sectors are those of
; the first fixed disk's first cylinder, where the BIOS counts one and tells its shape. Floppies are left alone.

BDA_FIXED_DISKS         equ 75h
FIXED_DISK              equ 80h
READS_CHUNK             equ 8192
READS_PARAGRAPHS        equ 1000h                       ; 64 KB: half of it lies within one page of the DMA
READS_HEADS_MOST        equ 8
SECTOR_SHIFT            equ 9

section .bss
        alignb  2
reads_block:            resw 1
reads_at:               resw 1                          ; segment that is read to
reads_handle:           resw 1
reads_total:            resd 1
reads_by:               resw 1                          ; routine that reads all: CF=1 on an error
reads_start:            resw 3
reads_end:              resw 3
reads_sectors:          resb 1                          ; a track
reads_heads:            resb 1

section .text

; probe_disk: a file through DOS.
; Output: CX = octets of the section probe_disk in scratch; [probe_problem].  Destroys: all but SP.
probe_disk:
        call    reads_begin
        jc      reads_none
        mov     word [scratch + L_probe_reads.chunk], READS_CHUNK
        mov     al, PROBE_PROBLEM_NO_DRIVE
        mov     dx, [overlay_path]
        test    dx, dx
        jz      reads_give_back
        push    es
        mov     es, [PSP_ENVIRONMENT]
        mov     bx, dx
        mov     al, [es:bx]             ; the drive's letter
        pop     es
        mov     [scratch + L_probe_reads.drive], al
        sub     al, 'A' - 1
        call    drive_quiet
        mov     al, PROBE_PROBLEM_NO_DRIVE
        jc      reads_give_back
        push    ds
        mov     ds, [PSP_ENVIRONMENT]
        mov     ax, DOS_OPEN_SHARED
        call    dos
        pop     ds
        mov     bx, ax
        mov     al, PROBE_PROBLEM_READ_ERROR
        jc      reads_give_back
        mov     [reads_handle], bx
        mov     word [reads_by], reads_file
        call    reads_twice
        mov     bx, [reads_handle]
        call    handle_close
        jmp     reads_give_back

; probe_sectors: sectors through INT 13h.
; Output: CX = octets of the section probe_sectors in scratch; [probe_problem].  Destroys: all but SP.
probe_sectors:
        call    reads_begin
        jc      reads_none
        mov     byte [scratch + L_probe_reads.drive], FIXED_DISK
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        cmp     byte [es:BDA_FIXED_DISKS], 0
        je      .none
        push    bp
        mov     ah, 08h
        mov     dl, FIXED_DISK
        stc
        int     13h                     ; ES:DI may come back changed
        cld
        sti
        pop     bp
        jc      .none
        pop     es
        mov     al, PROBE_PROBLEM_NO_DRIVE
        and     cl, 3Fh
        jz      reads_give_back
        inc     dh
        jz      .many
        cmp     dh, READS_HEADS_MOST
        jbe     .heads
.many:
        mov     dh, READS_HEADS_MOST
.heads:
        mov     [reads_sectors], cl
        mov     [reads_heads], dh
        mov     al, cl
        xor     ah, ah
        mov     cl, SECTOR_SHIFT
        shl     ax, cl
        mov     [scratch + L_probe_reads.chunk], ax
        mov     word [reads_by], reads_cylinder
        call    reads_twice
        jmp     short reads_give_back
.none:
        pop     es
        mov     al, PROBE_PROBLEM_NO_DRIVE
        ; fall through

; reads_give_back: the end of both.  reads_none: likewise, where no memory was given.
; Input: AL = PROBE_PROBLEM_*; [probe_problem] for reads_none.  Output: CX = octets of the section.  Destroys: AX.
reads_give_back:
        mov     [probe_problem], al
        mov     ax, [reads_block]
        call    block_free
reads_none:
        mov     al, [probe_problem]
        mov     [scratch + L_probe_reads.problem], al
        mov     cx, L_probe_reads_size
        ret

; reads_begin: 32 KB that lie within one page of 64 KB, as the DMA wants them.
; Input: none.  Output: [reads_block], [reads_at]; CF=1 when there is no room.  Destroys: AX, BX, CX, DI.
reads_begin:
        mov     cx, L_probe_reads_size
        call    scratch_clear
        mov     bx, READS_PARAGRAPHS
        mov     ah, 48h
        call    dos
        jc      .none
        mov     [reads_block], ax
        mov     bx, ax
        and     bx, 0FFFh
        cmp     bx, 0800h
        jbe     .at
        and     ax, 0F000h
        add     ax, 1000h
.at:
        mov     [reads_at], ax
        clc
        ret
.none:
        mov     byte [probe_problem], PROBE_PROBLEM_NO_MEMORY
        stc
        ret

; reads_twice: read all of it, and once more, each time by the clock.
; Input: [reads_by].  Output: AL = PROBE_PROBLEM_*; first, second, octets, resolution in scratch.
; Destroys: AH, BX, CX, DX, SI, DI.
reads_twice:
        mov     di, scratch + L_probe_reads.first
        call    .time
        jc      .failed
        mov     di, scratch + L_probe_reads.second
        call    .time
        jc      .failed
        mov     ax, [reads_total]
        mov     dx, [reads_total + 2]
        mov     [scratch + L_probe_reads.octets], ax
        mov     [scratch + L_probe_reads.octets + 2], dx
        mov     al, PROBE_PROBLEM_NONE
        ret
.failed:
        mov     al, PROBE_PROBLEM_READ_ERROR
        ret
.time:
        push    di
        mov     word [reads_total], 0
        mov     word [reads_total + 2], 0
        mov     di, reads_start
        call    clock_start
        call    .keep
        call    [reads_by]
        jc      .no_time
        mov     di, reads_end
        call    clock_end
        call    .keep
        mov     si, reads_start
        mov     di, reads_end
        call    clock_elapsed           ; ticks in AX: less than an hour
        pop     di
        mov     [di], bx
        mov     [di + 2], ax
        clc
        ret
.no_time:
        pop     di
        ret
.keep:
        mov     [di], ax
        mov     [di + 2], dx
        mov     [di + 4], bx
        cmp     cx, [scratch + L_probe_reads.resolution]
        jbe     .kept
        mov     [scratch + L_probe_reads.resolution], cx
.kept:
        ret

; reads_file: the file from its beginning to its end.
; Input: [reads_handle].  Output: [reads_total]; CF=1 on an error.  Destroys: AX, BX, CX, DX.
reads_file:
        mov     bx, [reads_handle]
        xor     cx, cx
        xor     dx, dx
        mov     ax, DOS_SEEK
        call    dos
        jc      .leave
.next:
        push    ds
        mov     bx, [reads_handle]
        mov     cx, READS_CHUNK
        xor     dx, dx
        mov     ds, [reads_at]
        mov     ah, DOS_READ
        call    dos
        pop     ds
        jc      .leave
        add     [reads_total], ax
        adc     word [reads_total + 2], 0
        cmp     ax, READS_CHUNK
        je      .next
        clc
.leave:
        ret

; reads_cylinder: tracks of the first cylinder, whole ones.
; Input: [reads_sectors], [reads_heads].  Output: [reads_total]; CF=1 on an error.  Destroys: AX, BX, CX, DX, SI, DI.
reads_cylinder:
        xor     dh, dh
.track:
        push    dx
        push    es
        push    bp
        mov     es, [reads_at]
        xor     bx, bx
        mov     cx, 1                   ; cylinder 0, from sector 1 on
        mov     dl, FIXED_DISK
        mov     al, [reads_sectors]
        mov     ah, 02h
        stc
        int     13h
        cld
        sti
        pop     bp
        pop     es
        pop     dx
        jc      .leave
        mov     ax, [scratch + L_probe_reads.chunk]
        add     [reads_total], ax
        adc     word [reads_total + 2], 0
        inc     dh
        cmp     dh, [reads_heads]
        jb      .track
        clc
.leave:
        ret
