; The spool: a folder on any DOS drive, one file a record. New names only, nothing is overwritten.
; Writing works in the agent's own time and inside a hook (spool_write uses `dos`, own PSP, own stack).

ROOM_SIZE               equ 20 * 1024   ; kept free for the last sections: screen, rest of the console, end
SERIAL_SIZE             equ 4

section .data
record_extension:       db ".RDO", 0
room_name:              db "ROOM.RDX", 0
serial_name:            db "SERIAL.RDO", 0

section .staydata
spool_handle:           dw 0            ; 0: no file is open

section .staybss
spool_path:             resb PATH_MOST + 14     ; of the file that is open, or was
room_path:              resb PATH_MOST + 14
room_taken:             resb 1
        alignb  2
spool_written:          resd 1          ; octets of the file that DOS has
spool_used:             resw 1          ; octets in file_buffer
spool_error:            resw 1          ; DOS error of the last failure, see spool_say_error
file_buffer:            resb FILE_BUFFER_SIZE

section .text

; spool_name: put a folder entry behind the spool folder.
; Input: SI = name (ASCIIZ), DI = where the path goes.  Output: DI = its NUL.  Destroys: AX.
spool_name:
        push    si
        mov     si, option_spool
        call    copy_string
        pop     si
        ; fall through

; copy_string: copy a text that ends with NUL.
; Input: DS:SI, ES:DI.  Output: DI = the NUL that was copied.  Destroys: AX, SI.
copy_string:
        lodsb
        stosb
        test    al, al
        jnz     copy_string
        dec     di
        ret

; spool_create: create a new file for the record with this boot's nonce and an ordinal.
; The name is four digits from the nonce and four from the ordinal; where it exists, the first four change.
; Input: AX = ordinal.  Output: CF=1 and AX = DOS error when there is no file.
; Destroys: AX, BX, CX, DX, SI, DI.
spool_create:
        mov     bx, ax
        mov     dx, [boot_nonce]
        mov     cx, 64                  ; names to try
.name:
        push    cx
        mov     di, spool_path
        mov     si, option_spool
        call    copy_string
        mov     ax, dx
        call    hex16
        mov     ax, bx
        call    hex16
        mov     si, record_extension
        call    copy_string
        push    dx
        mov     dx, spool_path
        xor     cx, cx
        mov     ah, 5Bh                 ; create new
        call    dos
        pop     dx
        pop     cx
        jnc     .made
        cmp     ax, DOS_ERROR_EXISTS
        jne     .failed
        add     dx, 0101h
        loop    .name
.failed:
        mov     [spool_error], ax
        mov     word [spool_handle], 0
        stc
        ret
.made:
        mov     [spool_handle], ax
        xor     ax, ax
        mov     [spool_written], ax
        mov     [spool_written + 2], ax
        mov     [spool_used], ax
        clc
        ret

section .stay

; spool_put: append octets to the file. The check is taken of the copy, so that memory which changes meanwhile
; (the BIOS's, the screen) does no harm.
; Input: DS:SI = octets, CX = how many, CS:BX = running value that they go into, or BX = 0.
; Output: CF=1 when DOS could not write.  Destroys: AX, CX, SI.
spool_put:
        push    di
        push    es
        push    cs
        pop     es
        mov     ax, ds
        mov     di, cs
        cmp     ax, di
        jne     .more
        cmp     cx, FILE_BUFFER_SIZE
        jae     .straight
.more:
        jcxz    .done
        mov     ax, FILE_BUFFER_SIZE
        sub     ax, [cs:spool_used]
        cmp     ax, cx
        jbe     .fits
        mov     ax, cx
.fits:
        push    cx
        mov     cx, ax
        mov     di, file_buffer
        add     di, [cs:spool_used]
        add     [cs:spool_used], cx
        push    di
        rep     movsb
        pop     di
        test    bx, bx
        jz      .checked
        push    ds
        push    si
        push    cs
        pop     ds
        mov     si, di
        mov     cx, ax
        call    crc32_update
        pop     si
        pop     ds
.checked:
        pop     cx
        sub     cx, ax
        cmp     word [cs:spool_used], FILE_BUFFER_SIZE
        jb      .more
        call    spool_flush
        jnc     .more
        jmp     short .leave
.done:
        clc
.leave:
        pop     es
        pop     di
        ret
.straight:                              ; our own memory does not change meanwhile: without a copy
        call    spool_flush
        jc      .leave
        test    bx, bx
        jz      .summed
        call    crc32_update
.summed:
        push    bx
        push    dx
        mov     dx, si
        add     si, cx
        call    spool_hand
        pop     dx
        pop     bx
        jmp     short .leave

; spool_flush: hand what is in the buffer to DOS.
; Input: none.  Output: CF=1 when DOS could not write all of it; [spool_error].  Destroys: AX.
spool_flush:
        push    bx
        push    cx
        push    dx
        push    ds
        push    cs
        pop     ds
        mov     cx, [spool_used]
        jcxz    .good
        mov     dx, file_buffer
        call    spool_hand
        jc      .leave
        mov     word [spool_used], 0
.good:
        clc
.leave:
        pop     ds
        pop     dx
        pop     cx
        pop     bx
        ret

; spool_hand: hand octets to DOS.
; Input: DS:DX, CX; DS = CS.  Output: CF=1 when DOS could not write all of them; [spool_error].  Destroys: AX, BX.
spool_hand:
        mov     bx, [spool_handle]
        test    bx, bx
        jz      .full
        mov     ah, 40h
        call    dos
        jc      .failed
        cmp     ax, cx
        jne     .full
        add     [spool_written], ax
        adc     word [spool_written + 2], 0
        clc
        ret
.full:
        mov     ax, DOS_ERROR_DISK_FULL
.failed:
        mov     [spool_error], ax
        stc
        ret

; spool_cut: forget all octets of the file from an offset on.
; Input: DX:AX = offset, not beyond what was put.  Output: CF=1 when DOS could not.
; Destroys: AX, BX, CX, DX.
spool_cut:
        mov     word [spool_used], 0
        mov     [spool_written], ax
        mov     [spool_written + 2], dx
        mov     cx, dx
        mov     dx, ax
        mov     bx, [spool_handle]
        mov     ax, 4200h
        call    dos
        jc      .leave
        xor     cx, cx                  ; a write of nothing cuts the file here
        mov     ah, 40h
        call    dos
.leave:
        ret

section .text

; spool_commit: make what was written survive a power cut: the file is closed and opened again.
; A program that is started afterwards does not inherit its handle, so its own handles begin where they always do.
; Input: none.  Output: CF=1 and [spool_error] when that failed.  Destroys: AX, BX, CX, DX.
spool_commit:
        call    spool_close
        jc      .leave
        mov     dx, spool_path
        mov     ax, 3D00h | OPEN_NOT_INHERITED | OPEN_TO_WRITE
        call    dos
        jc      .failed
        mov     [spool_handle], ax
        mov     bx, ax
        xor     cx, cx
        xor     dx, dx
        mov     ax, 4202h               ; to its end
        call    dos
        jnc     .leave
.failed:
        mov     [spool_error], ax
        stc
.leave:
        ret

section .stay

; spool_close: close the file.
; Input: none.  Output: CF=1 and [spool_error] when DOS could not.  Destroys: AX, BX.
spool_close:
        call    spool_flush
        pushf
        xor     bx, bx
        xchg    bx, [spool_handle]
        test    bx, bx
        jz      .closed
        mov     ah, 3Eh
        call    dos
        jnc     .closed
        popf
        mov     [spool_error], ax
        stc
        ret
.closed:
        popf
        ret

section .text

; room_take: keep room on the disk for the last sections, in a file that room_give deletes.
; Input: none.  Output: CF=1 and [spool_error] when the disk has not that much.
; Destroys: AX, BX, CX, DX, SI, DI.
room_take:
        mov     si, room_name
        mov     di, room_path
        call    spool_name
        mov     dx, room_path
        xor     cx, cx
        mov     ah, 3Ch
        call    dos
        jc      .failed
        mov     byte [room_taken], 1
        mov     bx, ax
        xor     cx, cx
        mov     dx, ROOM_SIZE - 1
        mov     ax, 4200h
        call    dos
        jc      .close_failed
        mov     cx, 1                   ; one octet at the end takes all clusters before it
        mov     dx, room_name
        mov     ah, 40h
        call    dos
        jc      .close_failed
        cmp     ax, 1
        mov     ax, DOS_ERROR_DISK_FULL
        jb      .close_failed
        mov     ah, 3Eh
        call    dos
        jnc     .leave
        jmp     short .give
.close_failed:
        call    handle_close
.give:
        push    ax
        call    room_give
        pop     ax
.failed:
        mov     [spool_error], ax
        stc
.leave:
        ret

section .stay

; room_give: give the room back.
; Input: none.  Output: none.  Destroys: AX, DX.
room_give:
        cmp     byte [room_taken], 0
        je      .leave
        mov     byte [room_taken], 0
        mov     dx, room_path
        mov     ah, 41h
        call    dos
.leave:
        ret

section .text

; spool_say_error: say why the spool could not be written.
; Input: [spool_error].  Output: none.  Destroys: AX, SI.
spool_say_error:
        mov     si, text_spool
        call    put_string
        mov     si, option_spool
        call    put_string
        mov     ax, [spool_error]
        mov     si, text_spool_full
        cmp     ax, DOS_ERROR_DISK_FULL
        je      .say
        mov     si, text_spool_protected
        cmp     ax, DOS_ERROR_WRITE_PROTECT
        je      .say
        cmp     byte [critical_seen], CRITICAL_WRITE_PROTECT + 1
        je      .say
        mov     si, text_spool_not_ready
        cmp     byte [critical_seen], CRITICAL_NOT_READY + 1
        je      .say
        mov     si, text_spool_path
        cmp     ax, DOS_ERROR_PATH
        je      .say
        mov     si, text_spool_error
        call    put_string
        call    put_dec16
        jmp     put_line_end
.say:
        call    put_string
        jmp     put_line_end
