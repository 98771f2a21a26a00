; CRC-32 (ISO-HDLC): polynomial 04C11DB7h, reflected EDB88320h, as FCS-32 of RFC 1662.
; A running value starts as FFFFFFFFh; the check that is stored is its complement.

CRC_POLYNOMIAL_LOW      equ 8320h
CRC_POLYNOMIAL_HIGH     equ 0EDB8h

section .staybss
        alignb  2
crc_table:      resd 256

section .start

; crc_table_build: make the table of 256 values.
; Input: none.  Output: crc_table.  Destroys: AX, BX, CX, DX, DI.
crc_table_build:
        mov     di, crc_table
        xor     bx, bx
.value:
        mov     ax, bx
        xor     dx, dx
        mov     cx, 8
.bit:
        shr     dx, 1
        rcr     ax, 1
        jnc     .next_bit
        xor     ax, CRC_POLYNOMIAL_LOW
        xor     dx, CRC_POLYNOMIAL_HIGH
.next_bit:
        loop    .bit
        mov     [di], ax
        mov     [di + 2], dx
        add     di, 4
        inc     bl
        jnz     .value
        ret

section .stay

; crc32_update: let octets into a running value.
; Input: DS:SI = octets, CX = how many (0 to 65535), CS:BX = running value (dword).
; Output: CS:BX updated.  Destroys: nothing.
crc32_update:
        push    ax
        push    cx
        push    dx
        push    si
        push    di
        mov     di, bx
        mov     ax, [cs:di]
        mov     dx, [cs:di + 2]
        jcxz    .done
        push    bx
.octet:
        mov     bl, al
        xor     bl, [si]
        inc     si
        mov     al, ah                  ; the value moves down by 8 bits
        mov     ah, dl
        mov     dl, dh
        xor     dh, dh
        xor     bh, bh
        shl     bx, 1
        shl     bx, 1
        xor     ax, [cs:crc_table + bx]
        xor     dx, [cs:crc_table + bx + 2]
        loop    .octet
        pop     bx
        mov     [cs:di], ax
        mov     [cs:di + 2], dx
.done:
        pop     di
        pop     si
        pop     dx
        pop     cx
        pop     ax
        ret
