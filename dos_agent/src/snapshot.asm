; The snapshot: what the agent sees of the configuration, section by section, as protocols/record.toml lays it out.
;
; It reads, and changes nothing: no disk controller is written to, no port is touched that could hang a sound machine,
; nobody is asked to change a disk. Each port and service it uses is listed in docs/ports.md with the reason why.

INT_VIDEO               equ 10h
INT_SYSTEM              equ 15h
INT_MULTIPLEX           equ 2Fh
SYSTEM_TABLE            equ 0C0h
WINDOWS_VERSION         equ 1600h
ROM_DATE                equ 0FFF5h
ROM_DATE_SIZE           equ 8
ROM_WORDS               equ 32768
BDA_RESET               equ 72h
BDA_SIZE                equ 100h
DOS_VERSION             equ 30h

; ----------------------------------------------------------------------------------------------
; snapshot_take: write all sections of a snapshot into the record that is open.
; Input: none.  Output: CF=1 when the spool failed; snapshot_cut = 1 when something could not be had whole.
; Destroys: AX BX CX DX SI DI BP.
snapshot_take:
        mov     byte [snapshot_cut], 0
        mov     si, snapshot_parts
.next:
        lodsw
        test    ax, ax
        jz      .done                   ; CF=0
        push    si
        call    ax
        pop     si
        jnc     .next
.done:
        ret

; ----------------------------------------------------------------------------------------------
; boot_section: write the section boot; every record has one.
; Input: boot_state.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
boot_section:
        call    rtc_read
        mov     [scratch + L_boot.rtc_state], al
        mov     si, rtc_registers
        mov     di, scratch + L_boot.rtc
        mov     cx, L_boot.rtc_status_b - L_boot.rtc + 1
        rep     movsb
        mov     al, [boot_state]
        mov     [scratch + L_boot.state], al
        mov     word [scratch + L_boot.agent_version], AGENT_VERSION
        push    es
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     ax, [es:BDA_RESET]
        mov     [scratch + L_boot.reset_word], ax
        pushf
        cli                             ; both words of one tick
        mov     ax, [es:BDA_TICKS]
        mov     dx, [es:BDA_TICKS + 2]
        popf
        pop     es
        mov     [scratch + L_boot.ticks], ax
        mov     [scratch + L_boot.ticks + 2], dx
        mov     al, TAG_BOOT
        mov     cx, L_boot_size
        jmp     section_in_scratch

; ----------------------------------------------------------------------------------------------
; snapshot_start_section: write the section snapshot_start: the configuration's label.
; Input: option_label.  Output: CF=1 when the spool failed.  Destroys: AX CX SI DI.
snapshot_start_section:
        mov     si, option_label
        mov     di, scratch + L_snapshot_start.label + 1
.next:
        lodsb
        stosb
        test    al, al
        jnz     .next
        mov     ax, di
        sub     ax, scratch + L_snapshot_start.label + 2        ; without length and NUL
        mov     [scratch + L_snapshot_start.label], al
        mov     cx, ax
        inc     cx
        mov     al, TAG_SNAPSHOT_START
        jmp     section_in_scratch

; ----------------------------------------------------------------------------------------------
; bios_section: write the section bios.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
bios_section:
        int     INT_EQUIPMENT
        mov     [scratch + L_bios.equipment], ax
        mov     word [scratch + L_bios.submodel], 0     ; and the revision
        push    es
        push    bp
        mov     ah, SYSTEM_TABLE
        xor     bx, bx
        stc
        int     INT_SYSTEM
        cld
        jc      .no_table
        test    ah, ah
        jnz     .no_table
        cmp     word [es:bx], 4         ; octets that follow
        jb      .no_table
        mov     ax, [es:bx + 3]         ; submodel, revision
        mov     [scratch + L_bios.submodel], ax
.no_table:
        pop     bp
        pop     es
        push    ds
        mov     ax, ROM_SEGMENT
        mov     ds, ax
        mov     al, [ROM_MODEL]
        mov     [es:scratch + L_bios.model], al
        mov     si, ROM_DATE
        mov     di, scratch + L_bios.date
        mov     cx, ROM_DATE_SIZE
        rep     movsb
        mov     cx, ROM_WORDS / 4
        call    rom_sum
        pop     ds
        mov     [scratch + L_bios.rom_sum], dx
        mov     [scratch + L_bios.rom_sum + 2], bx
        mov     al, TAG_BIOS
        mov     cx, L_bios_size
        jmp     section_in_scratch

%if L_bios.revision != L_bios.submodel + 1
%error "submodel and revision are written as one word"
%endif

; ----------------------------------------------------------------------------------------------
; bda_section: write the section bda: the BIOS data area as it is.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX CX SI.
bda_section:
        push    ds
        mov     ax, BIOS_DATA
        mov     ds, ax
        xor     si, si
        mov     cx, BDA_SIZE
        mov     al, TAG_BDA
        call    section_whole
        pop     ds
        ret

; ----------------------------------------------------------------------------------------------
; dos_section: write the section dos; keeps the boot drive for startup_sections.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
dos_section:
        mov     ah, DOS_VERSION
        xor     al, al
        call    dos
        mov     [scratch + L_dos.major], ax             ; and the minor
        mov     [scratch + L_dos.oem], bh
        mov     byte [dos_boot_drive], 0
        cmp     al, DOS_WITH_BOOT_DRIVE
        jb      .no_drive
        mov     ax, DOS_BOOT_DRIVE
        xor     dl, dl
        call    dos
        jc      .no_drive
        cmp     dl, DRIVE_LAST
        ja      .no_drive
        mov     [dos_boot_drive], dl
.no_drive:
        mov     al, [dos_boot_drive]
        mov     [scratch + L_dos.boot_drive], al
        xor     ax, ax
        cmp     byte [scratch + L_dos.major], DOS_WITH_PROGRAM_PATHS
        jb      .windows                ; the multiplex interrupt is DOS's from 3.0 on
        push    es
        xor     bx, bx
        mov     es, bx
        mov     bx, [es:INT_MULTIPLEX * 4]
        or      bx, [es:INT_MULTIPLEX * 4 + 2]
        pop     es
        jz      .windows
        push    es
        push    bp
        mov     ax, WINDOWS_VERSION
        int     INT_MULTIPLEX
        cld
        pop     bp
        pop     es
        test    al, 7Fh                 ; 0 and 80h: none; AH was not touched then
        jnz     .there
        xor     ah, ah
        jmp     short .windows
.there:
        mov     byte [windows_here], 1
.windows:
        mov     [scratch + L_dos.windows], ax           ; and the minor
        mov     al, TAG_DOS
        mov     cx, L_dos_size
        jmp     section_in_scratch

%if L_dos.minor != L_dos.major + 1 || L_dos.windows_minor != L_dos.windows + 1
%error "versions in the section dos are written as words"
%endif

%include "memory.asm"
%include "display.asm"
%include "processor.asm"
%include "leaves.asm"
%include "coprocessor.asm"
%include "speed.asm"
%include "managers.asm"
%include "firmware.asm"
%include "drivers.asm"
%include "pci.asm"
%include "rtc.asm"
%include "edges.asm"
%include "residents.asm"
%include "startup.asm"

        section .data
snapshot_parts:         dw boot_section, snapshot_start_section, cpu_section, cpuid_section, fpu_section
                        dw control_section, speed_section, memory_section, e820_section, xms_section, ems_section
                        dw bios_section, cmos_section, bda_section, display_section, display_rom_section, vbe_section
                        dw dos_section, dos_setup_section, devices_section, drives_section, disks_section
                        dw residents_section, vectors_section, dmi_section, pnp_section, pci_sections
                        dw environment_section, startup_sections, 0
        section .bss
snapshot_cut:           resb 1          ; something of the snapshot could not be had whole
dos_boot_drive:         resb 1
windows_here:           resb 1          ; 1: in a window of enhanced Windows
        section .text
