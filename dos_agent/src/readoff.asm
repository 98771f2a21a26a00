; READOFF.COM: the agent. Takes a snapshot of the configuration, runs programs and keeps what they
; print, show and return, sends files; each as a record in the spool, and over a line where one is set.
;
; nasm -f bin -w+all -w-unknown-warning -I dos_agent/src/ -o dos_agent/READOFF.COM dos_agent/src/readoff.asm
;
; Memory, from the bottom of the segment:
;       000h    PSP
;       100h    .hooks          code that stays in the chain of vectors while a program runs
;               .hookdata       and its variables
;               .text           all other code; there is no data in it
;               .data           texts, tables, variables with a first value
;               .start          code that is over before the first record; from here on, SCRATCH_SIZE octets are
;               .startdata      scratch: for building sections, and the console buffer while a program runs
;               .rest           the rest of scratch
;               .bss            buffers and stacks, cleared at the start
; Outside of hooks CS = DS = ES = SS = this segment, and DF = 0.

        cpu     8086
        bits    16
        org     100h

section .hooks
section .hookdata follows=.hooks align=2
section .text follows=.hookdata align=1
section .data follows=.text align=2
section .start follows=.data align=2
scratch:
section .startdata follows=.start align=1
section .rest nobits follows=.startdata align=1
section .bss nobits follows=.rest align=2
bss_begin:

; Ceilings; one that is passed stops the assembly.
HOOKS_LIMIT     equ 0800h
HOOKDATA_LIMIT  equ 0100h
TEXT_LIMIT      equ 3000h
DATA_LIMIT_     equ 0C00h
BSS_LIMIT       equ 1600h

AGENT_VERSION   equ 0001h               ; major in the high octet

%include "contract.inc"
%include "machine.inc"

section .hooks
entry:
        jmp     main

%include "hooks.asm"

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
%include "run.asm"
%include "execute.asm"
%include "vectors.asm"
%include "screen.asm"
%include "console.asm"
%include "send.asm"
%include "snapshot.asm"
%include "line.asm"
%include "texts.asm"

; ---- what scratch needs beyond the code and data that are over
section .start
start_size      equ $ - $$
section .startdata
startdata_size  equ $ - $$
section .rest
        resb    SCRATCH_SIZE - start_size - startdata_size
scratch_end:

; ---- stacks and the end of memory; the last thing in .bss
section .bss
        alignb  2
hook_stack:     resb HOOK_STACK_SIZE
hook_stack_top:
main_stack:     resb MAIN_STACK_SIZE
main_stack_top:
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
        ceiling .text, TEXT_LIMIT
        ceiling .data, DATA_LIMIT_
        ceiling .bss, BSS_LIMIT
