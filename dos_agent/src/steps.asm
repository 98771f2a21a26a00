; The steps of STANDBY: what the host may tell an agent to do. Each comes back with CF=0 to go on, or with CF=1 and
; AL = exit code.

TICKS_A_SECOND          equ 18
SECONDS_MOST            equ 3000        ; of a wait, so that its ticks fit 16 bits
PAUSE_FOR_DISKS         equ 1           ; seconds between the last write and a reset
DOS_FLUSH               equ 0Dh
KEYBOARD_STATUS         equ 64h         ; of the AT's keyboard controller
KEYBOARD_COMMAND        equ 64h
KEYBOARD_FULL           equ 02h         ; it has not taken the last octet yet
KEYBOARD_PULSE_RESET    equ 0FEh        ; pulse its output line 0, which is the processor's reset

section .data
        align   2
standby_steps:          dw step_nothing, step_run, step_snapshot, step_reset, step_person, step_wait, step_power, step_probe
                        dw step_send
STEPS                   equ ($ - standby_steps) / 2
%if WHAT_NOTHING != 0 || WHAT_RUN != 1 || WHAT_SNAPSHOT != 2 || WHAT_RESET != 3 || WHAT_PERSON != 4 || WHAT_WAIT != 5
%error "standby_steps has another order"
%endif
%if WHAT_POWER != 6 || WHAT_PROBE != 7 || WHAT_SEND != 8 || STEPS != 9
%error "standby_steps has another order"
%endif
section .text

; step_nothing: give the prompt back.
step_nothing:
        mov     al, EXIT_ALL
        stc
        ret

; step_run: one run of a program, as RUN does it. What goes wrong with the program is in its record.
step_run:
        xor     ax, ax
        mov     [missing], al
        mov     [run_nothing], al
        mov     [run_spool], al
        inc     ax
        mov     [option_repeats], ax
        call    command_run
        jmp     short step_spool

; step_snapshot: a snapshot record.
step_snapshot:
        call    snapshot_record
        mov     al, EXIT_SPOOL
        jc      step_spool
        clc
        ret

; step_probe: one of the agent's own probes, once, as PROBE does it.
step_probe:
        xor     ax, ax
        mov     [missing], al
        mov     [run_spool], al
        inc     ax
        mov     [option_repeats], ax
        call    command_probe
        jmp     short step_spool

; step_send: a file into a record, as SEND does it. One that is not there leaves no record, and the host goes on without.
step_send:
        mov     si, program_word
        mov     di, file_path
        call    copy_string
        call    send_pattern
        mov     al, EXIT_SPOOL
        jc      step_spool
        clc
        ret

; step_spool: go on, unless the spool can't be written: a step that leaves no record would be given for ever.
step_spool:
        cmp     al, EXIT_SPOOL
        stc
        je      .done
        clc
.done:
        ret

%include "power.asm"

; step_wait: wait as long as the host says.
step_wait:
        call    standby_wait
        jc      step_stopped
        ret

; step_person: wait for a person's key, or as long as the host says.
step_person:
        cmp     byte [standby_same], 0
        jne     .wait
        mov     si, text_standby_key
        call    put_string
        call    keys_forget             ; what was typed before is no answer
.wait:
        call    standby_wait
        jc      step_stopped
        mov     [standby_told], al
        ret

; step_stopped: the end of standing by, to the prompt.
; Input: none.  Output: AL = exit code, CF=1.  Destroys: SI.
step_stopped:
        mov     si, text_standby_prompt
        call    put_string
        mov     al, EXIT_MISSING
        stc
        ret

; standby_wait: wait for a key, or for the step's seconds.
; Input: standby_step.  Output: AL = ASK_FLAGS_TOLD after a key, else 0; CF=1 when the person has had enough.
; Destroys: AX BX CX DX.
standby_wait:
        mov     ax, [standby_step + L_step.seconds]
        cmp     ax, SECONDS_MOST
        jbe     .short
        mov     ax, SECONDS_MOST
.short:
        mov     bx, TICKS_A_SECOND
        mul     bx
        mov     [standby_until], ax
        call    ticks_begin
.look:
        call    stop_wanted
        jc      .done
        mov     ah, KEY_LOOK
        int     INT_KEYBOARD
        jnz     .key
        push    word [ticks_count]
.tick:
        call    ticks_now
        pop     bx
        push    bx
        cmp     ax, bx
        je      .tick                   ; once a tick is often enough
        pop     bx
        cmp     ax, [standby_until]
        jb      .look
        xor     al, al                  ; CF=0
        ret
.key:
        cmp     al, KEY_ESCAPE          ; it has come since stop_wanted looked
        je      .look
        cmp     al, KEY_CTRL_C
        je      .look
        mov     ah, KEY_TAKE
        int     INT_KEYBOARD
        mov     al, ASK_FLAGS_TOLD
        clc
.done:
        ret

; keys_forget: take all keys out of the keyboard's buffer.
; Input: none.  Output: none.  Destroys: AX.
keys_forget:
        mov     ah, KEY_LOOK
        int     INT_KEYBOARD
        jz      .done
        mov     ah, KEY_TAKE
        int     INT_KEYBOARD
        jmp     short keys_forget
.done:
        ret

; step_reset: a warm reset. Disk buffers are written first; the boot mark goes, for not every BIOS clears its place.
; From the 286 on it is the keyboard controller that resets; where it does not, and before the 286, the BIOS is entered
; where the processor enters it. Never comes back.
step_reset:
        mov     ah, DOS_FLUSH
        call    dos
        mov     word [standby_step + L_step.seconds], PAUSE_FOR_DISKS
        call    standby_wait
        jc      step_stopped
        cli
        mov     ax, BIOS_DATA
        mov     es, ax
        mov     word [es:BDA_RESET], RESET_WARM
        mov     di, BOOT_MARK_OFFSET
        mov     cx, L_boot_mark_size
        call    clear
        push    sp
        pop     ax
        cmp     ax, sp
        jne     .enter                  ; before the 286: no such controller
        xor     cx, cx
.full:
        in      al, KEYBOARD_STATUS
        test    al, KEYBOARD_FULL
        loopnz  .full
        mov     al, KEYBOARD_PULSE_RESET
        out     KEYBOARD_COMMAND, al
        mov     dx, 8
        xor     cx, cx
.pulse:
        loop    .pulse
        dec     dx
        jnz     .pulse
.enter:
        jmp     0FFFFh:0000h
%if BOOT_MARK_SEGMENT != BIOS_DATA
%error "the boot mark is elsewhere"
%endif

section .data
text_standby_key:       db "Any key when it is done; ESC gives the prompt back.", CR, LF, 0

section .bss
        alignb  2
standby_until:          resw 1          ; ticks of a wait
section .text
