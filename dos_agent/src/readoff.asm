; READOFF.COM: the agent. Takes a snapshot of the configuration, runs programs and keeps what they
; print, show and return, sends files; each as a record in the spool, and over a line where one is set.
;
; nasm -f bin -w+all -w-unknown-warning -I dos_agent/src/ -o dos_agent/READOFF.COM dos_agent/src/readoff.asm
;
; Memory, from the bottom of the segment:
;       000h    PSP
;       100h    .hooks          code that stays in the chain of vectors when a resident program sits on it
;               .hookdata       and its variables
;               .stay           code that is needed while a program runs, and to come back
;               .staydata       and its texts, tables, variables with a first value
;               .start          code that is over before the first record; from here on, SCRATCH_SIZE octets are
;               .startdata      scratch: for building sections, and the console buffer while a program runs
;               .rest           the rest of scratch
;               .staybss        buffers and stacks, cleared at the start
;       ---- up to here while a program runs; then the overlay (overlay.asm):
;               .text           all other code
;               .data           its texts, tables, variables with a first value
;               .bss            its buffers, cleared whenever it is read
; There is no data in code. In the file .text follows .startdata; the start moves it to where it belongs.
; What stays may call nothing of the overlay; the overlay calls what it likes.
; Outside of hooks CS = DS = ES = SS = this segment, and DF = 0.

        cpu     8086
        bits    16
        org     100h
        sectalign off                   ; sections begin where they are told to

section .hooks
section .hookdata follows=.hooks align=2
section .stay follows=.hookdata align=1
section .staydata follows=.stay align=2
section .start follows=.staydata align=2
scratch:
section .startdata follows=.start align=1
section .rest nobits follows=.startdata align=1
section .staybss nobits follows=.rest align=16
staybss_begin:
section .text follows=.startdata vfollows=.staybss align=2 valign=2
overlay_begin:
section .data follows=.text vfollows=.text align=2 valign=2
section .bss nobits vfollows=.data valign=16
bss_begin:

OVERLAY_LOADED  equ section..text.start ; where DOS puts the overlay

; Ceilings; one that is passed stops the assembly.
HOOKS_LIMIT     equ 0800h
HOOKDATA_LIMIT  equ 0180h
STAY_LIMIT      equ 2400h
STAYDATA_LIMIT  equ 0800h
STAYBSS_LIMIT   equ 1800h
TEXT_LIMIT      equ 5800h
DATA_LIMIT_     equ 1800h
BSS_LIMIT       equ 1400h

AGENT_VERSION   equ 0001h               ; major in the high octet

%include "contract.inc"
%include "machine.inc"

section .hooks
entry:
        jmp     main

%include "hooks.asm"
%include "waits.asm"
%include "limit.asm"
%include "typing.asm"
%include "hotkey.asm"

section .hookdata
hookdata_end:
section .startdata
indos_operands_end:

section .text
%include "main.asm"
%include "output.asm"
%include "options.asm"
%include "values.asm"
%include "words.asm"
%include "crc.asm"
%include "record.asm"
%include "spool.asm"
%include "bootmark.asm"
%include "clock.asm"
%include "program.asm"
%include "overlay.asm"
%include "run.asm"
%include "run_start.asm"
%include "run_said.asm"
%include "execute.asm"
%include "vectors.asm"
%include "screen.asm"
%include "moments.asm"
%include "planes.asm"
%include "picture.asm"
%include "console.asm"
%include "send.asm"
%include "files.asm"
%include "kept_files.asm"
%include "unfinished.asm"
%include "snapshot.asm"
%include "line.asm"
%include "standby.asm"
%include "script.asm"
%include "keynames.asm"
%include "probe.asm"
%include "texts.asm"

; ---- what scratch needs beyond the code and data that are over
section .start
start_size      equ $ - $$
section .startdata
startdata_size  equ $ - $$
section .rest
        resb    SCRATCH_SIZE - start_size - startdata_size
scratch_end:

; ---- stacks: the last thing in .staybss
section .staybss
        alignb  2
main_stack:
hook_stack:     resb MAIN_STACK_SIZE - EXEC_DEPTH
hook_stack_top:                         ; hooks use what is not in use above the agent's own EXEC
                resb EXEC_DEPTH
main_stack_top:
MCB_SIZE        equ 16
        alignb  16
stay_end:
        resb    MCB_SIZE                ; DOS's, when it has the overlay's memory

; ---- the overlay's end, and the end of memory
section .data
overlay_end:
section .bss
        alignb  16
agent_end:

%macro ceiling 2
section %1
%if ($ - $$) > %2
        %error a section has outgrown its ceiling
%endif
%endmacro
        ceiling .hooks, HOOKS_LIMIT
        ceiling .hookdata, HOOKDATA_LIMIT
        ceiling .stay, STAY_LIMIT
        ceiling .staydata, STAYDATA_LIMIT
        ceiling .staybss, STAYBSS_LIMIT
        ceiling .text, TEXT_LIMIT
        ceiling .data, DATA_LIMIT_
        ceiling .bss, BSS_LIMIT
