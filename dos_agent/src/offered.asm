; What the line reads: the names in the spool folder, and pieces of a record's file.

NAME_SIZE               equ 13          ; 8.3 and NUL
NAMES_MOST              equ 40          ; names taken from the folder at a time
DOS_FIND_FIRST          equ 4Eh
DOS_FIND_NEXT           equ 4Fh
DOS_SEEK_FROM_END       equ 4202h
FILE_STEP               equ 512
FILE_SIZE               equ 3 * FILE_STEP       ; holds any piece, from the step below it on

; ----------------------------------------------------------------------------------------------
; spool_first, spool_next: find record files, the serial left out.
; Input: the DTA is dta.  Output: CF=1 when there is none (more); SI = its name.  Destroys: AX CX DX DI.
spool_first:
        mov     si, text_line_pattern
        mov     di, spool_path
        call    spool_name
        mov     dx, spool_path
        xor     cx, cx                  ; plain files
        mov     ah, DOS_FIND_FIRST
        jmp     short spool_next.find
spool_next:
        mov     ah, DOS_FIND_NEXT
.find:
        call    dos
        jc      .done
        mov     si, dta + DTA_NAME
        mov     di, serial_name
        mov     cx, SERIAL_NAME_SIZE
        repe    cmpsb
        je      spool_next
        mov     si, dta + DTA_NAME
        clc
.done:
        ret

; spool_count: how many records there are.
; Input: the DTA is dta.  Output: AX.  Destroys: BX CX DX SI DI.
spool_count:
        xor     bx, bx
        call    spool_first
.next:
        jc      .done
        inc     bx
        call    spool_next
        jmp     short .next
.done:
        mov     ax, bx
        ret

; names_gather: take names from the folder, after those that stay.
; Input: line_stays.  Output: CX = how many, in line_work.names.  Destroys: AX BX DX SI DI BP.
;
; The folder is searched anew each time: what a search that is under way does when files go is up to the drive.
names_gather:
        mov     bp, [line_stays]
        mov     bx, line_work + L_line_work.names
        call    spool_first
.next:
        jc      .done
        test    bp, bp
        jz      .take
        dec     bp
        jmp     short .step
.take:
        cmp     bx, line_work + L_line_work.names + NAMES_MOST * NAME_SIZE
        jae     .done
        mov     di, bx
        mov     cx, NAME_SIZE
        rep     movsb
        add     bx, NAME_SIZE
.step:
        call    spool_next
        jmp     short .next
.done:
        mov     ax, bx
        sub     ax, line_work + L_line_work.names
        mov     cl, NAME_SIZE
        div     cl
        mov     cl, al
        xor     ch, ch
        ret
%if NAMES_MOST * NAME_SIZE / NAME_SIZE > 255
%error "names_gather counts in an octet"
%endif

; ----------------------------------------------------------------------------------------------
; file_look: what there is to offer of the open file.
; Input: line_handle, DI = L_offer to be filled.  Output: CF=1 when it can't be read or is no record.
; Destroys: AX BX CX DX SI.
file_look:
        mov     word [file_held], 0     ; the buffer is used for this
        mov     bx, [line_handle]
        xor     ax, ax
        xor     dx, dx
        mov     cx, L_header_size
        call    file_read
        jc      .done
        mov     si, line_work + L_line_work.file
        cmp     word [si + L_header.magic], 'RO'
        jne     .no
        cmp     word [si + L_header.magic + 2], 'f' | 1Ah << 8
        jne     .no
        add     si, L_header.id
        mov     cx, L_record_id_size
        push    di
        rep     movsb
        pop     di
        mov     ax, DOS_SEEK_FROM_END
        xor     cx, cx
        xor     dx, dx
        call    dos
        jc      .done
        mov     [di + L_offer.length], ax
        mov     [di + L_offer.length + 2], dx
        sub     ax, CHECK_SIZE
        sbb     dx, 0
        mov     cx, CHECK_SIZE
        call    file_read
        jc      .done
        mov     ax, [line_work + L_line_work.file]
        mov     [di + L_offer.check], ax
        mov     ax, [line_work + L_line_work.file + 2]
        mov     [di + L_offer.check + 2], ax
        clc
        ret
.no:
        stc
.done:
        ret

; file_read: read octets of the open file into line_work.file.
; Input: BX = handle, DX:AX = offset, CX = how many.  Output: AX = how many; CF=1 when less than asked for.
; Destroys: CX DX.
file_read:
        push    cx
        mov     cx, dx
        mov     dx, ax
        mov     ax, DOS_SEEK
        call    dos
        pop     cx
        jc      .done
        mov     dx, line_work + L_line_work.file
        mov     ah, DOS_READ
        call    dos
        jc      .done
        cmp     ax, cx
.done:
        ret

; ----------------------------------------------------------------------------------------------
; piece_send: send a data frame.
; Input: piece_begin, piece_size.  Output: CF=1 when the file can't be read or the port is stuck.
; Destroys: AX BX CX DX SI DI BP.
piece_send:
        call    piece_load
        jc      .done
        push    si
        mov     si, line_offer + L_offer.id
        mov     di, line_work + L_line_work.head
        mov     al, FRAME_DATA
        stosb
        mov     cx, L_record_id_size
        rep     movsb
        mov     si, piece_begin
        mov     cx, 4
        rep     movsb
        pop     bx
        mov     dx, [piece_size]
        mov     si, line_work + L_line_work.head
        mov     cx, 1 + L_data_size
        call    frame_send
.done:
        ret

; piece_load: have the octets of a piece in memory.
; Input: piece_begin, piece_size.  Output: SI = them; CF=1 when they can't be read.  Destroys: AX BX CX DX.
piece_load:
        call    .held
        jnc     .done
        mov     ax, [piece_begin]
        mov     dx, [piece_begin + 2]
        and     ax, ~(FILE_STEP - 1) & 0FFFFh
        mov     [file_begin], ax
        mov     [file_begin + 2], dx
        mov     bx, [line_handle]
        mov     cx, FILE_SIZE
        mov     word [file_held], 0
        call    file_read
        jnc     .read
        cmp     ax, FILE_SIZE           ; less than asked for is usual; an error code is caught by .held
        ja      .failed
.read:
        mov     [file_held], ax
        call    .held
.done:
        ret
.failed:
        stc
        ret
; .held: CF=1 when the piece is not in memory; SI.
.held:
        mov     ax, [piece_begin]
        mov     dx, [piece_begin + 2]
        sub     ax, [file_begin]
        sbb     dx, [file_begin + 2]
        jnz     .absent                 ; below, or 64 KB above
        mov     si, ax
        add     ax, [piece_size]
        jc      .absent
        cmp     [file_held], ax
        lea     si, [line_work + L_line_work.file + si]
        ret
.absent:
        stc
        ret

        section .data
text_line_pattern:      db '*.RDO', 0
SERIAL_NAME_SIZE        equ 11          ; SERIAL.RDO and NUL
        section .bss
        alignb  2
file_begin:             resd 1          ; part of the file that is in memory: from here,
file_held:              resw 1          ; so many octets
        section .text
