; What DOS is made of: its list of lists, device drivers, drives; the BIOS's disks; the interrupt vectors.
;
; No drive is touched that could ask for a disk or wait for one: A: and B: are left out, and only a drive that DOS calls
; local and fixed is asked how much of it is free. Layouts of the lists: from DOS 3.1 on as in the published source of
; MS-DOS 4.0; what 3.0 has elsewhere is left out.

LISTS_FILES             equ 04h
LISTS_LARGEST_SECTOR    equ 10h
LISTS_BUFFERS_CHAIN     equ 12h         ; before DOS 4: the first buffer
LISTS_FCBS              equ 1Ah
LISTS_BLOCK_DEVICES     equ 20h
LISTS_NUL               equ 22h         ; the NUL device's header
LISTS_NUL_30            equ 28h         ; likewise in DOS 3.0
LISTS_BUFFERS           equ 3Fh         ; from DOS 4 on; sectors read ahead behind it
LISTS_TOLD              equ 030Ah       ; DOS 3.10: the first with these lists
TABLE_COUNT             equ 4           ; in a table of files, behind the pointer to the next
TABLES_MOST             equ 64
BUFFERS_MOST            equ 999
DRIVERS_MOST            equ 128
DRIVER_ATTRIBUTES       equ 4
DRIVER_NAME             equ 10
DRIVER_NAME_SIZE        equ 8
CHAIN_END               equ 0FFFFh      ; offset of the pointer that ends a chain
DOS_TRUE_VERSION        equ 3306h
DOS_WITH_TRUE_VERSION   equ 5
DOS_IN_HIGH_MEMORY      equ 10h         ; DH
DOS_IS_REMOVABLE        equ 4408h
DOS_IS_REMOTE           equ 4409h
DOS_DRIVE_REMOTE        equ 10h         ; DX bit 12
DOS_DRIVE_SUBSTITUTED   equ 80h         ; DX bit 15
DRIVE_FIRST             equ 3           ; C:
INT_DISK                equ 13h
DISK_PARAMETERS         equ 08h         ; AH
DISK_KIND               equ 15h
DISK_FIXED              equ 80h         ; DL of the first
DISKS_MOST              equ 8
BDA_DISKS               equ 75h
PSP_OLD_CTRL_C          equ 0Eh         ; the vector 23h that was there when we came; 24h follows

; ----------------------------------------------------------------------------------------------
; dos_lists: where DOS keeps its lists.
; Input: none.  Output: ES:BX; CF=1 when this DOS keeps them elsewhere (3.0).  Destroys: AX.
dos_lists:
        mov     ah, DOS_LISTS
        call    dos
        cmp     word [dos_version], LISTS_TOLD
        ret

; ----------------------------------------------------------------------------------------------
; dos_setup_section: write the section dos_setup.
; Input: dos_version.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
dos_setup_section:
        mov     di, scratch
        mov     cx, L_dos_setup_size
        mov     al, 0FFh
        rep     stosb
        mov     byte [scratch + L_dos_setup.in_high_memory], PRESENCE_UNKNOWN
        push    es
        call    dos_lists
        jc      .lists_done
        mov     ax, [es:bx + LISTS_LARGEST_SECTOR]
        mov     [scratch + L_dos_setup.largest_sector], ax
        mov     ax, [es:bx + LISTS_BLOCK_DEVICES]       ; and the last drive
        mov     [scratch + L_dos_setup.block_devices], al
        mov     [scratch + L_dos_setup.last_drive], ah
        mov     si, LISTS_FILES
        call    tables_count
        mov     [scratch + L_dos_setup.files], ax
        mov     si, LISTS_FCBS
        call    tables_count
        mov     [scratch + L_dos_setup.fcbs], ax
        cmp     byte [dos_version + 1], DOS_WITH_BLOCK_NAMES
        jae     .told
        call    buffers_count
        mov     [scratch + L_dos_setup.buffers], ax
        jmp     short .lists_done
.told:
        mov     ax, [es:bx + LISTS_BUFFERS]
        mov     [scratch + L_dos_setup.buffers], ax
        mov     ax, [es:bx + LISTS_BUFFERS + 2]
        mov     [scratch + L_dos_setup.lookahead], ax
.lists_done:
        pop     es
        cmp     byte [dos_version + 1], DOS_WITH_TRUE_VERSION
        jb      .write
        mov     ax, DOS_TRUE_VERSION
        xor     bx, bx
        xor     dx, dx
        call    dos
        cmp     bl, DOS_WITH_TRUE_VERSION
        jb      .write                  ; it has no such call
        mov     al, PRESENCE_ABSENT
        test    dh, DOS_IN_HIGH_MEMORY
        jz      .high
        inc     ax
.high:
        mov     [scratch + L_dos_setup.in_high_memory], al
.write:
        mov     al, TAG_DOS_SETUP
        mov     cx, L_dos_setup_size
        jmp     section_in_scratch

; tables_count: entries in a chain of tables: pointer to the next, count, entries.
; Input: ES:BX = the lists, SI = where in them the chain begins.  Output: AX, FFFFh where none.  Destroys: CX DX SI.
tables_count:
        push    es
        xor     ax, ax
        mov     cx, TABLES_MOST
        les     si, [es:bx + si]
.next:
        call    chain_over
        je      .done
        add     ax, [es:si + TABLE_COUNT]
        les     si, [es:si]
        loop    .next
.done:
        pop     es
        jmp     short count_told

; buffers_count: the chain of disk buffers before DOS 4: each begins with the pointer to the next.
; Input: ES:BX = the lists.  Output: AX, FFFFh where it can't be told.  Destroys: CX DX SI.
buffers_count:
        push    es
        xor     ax, ax
        mov     cx, BUFFERS_MOST
        les     si, [es:bx + LISTS_BUFFERS_CHAIN]
.next:
        call    chain_over
        je      .done
        inc     ax
        les     si, [es:si]
        loop    .next
        xor     ax, ax                  ; it goes in a ring: not this DOS's way
.done:
        pop     es
        ; fall through

; count_told: a count of nothing means that it can't be told.
; Input: AX.  Output: AX, FFFFh instead of 0.  Destroys: nothing.
count_told:
        test    ax, ax
        jnz     .told
        dec     ax
.told:
        ret

; chain_over: is this the end of one of DOS's chains?
; Input: ES:SI.  Output: ZF=1 when it is.  Destroys: DX.
chain_over:
        cmp     si, CHAIN_END
        je      .over
        mov     dx, es
        or      dx, si
.over:
        ret

; ----------------------------------------------------------------------------------------------
; devices_section: write the section devices: the chain of driver headers.
; Input: dos_version.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
devices_section:
        push    es
        call    dos_lists
        mov     si, LISTS_NUL
        jnc     .first
        mov     si, LISTS_NUL_30
.first:
        add     si, bx
        mov     di, scratch
        mov     cx, DRIVERS_MOST
.next:
        mov     [di + L_device_driver.segment], es
        mov     [di + L_device_driver.offset], si
        mov     ax, [es:si + DRIVER_ATTRIBUTES]
        mov     [di + L_device_driver.attributes], ax
        xor     bx, bx
.name:
        mov     al, [es:bx + si + DRIVER_NAME]
        mov     [bx + di + L_device_driver.name], al
        inc     bx
        cmp     bx, DRIVER_NAME_SIZE
        jb      .name
        add     di, L_device_driver_size
        les     si, [es:si]
        call    chain_over
        je      .over
        loop    .next
        mov     byte [snapshot_cut], 1
.over:
        pop     es
        mov     al, TAG_DEVICES
        jmp     section_up_to

%if DRIVERS_MOST * L_device_driver_size > SCRATCH_SIZE
%error "the chain of drivers does not fit into scratch"
%endif

; ----------------------------------------------------------------------------------------------
; drives_section: write the section drives.
; Input: dos_version.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
drives_section:
        mov     di, scratch
        mov     si, DRIVE_FIRST         ; SI = drive; what LASTDRIVE says is not asked: some lists say too little
.drive:
        push    si
        call    drive_ask
        pop     si
        inc     si
        cmp     si, DRIVE_LAST
        jbe     .drive
        mov     byte [critical_seen], 0 ; a drive that is not ready is no news here
        mov     al, TAG_DRIVES
        jmp     section_up_to

; drive_ask: one drive; only a local and fixed one is read from.
; Input: SI = drive, DI = where.  Output: DI behind its entry, or as it was when there is no such drive.
; Destroys: AX BX CX DX.
drive_ask:
        push    di
        mov     cx, L_drive_size
        call    clear
        pop     di
        mov     ax, si
        add     al, 'A' - 1
        mov     [di + L_drive.letter], al
        mov     ax, DOS_IS_REMOTE
        mov     bx, si
        xor     dx, dx
        call    dos
        jc      .none
        mov     al, DRIVE_KIND_REMOTE
        test    dh, DOS_DRIVE_REMOTE
        jnz     .told
        mov     al, DRIVE_KIND_SUBSTITUTED
        test    dh, DOS_DRIVE_SUBSTITUTED
        jnz     .told
        mov     ax, DOS_IS_REMOVABLE
        mov     bx, si
        call    dos
        jc      .unanswered
        test    ax, ax
        mov     al, DRIVE_KIND_REMOVABLE
        jz      .told
        mov     ah, DOS_FREE_SPACE
        mov     dx, si
        call    dos
        cmp     ax, 0FFFFh
        je      .unanswered
        mov     [di + L_drive.cluster_sectors], ax
        mov     [di + L_drive.free_clusters], bx
        mov     [di + L_drive.sector_octets], cx
        mov     [di + L_drive.clusters], dx
        mov     al, DRIVE_KIND_FIXED
        jmp     short .told
.unanswered:
        mov     al, DRIVE_KIND_UNANSWERED
.told:
        mov     [di + L_drive.kind], al
        add     di, L_drive_size
.none:
        ret

; ----------------------------------------------------------------------------------------------
; disks_section: write the section disks: fixed ones, and floppy drives where the BIOS knows their kinds (AT on).
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
disks_section:
        mov     di, scratch
        call    rtc_find                ; CMOS memory is where a BIOS keeps the kinds
        jc      .fixed
        int     INT_EQUIPMENT
        test    al, 1
        jz      .fixed
        mov     cl, 6
        shr     al, cl
        and     al, 3
        inc     ax                      ; AL = floppy drives
        xor     dl, dl
        call    disks_ask
.fixed:
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     al, [es:BDA_DISKS]
        pop     es
        mov     dl, DISK_FIXED
        call    disks_ask
        mov     al, TAG_DISKS
        jmp     section_up_to

; disks_ask: some disks.
; Input: AL = how many, DL = the first, DI = where.  Output: DI behind their entries.  Destroys: AX BX CX DX SI.
disks_ask:
        cmp     al, DISKS_MOST
        jbe     .bounded
        mov     al, DISKS_MOST
.bounded:
        mov     cl, al
        xor     ch, ch
        jcxz    .done
.next:
        push    cx
        push    dx
        call    disk_ask
        pop     dx
        pop     cx
        inc     dx
        loop    .next
.done:
        ret

; disk_ask: one disk.
; Input: DL, DI = where.  Output: DI behind its entry.  Destroys: AX BX CX DX SI.
disk_ask:
        mov     si, di
        mov     cx, L_disk_size
        call    clear
        mov     [si + L_disk.number], dl
        push    dx
        mov     ah, DISK_KIND
        call    .ask
        mov     al, DISK_KIND_UNTOLD
        jc      .kind
        mov     al, ah
.kind:
        mov     [si + L_disk.kind], al
        pop     dx
        mov     ah, DISK_PARAMETERS
        call    .ask
        jc      .done
        mov     [si + L_disk.floppy_kind], bl
        mov     al, cl
        and     al, 3Fh
        mov     [si + L_disk.sectors], al
        mov     al, dh
        xor     ah, ah
        inc     ax
        mov     [si + L_disk.heads], ax
        mov     al, ch
        rol     cl, 1
        rol     cl, 1
        mov     ah, cl
        and     ah, 3                   ; bits 7-6 of CL are the cylinder's bits 9-8
        inc     ax
        mov     [si + L_disk.cylinders], ax
.done:
        ret
.ask:
        push    bp
        push    si
        push    di
        push    es
        xor     bx, bx
        xor     cx, cx
        xor     di, di                  ; some BIOS wants it so
        mov     es, di
        int     INT_DISK
        cld
        sti
        pop     es
        pop     di
        pop     si
        pop     bp
        ret

; ----------------------------------------------------------------------------------------------
; vectors_section: write the section vectors; the two that the agent has set as it found them.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX CX SI DI.
vectors_section:
        push    ds
        xor     si, si
        mov     ds, si
        mov     di, scratch
        mov     cx, L_vectors_size / 2
        rep     movsw
        pop     ds
        mov     si, PSP_OLD_CTRL_C
        mov     di, scratch + 4 * VECTOR_CTRL_C
        mov     cx, 4
        rep     movsw
        mov     al, TAG_VECTORS
        mov     cx, L_vectors_size
        jmp     section_in_scratch
