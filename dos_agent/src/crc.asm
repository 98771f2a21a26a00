; CRC-32 (ISO-HDLC): polynomial 04C11DB7h, reflected EDB88320h, as FCS-32 of RFC 1662.
; A running value starts as FFFFFFFFh; the check that is stored is its complement.

CRC_POLYNOMIAL_LOW      equ 8320h
CRC_POLYNOMIAL_HIGH     equ 0EDB8h
CRC_VALUES              equ 256
CRC_0                   equ crc_table   ; each octet of the values by itself: no index needs shifting
CRC_1                   equ crc_table + CRC_VALUES
CRC_2                   equ crc_table + 2 * CRC_VALUES
CRC_3                   equ crc_table + 3 * CRC_VALUES

section .staybss
        alignb  2
crc_table:      resb 4 * CRC_VALUES     ; lowest octets of all values, then the next ones

section .start

; crc_table_build: make the table of 256 values.
; Input: none.  Output: crc_table.  Destroys: AX, BX, CX, DX.
crc_table_build:
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
        mov     [CRC_0 + bx], al
        mov     [CRC_1 + bx], ah
        mov     [CRC_2 + bx], dl
        mov     [CRC_3 + bx], dh
        inc     bl
        jnz     .value
        ret

section .stay

; crc_octet: let an octet into a running value whose octets lie in %1 (lowest) to %4; it is in %1 already, by XOR.
; The value lies in %2, %3, %4, %1 afterwards: nothing is moved. BH = 0. Destroys: BL.
%macro crc_octet 4
        mov     bl, %1
        xor     %2, [cs:CRC_0 + bx]
        xor     %3, [cs:CRC_1 + bx]
        xor     %4, [cs:CRC_2 + bx]
        mov     %1, [cs:CRC_3 + bx]
%endmacro

; crc32_update: let octets into a running value. 6 instructions an octet.
; Input: DS:SI = octets, CX = how many (0 to 65535), CS:BX = running value (dword).
; Output: CS:BX updated.  Destroys: nothing.
crc32_update:
        push    ax
        push    cx
        push    dx
        push    si
        push    di
        push    bx
        mov     di, bx
        mov     ax, [cs:di]
        mov     dx, [cs:di + 2]
        xor     bh, bh
        push    cx
        shr     cx, 1
        shr     cx, 1
        jcxz    .rest
.four:
        xor     ax, [si]
        xor     dx, [si + 2]
        crc_octet al, ah, dl, dh
        crc_octet ah, dl, dh, al
        crc_octet dl, dh, al, ah
        crc_octet dh, al, ah, dl
        add     si, 4
        loop    .four
.rest:
        pop     cx
        and     cx, 3
        jcxz    .done
.octet:
        xor     al, [si]
        crc_octet al, ah, dl, dh
        inc     si
        xchg    al, ah                  ; back to where they were
        xchg    ah, dl
        xchg    dl, dh
        loop    .octet
.done:
        mov     [cs:di], ax
        mov     [cs:di + 2], dx
        pop     bx
        pop     di
        pop     si
        pop     dx
        pop     cx
        pop     ax
        ret
