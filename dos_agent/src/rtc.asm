; The real-time clock and the CMOS memory behind ports 70h and 71h.
;
; Machines of the XT kind have neither; what those ports do there is anybody's guess, so they are only touched when the
; model octet says AT or later, or when the BIOS itself tells a plausible time. Each read is one uninterrupted pair and
; leaves the index at 0Dh, where a machine that loses power in between does least harm, with the NMI enabled as usual.

CMOS_INDEX              equ 70h
CMOS_DATA               equ 71h
RTC_SECONDS             equ 00h
RTC_STATUS_A            equ 0Ah
RTC_STATUS_B            equ 0Bh
RTC_STATUS_C            equ 0Ch
RTC_STATUS_D            equ 0Dh
RTC_CENTURY             equ 32h
RTC_A_UPDATING          equ 80h         ; update in progress: up to 2.3 ms
RTC_A_DIVIDER           equ 70h
RTC_A_DIVIDER_RUNS      equ 20h         ; 32,768 Hz, counting
RTC_B_SET               equ 80h         ; updates are held up
RTC_B_INTERRUPTS        equ 70h         ; some interrupt of the clock is in use
RTC_B_BINARY            equ 04h
RTC_D_VALID             equ 80h         ; the battery has held
RTC_SETTLE_LIMIT        equ 8192        ; polls: over 8 ms on any bus, half a second on the slowest machine
RTC_TRIES               equ 3
INT_CLOCK               equ 1Ah
CLOCK_READ_RTC          equ 02h
ROM_SEGMENT             equ 0F000h
ROM_MODEL               equ 0FFFEh
MODEL_AT                equ 0FCh
MODEL_PS2_30            equ 0FAh
MODEL_PS2_80            equ 0F8h
CMOS_CLOCK_SIZE         equ 10h
CMOS_SIZE               equ 80h
CMOS_FIRST_SIZE         equ 40h         ; of the first chips

        section .stay

; ----------------------------------------------------------------------------------------------
; cmos_read: one octet of CMOS memory; needed around a run, too.
; Input: AL = index, 0 to 7Fh.  Output: AL.  Destroys: AH.
cmos_read:
        pushf
        cli
        out     CMOS_INDEX, al
        jmp     short $+2               ; the chip is slower than the bus
        in      al, CMOS_DATA
        mov     ah, al
        mov     al, RTC_STATUS_D
        out     CMOS_INDEX, al
        jmp     short $+2
        in      al, CMOS_DATA           ; each write of the index wants a read after it
        mov     al, ah
        popf
        ret

        section .text

; ----------------------------------------------------------------------------------------------
; rtc_find: is there a real-time clock behind ports 70h and 71h? Asked once, then remembered.
; Input: none.  Output: CF=1 when there is none.  Destroys: AX BX CX DX.
rtc_find:
        cmp     byte [rtc_there], PRESENCE_UNKNOWN
        jne     .known
        mov     byte [rtc_there], PRESENCE_ABSENT
        push    es
        mov     ax, ROM_SEGMENT
        mov     es, ax
        mov     al, [es:ROM_MODEL]
        pop     es
        cmp     al, MODEL_AT
        je      .at_kind
        cmp     al, MODEL_PS2_30
        je      .at_kind
        cmp     al, MODEL_PS2_80
        je      .at_kind
        call    bios_tells_time
        jc      .known
        mov     al, RTC_STATUS_D        ; a clock of this kind: its low seven bits are 0
        call    cmos_read
        test    al, ~RTC_D_VALID & 0FFh
        jnz     .known
        call    ports_tell_time
        jc      .known
        jmp     short .there
.at_kind:
        call    ports_are_alive
        jc      .known
.there:
        mov     byte [rtc_there], PRESENCE_PRESENT
.known:
        cmp     byte [rtc_there], PRESENCE_PRESENT      ; CF=1 when below, that is absent
        ret

; bios_tells_time: does INT 1Ah AH=02h give a time? An XT's BIOS leaves the registers as they are.
; Input: none.  Output: CF=1 when not.  Destroys: AX BX CX DX.
bios_tells_time:
        push    bp
        push    si
        push    di
        push    es
        mov     ah, CLOCK_READ_RTC
        mov     cx, 0FFFFh              ; no time
        mov     dx, cx
        stc
        int     INT_CLOCK
        cld
        pop     es
        pop     di
        pop     si
        pop     bp
        jc      .done
        mov     al, ch
        mov     bl, 23h
        call    decimal_within
        jc      .done
        mov     al, cl
        mov     bl, 59h
        call    decimal_within
        jc      .done
        mov     al, dh
        call    decimal_within
.done:
        ret

; decimal_within: is this two decimal digits, at most so many?
; Input: AL, BL = largest, in BCD.  Output: CF=1 when not.  Destroys: AH.
decimal_within:
        cmp     bl, al
        jb      .done
        mov     ah, al
        and     ah, 0Fh
        cmp     ah, 0Ah                 ; CF=1 when it is a digit
        cmc
.done:
        ret

; ports_tell_time: do the clock registers hold a plausible time and date?
; Input: none.  Output: CF=1 when not.  Destroys: AX BX CX.
ports_tell_time:
        push    si
        mov     al, RTC_STATUS_B
        call    cmos_read
        mov     cl, al                  ; CL = status B
        mov     si, rtc_limits
.next:
        mov     ax, [si]                ; AL = register, AH = largest in BCD
        cmp     al, 0FFh
        je      .done                   ; CF=0: equal
        mov     bl, ah
        call    cmos_read
        and     al, 7Fh                 ; bit 7 of the hour: afternoon
        test    cl, RTC_B_BINARY
        jnz     .binary
        call    decimal_within
        jc      .done
.binary:
        cmp     bl, al
        jb      .done
        cmp     al, [si + 2]            ; CF=1 when below the least
        jb      .done
        add     si, 3
        jmp     short .next
.done:
        pop     si
        ret

; ports_are_alive: do the first fourteen registers differ at all? A bus with nothing on it reads alike everywhere.
; Input: none.  Output: CF=1 when not.  Destroys: AX BX CX.
ports_are_alive:
        mov     al, RTC_STATUS_D
        call    cmos_read
        mov     bl, al
        mov     cx, RTC_STATUS_D        ; registers CX-1 = 0Ch to 0; 0Ch is passed over: reading it has an effect
.next:
        mov     al, cl
        dec     al
        cmp     al, RTC_STATUS_C
        je      .same
        call    cmos_read
        cmp     al, bl
        jne     .alive
.same:
        loop    .next
        stc
        ret
.alive:
        clc
        ret

; ----------------------------------------------------------------------------------------------
; rtc_read: read the clock.
; Input: none.  Output: AL = RTC_STATE_*; rtc_registers and rtc_status_b filled (zeros when absent).
; Destroys: AH BX CX DX SI DI.
rtc_read:
        mov     di, rtc_registers
        mov     cx, L_boot.rtc_status_b - L_boot.rtc + 1
        call    clear                   ; the status octet follows the registers
        call    rtc_find
        jnc     .there
        mov     al, RTC_STATE_ABSENT
        ret
.there:
        mov     dx, RTC_TRIES
.again:
        call    rtc_settle
        mov     bl, al                  ; BL = status A at the last look
        mov     si, rtc_indexes
        mov     di, rtc_registers
        mov     cx, L_boot.rtc_status_b - L_boot.rtc
.next:
        lodsb
        call    cmos_read
        stosb
        loop    .next
        mov     al, RTC_SECONDS
        call    cmos_read
        cmp     al, [rtc_registers]
        je      .steady
        dec     dx                      ; a second passed while we read
        jnz     .again
.steady:
        mov     al, RTC_STATUS_B
        call    cmos_read
        mov     [rtc_status_b], al
        mov     bh, RTC_STATE_STOPPED
        test    al, RTC_B_SET
        jnz     .done
        and     bl, RTC_A_UPDATING | RTC_A_DIVIDER
        cmp     bl, RTC_A_DIVIDER_RUNS
        jne     .done
        mov     bh, RTC_STATE_BATTERY_LOW
        mov     al, RTC_STATUS_D
        call    cmos_read
        test    al, RTC_D_VALID
        jz      .done
        mov     bh, RTC_STATE_READ
.done:
        mov     al, bh
        ret

; rtc_settle: wait until no update is in progress, but never for long.
; Input: none.  Output: AL = status A as last seen; its top bit still set when the update never ended.
; Destroys: AH CX.
rtc_settle:
        mov     cx, RTC_SETTLE_LIMIT
.poll:
        mov     al, RTC_STATUS_A
        call    cmos_read
        test    al, RTC_A_UPDATING
        loopnz  .poll
        ret

; ----------------------------------------------------------------------------------------------
; cmos_section: write the section cmos; machines without have none.
; Input: none.  Output: CF=1 when the spool failed.  Destroys: AX BX CX DX SI DI.
cmos_section:
        call    rtc_find
        jnc     .there
        clc
        ret
.there:
        mov     al, RTC_STATUS_B
        call    cmos_read
        mov     bl, al
        mov     di, scratch
        xor     cx, cx
.next:
        cmp     cl, RTC_STATUS_C        ; reading it acknowledges the clock's interrupts: only when none is in use
        jne     .read
        mov     al, 0
        test    bl, RTC_B_INTERRUPTS
        jnz     .store
.read:
        mov     al, cl
        call    cmos_read
.store:
        stosb
        inc     cx
        cmp     cx, CMOS_SIZE
        jb      .next
        call    cmos_unmirror
        mov     byte [scratch + RTC_CENTURY], 0 ; belongs to the clock, not to the settings
        mov     cx, CMOS_SIZE
        mov     al, TAG_CMOS
        jmp     section_in_scratch

; cmos_unmirror: the first chips had 64 octets and show them twice; the second time, clock and all, becomes zeros.
; Input: scratch = 128 octets.  Output: scratch.  Destroys: AX CX SI DI.
cmos_unmirror:
        mov     si, scratch + CMOS_CLOCK_SIZE
        mov     di, scratch + CMOS_FIRST_SIZE + CMOS_CLOCK_SIZE
        mov     cx, CMOS_FIRST_SIZE - CMOS_CLOCK_SIZE
        repe    cmpsb
        jne     .done
        mov     ax, [scratch + RTC_STATUS_A]
        xor     ax, [scratch + CMOS_FIRST_SIZE + RTC_STATUS_A]
        and     ax, ~RTC_A_UPDATING & 0FFFFh    ; status A and B
        jnz     .done
        mov     di, scratch + CMOS_FIRST_SIZE
        mov     cx, CMOS_FIRST_SIZE
        rep     stosb                   ; AL = 0
.done:
        ret

%if L_cmos_size != CMOS_SIZE || L_cmos.settings != CMOS_CLOCK_SIZE
%error "the section cmos is no longer what this file fills in"
%endif

        section .data
rtc_there:              db PRESENCE_UNKNOWN
; register, largest in BCD, least
rtc_limits:             db RTC_SECONDS, 59h, 0, 2, 59h, 0, 4, 23h, 0, 7, 31h, 1, 8, 12h, 1, 0FFh
        section .bss
rtc_registers:          resb L_boot.rtc_status_b - L_boot.rtc
rtc_status_b:           resb 1
        section .text
