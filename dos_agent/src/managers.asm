; Memory beyond the first megabyte: the BIOS's map, and the managers of extended and expanded memory.
; Each is asked what it has; nothing is allocated, no line is switched.

SYSTEM_MAP              equ 0E820h
MAP_SIGNATURE           equ 534D4150h   ; 'SMAP'
MAP_MOST                equ 64          ; ranges
XMS_INSTALLED           equ 4300h       ; INT 2Fh; AL = 80h where there is one
XMS_ENTRY               equ 4310h       ; INT 2Fh; ES:BX
XMS_VERSION             equ 00h         ; AH
XMS_QUERY_A20           equ 07h
XMS_QUERY_FREE          equ 08h
XMS_QUERY_FREE_LARGE    equ 88h         ; from 3.0 on, with 32-bit registers
XMS_LARGE               equ 0300h
INT_EXPANDED            equ 67h
EMS_DEVICE_NAME         equ 10          ; in the segment of the vector: the driver's header
EMS_STATUS              equ 40h         ; AH
EMS_FRAME               equ 41h
EMS_PAGES               equ 42h
EMS_VERSION             equ 46h
EMS_HANDLES             equ 4Bh

; ----------------------------------------------------------------------------------------------
; e820_section: write the section e820; only from a 386 on, and where the BIOS answers.
; Input: processor_known.  Output: CF=1 when the spool failed.  Destroys: AX CX SI DI.
e820_section:
        cmp     byte [processor_known], PROCESSOR_I80386
        jb      .none
        mov     di, scratch
        call    memory_map
        mov     cx, di
        mov     si, scratch
        sub     cx, si
        jz      .none
        mov     al, TAG_E820
        jmp     section_whole
.none:
        clc
        ret

; memory_map: the ranges one by one; a BIOS that never comes to an end is left after MAP_MOST.
; Input: DI = where.  Output: DI behind the last.  Destroys: nothing else.
        cpu     386
guarded_map_begin:
memory_map:
        pushad
        push    es
        mov     bp, MAP_MOST
        xor     ebx, ebx
.next:
        push    bp
        push    di
        mov     eax, SYSTEM_MAP
        mov     edx, MAP_SIGNATURE
        mov     ecx, L_e820_range_size
        stc
        int     INT_SYSTEM
        cld
        pop     di
        pop     bp
        jc      .done
        cmp     eax, MAP_SIGNATURE
        jne     .done
        cmp     ecx, L_e820_range_size
        jb      .done
        add     di, L_e820_range_size
        test    ebx, ebx
        jz      .done
        dec     bp
        jnz     .next
        mov     byte [cs:snapshot_cut], 1
.done:
        pop     es
        mov     bp, sp
        mov     [bp], di                ; where POPAD takes it from
        popad
        ret
guarded_map_end:
        cpu     8086

%if MAP_MOST * L_e820_range_size > SCRATCH_SIZE
%error "the map of memory does not fit into scratch"
%endif

; ----------------------------------------------------------------------------------------------
; xms_section: write the section xms; only where a manager answers.
; Input: processor_known.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
xms_section:
        push    es
        xor     ax, ax
        mov     es, ax
        mov     ax, [es:INT_MULTIPLEX * 4]
        or      ax, [es:INT_MULTIPLEX * 4 + 2]
        jz      .no_manager
        mov     ax, XMS_INSTALLED
        call    .multiplex
        cmp     al, 80h
        jne     .no_manager
        mov     ax, XMS_ENTRY
        call    .multiplex
        mov     [xms_entry], bx
        mov     [xms_entry + 2], es
        mov     [scratch + L_xms.offset], bx
        mov     [scratch + L_xms.segment], es
        pop     es
        mov     ah, XMS_VERSION
        call    xms_call
        mov     [scratch + L_xms.version], ax
        mov     [scratch + L_xms.revision], bx
        and     dl, 1                   ; PRESENCE_*
        mov     [scratch + L_xms.hma], dl
        push    ax
        mov     ah, XMS_QUERY_A20
        call    xms_call
        and     al, 1
        mov     [scratch + L_xms.a20], al
        mov     ah, XMS_QUERY_FREE
        call    xms_call
        mov     [scratch + L_xms.largest_kb], ax
        mov     [scratch + L_xms.free_kb], dx
        xor     ax, ax
        mov     [scratch + L_xms.largest_kb + 2], ax
        mov     [scratch + L_xms.free_kb + 2], ax
        pop     ax
        cmp     ax, XMS_LARGE
        jb      .write
        cmp     byte [processor_known], PROCESSOR_I80386
        jb      .write
        call    xms_large
.write:
        mov     al, TAG_XMS
        mov     cx, L_xms_size
        jmp     section_in_scratch
.no_manager:
        pop     es
        clc
        ret
.multiplex:
        push    bp
        int     INT_MULTIPLEX
        cld
        pop     bp
        ret

; xms_call: call the manager.
; Input: AH.  Output: AX BX DX as it gives them.  Destroys: CX SI DI.
xms_call:
        push    ds
        push    es
        push    bp
        call    far [xms_entry]
        cld
        pop     bp
        pop     es
        pop     ds
        ret

        cpu     386
guarded_xms_begin:
; xms_large: free memory beyond 64 MB.
; Input: a manager of 3.0 or later.  Output: scratch.L_xms.largest_kb, free_kb, where it tells.  Destroys: nothing.
xms_large:
        pushad
        mov     ah, XMS_QUERY_FREE_LARGE
        xor     bl, bl
        push    ds
        push    es
        call    far [xms_entry]
        cld
        pop     es
        pop     ds
        test    bl, bl
        jnz     .untold
        mov     [scratch + L_xms.largest_kb], eax
        mov     [scratch + L_xms.free_kb], edx
.untold:
        popad
        ret
guarded_xms_end:
        cpu     8086

; ----------------------------------------------------------------------------------------------
; ems_section: write the section ems; only where the driver's name stands behind the vector.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
ems_section:
        push    es
        xor     ax, ax
        mov     es, ax
        mov     ax, [es:INT_EXPANDED * 4 + 2]
        mov     es, ax
        mov     si, ems_name
        mov     di, EMS_DEVICE_NAME
        mov     cx, ems_name_end - ems_name
        repe    cmpsb
        pop     es
        jne     .none
        mov     [scratch + L_ems.segment], ax
        mov     ah, EMS_STATUS
        call    ems_call
        mov     [scratch + L_ems.status], ah
        mov     ah, EMS_VERSION
        call    ems_call
        jz      .version
        xor     al, al
.version:
        mov     [scratch + L_ems.version], al
        mov     ah, EMS_FRAME
        call    ems_call
        mov     [scratch + L_ems.frame], bx
        mov     ah, EMS_PAGES
        call    ems_call
        mov     [scratch + L_ems.free_pages], bx
        mov     [scratch + L_ems.pages], dx
        mov     ah, EMS_HANDLES
        call    ems_call
        mov     [scratch + L_ems.handles], bx
        mov     al, TAG_EMS
        mov     cx, L_ems_size
        jmp     section_in_scratch
.none:
        clc
        ret

; ems_call: ask the manager; what it refuses is 0.
; Input: AH.  Output: AX, and BX DX where AH = 0 (ZF=1), else BX = DX = 0.  Destroys: CX SI DI.
ems_call:
        push    ds
        push    es
        push    bp
        xor     bx, bx
        xor     dx, dx
        int     INT_EXPANDED
        cld
        pop     bp
        pop     es
        pop     ds
        test    ah, ah
        jz      .done
        mov     bx, 0
        mov     dx, 0
        test    ah, ah
.done:
        ret

        section .data
ems_name:               db 'EMMXXXX0'
ems_name_end:
        section .bss
        alignb  2
xms_entry:              resw 2
        section .text
