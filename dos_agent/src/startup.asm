; What set the machine up: the agent's environment, and the text files that DOS reads when it starts.

ENVIRONMENT_MOST        equ 0FFF0h      ; octets
STARTUP_MOST            equ 16384       ; octets of a start-up file; what is longer is cut
DOS_CURRENT_DRIVE       equ 19h
DOS_BOOT_DRIVE          equ 3305h
DOS_WITH_BOOT_DRIVE     equ 4
DOS_OPEN                equ 3D00h
DOS_OPEN_SHARED         equ 3D40h       ; DOS 3 and later: others may have it open
DOS_CLOSE               equ 3Eh
DOS_READ                equ 3Fh
DOS_SEEK                equ 4200h
DRIVE_A                 equ 1
DRIVE_B                 equ 2
DRIVE_LAST              equ 26
EQUIPMENT_FLOPPIES      equ 00C1h       ; bit 0: any; bits 7-6: how many less one
EQUIPMENT_ONE_FLOPPY    equ 0001h
INT_EQUIPMENT           equ 11h
SHARED_DRIVE_SEGMENT    equ 50h         ; DOS's: 1 when the one floppy drive stands for B:
SHARED_DRIVE_OFFSET     equ 04h

; ----------------------------------------------------------------------------------------------
; environment_section: write the section environment: up to its second NUL, and the path that follows from DOS 3 on.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
environment_section:
        push    ds
        push    es
        xor     cx, cx
        mov     ax, [PSP_ENVIRONMENT]
        test    ax, ax
        jz      .write
        call    environment_end
        jc      .take                   ; no end: all that is there, or nothing
        mov     dx, si
        cmp     byte [dos_version + 1], DOS_WITH_PROGRAM_PATHS
        jb      .length
        call    program_path
        jc      .length
        mov     dx, ax
.length:
        mov     si, dx
.take:
        mov     cx, si
.write:
        xor     si, si
        push    es
        pop     ds
        pop     es                      ; ours again
        mov     al, TAG_ENVIRONMENT
        call    section_whole
        pop     ds
        ret

; ----------------------------------------------------------------------------------------------
; startup_sections: write a section startup_file for each start-up file that the boot drive has.
; Input: dos_boot_drive.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
startup_sections:
        call    startup_drive
        jc      .over
        add     al, 'A' - 1
        mov     si, startup_names
.next:
        cmp     byte [si], 0
        je      .none
        mov     [si], al
        push    ax
        push    si
        call    startup_file
        pop     si
        pop     ax
        jc      .done
.skip:
        cmp     byte [si], 0            ; on to the next name
        lea     si, [si + 1]
        jne     .skip
        jmp     short .next
.none:
        mov     byte [critical_seen], 0 ; a drive that is not ready is no news here
.over:
        clc
.done:
        ret

; startup_drive: the drive that DOS started from, as far as it can be told and may be touched.
; Input: none.  Output: AL = 1 for A:; CF=1 when it can't be read without disturbing.  Destroys: AX BX CX DX SI.
startup_drive:
        mov     al, [dos_boot_drive]
        test    al, al
        jnz     .known
        call    shell_drive
        jnc     .known
        mov     ah, DOS_CURRENT_DRIVE
        call    dos
        inc     al
.known:
        call    drive_quiet
        jnc     .leave
        mov     si, startup_not_asked
        call    put_string
        mov     byte [snapshot_cut], 1
        stc
.leave:
        ret

; drive_quiet: can a drive be read without DOS asking for another disk?
; Input: AL = 1 for A:.  Output: CF=1 when it can't.  Destroys: AH BX.
drive_quiet:
        cmp     al, DRIVE_LAST
        ja      .no
        cmp     al, DRIVE_B             ; may be the same drive with another disk: would ask for it
        je      .no
        cmp     al, DRIVE_A
        jne     .yes
        push    ax
        int     INT_EQUIPMENT
        and     ax, EQUIPMENT_FLOPPIES
        cmp     ax, EQUIPMENT_ONE_FLOPPY
        pop     ax
        jne     .yes
        push    es
        mov     bx, SHARED_DRIVE_SEGMENT
        mov     es, bx
        cmp     byte [es:SHARED_DRIVE_OFFSET], 1
        pop     es
        je      .no                     ; stands for B: now; A: would ask for a disk
.yes:
        clc
        ret
.no:
        stc
        ret

; shell_drive: the drive that COMSPEC names.
; Input: none.  Output: AL = 1 for A:; CF=1 when there is none.  Destroys: AX BX CX SI.
shell_drive:
        push    es
        mov     ax, [PSP_ENVIRONMENT]
        test    ax, ax
        jz      .none
        call    environment_end
        mov     cx, si                  ; CX = its octets
        xor     si, si
.variable:
        mov     bx, startup_comspec
.compare:
        cmp     si, cx
        jae     .none
        mov     al, [bx]
        test    al, al
        jz      .found
        cmp     al, [es:si]
        jne     .skip
        inc     bx
        inc     si
        jmp     short .compare
.skip:
        cmp     si, cx
        jae     .none
        inc     si
        cmp     byte [es:si - 1], 0
        jne     .skip
        jmp     short .variable
.found:
        cmp     byte [es:si + 1], ':'
        jne     .none
        mov     al, [es:si]
        pop     es
        and     al, ~20h & 0FFh
        sub     al, 'A' - 1
        jbe     .not_a_letter
        cmp     al, DRIVE_LAST + 1
        cmc
        ret
.none:
        pop     es
.not_a_letter:
        stc
        ret

; ----------------------------------------------------------------------------------------------
; startup_file: write one start-up file, if it is there.
; Input: SI = its path.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
;
; The file is read twice: first to learn how much of it can really be read, as a section's length comes first.
startup_file:
        mov     dx, si
        mov     ax, DOS_OPEN
        cmp     byte [dos_version + 1], DOS_WITH_PROGRAM_PATHS
        jb      .open
        mov     ax, DOS_OPEN_SHARED
.open:
        call    dos
        jc      .absent
        mov     bx, ax                  ; BX = handle
        xor     di, di                  ; DI = octets that can be read
.measure:
        call    startup_read
        jc      .measured
        add     di, ax
        cmp     di, STARTUP_MOST
        jbe     .measure
        mov     di, STARTUP_MOST
        push    si
        call    put_string
        mov     si, startup_is_cut
        call    put_string
        pop     si
        mov     byte [snapshot_cut], 1
.measured:
        mov     ax, DOS_SEEK
        xor     cx, cx
        xor     dx, dx
        call    dos
        mov     cx, -1                  ; CX = length of the name
.length:
        inc     cx
        push    si
        add     si, cx
        cmp     byte [si], 0
        pop     si
        jne     .length
        mov     [scratch], cl
        push    si
        push    cx
        inc     cx
        add     cx, di
        mov     al, TAG_STARTUP_FILE
        call    section_begin
        pop     cx
        pop     si
        jc      .drop
        push    si
        push    cx
        mov     si, scratch
        mov     cx, 1
        call    record_put              ; the name's length
        pop     cx
        pop     si
        jc      .drop
        call    record_put              ; the name
        jc      .drop
        call    startup_content
        jc      .drop
        call    section_finish
        jnc     .close
.drop:
        push    bx
        call    section_drop
        pop     bx
        stc
.close:
        pushf
        mov     ah, DOS_CLOSE
        call    dos
        popf
        ret
.absent:
        clc
        ret

; startup_content: copy octets from a file into the section.
; Input: BX = handle, DI = how many.  Output: CF=1 when the spool failed.  Destroys: AX CX DX SI DI.
;
; Octets that can no longer be read become zeros, and the record says that something is missing.
startup_content:
        test    di, di
        jz      .done                   ; CF=0
        call    startup_read
        jnc     .read
        mov     byte [snapshot_cut], 1
        push    di
        mov     di, scratch
        mov     cx, SCRATCH_SIZE
        xor     al, al
        rep     stosb
        pop     di
        mov     ax, SCRATCH_SIZE
.read:
        cmp     ax, di
        jbe     .whole
        mov     ax, di
.whole:
        sub     di, ax
        mov     cx, ax
        mov     si, scratch
        call    record_put
        jnc     startup_content
.done:
        ret

; startup_read: the next octets of a file, into scratch.
; Input: BX = handle.  Output: AX = how many; CF=1 at its end or when it can't be read.  Destroys: CX DX.
startup_read:
        mov     dx, scratch
        mov     cx, SCRATCH_SIZE
        mov     ah, DOS_READ
        call    dos
        jc      .done
        cmp     ax, 1                   ; CF=1 at the end
.done:
        ret

        section .data
startup_comspec:        db 'COMSPEC=', 0
startup_names:          db ' :\CONFIG.SYS', 0           ; the drive's letter comes first
                        db ' :\AUTOEXEC.BAT', 0
                        db ' :\FDCONFIG.SYS', 0         ; these two where FreeDOS looks first
                        db ' :\FDAUTO.BAT', 0
                        db 0
startup_is_cut:         db ' is longer than 16 KB: only its beginning is in the snapshot.', CR, LF, 0
startup_not_asked:      db 'CONFIG.SYS and AUTOEXEC.BAT are not in the snapshot: DOS would ask for another disk.', CR, LF, 0
        section .text
