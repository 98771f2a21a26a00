; The snapshot's display: its mode, and which kind of adapter its BIOS says it is.

VIDEO_COMBINATION       equ 1A00h
VIDEO_ALTERNATE         equ 12h         ; AH; BL = 10h: what an EGA has
VIDEO_EGA_INFORMATION   equ 10h
EQUIPMENT_DISPLAY       equ 30h         ; bits 5-4: 11 where the machine starts in monochrome
ROWS_USUAL              equ 25

; display_section: write the section display.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
display_section:
        call    display_ask
        mov     [scratch + L_display.class], al
        mov     [display_known], al
        push    es
        mov     bx, BIOS_DATA
        mov     es, bx
        mov     dl, [es:BDA_VIDEO_MODE]
        mov     dh, [es:BDA_COLUMNS]
        mov     [scratch + L_display.mode], dx  ; and the columns
        mov     ah, ROWS_USUAL
        cmp     al, DISPLAY_CLASS_EGA
        jb      .rows
        mov     ah, [es:BDA_ROWS_LESS_ONE]
        inc     ah
.rows:
        mov     [scratch + L_display.rows], ah
        pop     es
        mov     al, TAG_DISPLAY
        mov     cx, L_display_size
        jmp     section_in_scratch

%if L_display.columns != L_display.mode + 1 || L_display.alternate != L_display.combination + 1
%error "neighbours in the section display are written as one word"
%endif
%if L_display.ega_memory != L_display.ega_switches + 1
%error "EGA switches and memory are written as one word"
%endif

; display_ask: ask the display BIOS by all its ways.
; Input: none.  Output: AL = DISPLAY_CLASS_*; combination, alternate, EGA switches and memory in scratch.
; Destroys: AH BX CX DX SI DI.
display_ask:
        push    es
        push    bp
        mov     word [scratch + L_display.combination], 0
        mov     word [scratch + L_display.ega_switches], 0FFFFh
        mov     ah, VIDEO_ALTERNATE
        mov     bx, 0FF00h | VIDEO_EGA_INFORMATION      ; BH becomes 0 or 1, BL 0 to 3
        mov     cx, 0FFFFh
        int     INT_VIDEO
        cmp     bx, 0103h
        ja      .no_ega
        cmp     bl, 3
        ja      .no_ega
        mov     ch, bl
        mov     [scratch + L_display.ega_switches], cx  ; switches, memory
.no_ega:
        mov     ax, VIDEO_COMBINATION
        xor     bx, bx
        int     INT_VIDEO
        cld
        pop     bp
        pop     es
        cmp     al, VIDEO_COMBINATION >> 8
        jne     .no_combination
        mov     [scratch + L_display.combination], bx   ; active, alternate
        mov     al, bl
        mov     bx, display_classes
        cmp     al, display_classes_end - display_classes
        jae     .no_combination
        xlatb
        cmp     al, DISPLAY_CLASS_UNKNOWN
        jne     .told
.no_combination:
        mov     al, DISPLAY_CLASS_EGA
        cmp     byte [scratch + L_display.ega_memory], 0FFh
        jne     .told
        int     INT_EQUIPMENT
        and     al, EQUIPMENT_DISPLAY
        cmp     al, EQUIPMENT_DISPLAY
        mov     al, DISPLAY_CLASS_MDA
        je      .told
        mov     al, DISPLAY_CLASS_CGA
.told:
        ret

        section .data
; DISPLAY_CLASS_* by the combination code of INT 10h AX=1A00h
display_classes:        db DISPLAY_CLASS_UNKNOWN, DISPLAY_CLASS_MDA, DISPLAY_CLASS_CGA, DISPLAY_CLASS_UNKNOWN
                        db DISPLAY_CLASS_EGA, DISPLAY_CLASS_EGA, DISPLAY_CLASS_UNKNOWN, DISPLAY_CLASS_VGA
                        db DISPLAY_CLASS_VGA, DISPLAY_CLASS_UNKNOWN, DISPLAY_CLASS_MCGA, DISPLAY_CLASS_MCGA
                        db DISPLAY_CLASS_MCGA
display_classes_end:
        section .text
