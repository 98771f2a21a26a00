"""What the hooks do to a program: nothing that it could notice.

Each program runs alone and under the agent; registers, flags, stack and DOS's state must come out the same.
"""

from __future__ import annotations

import pytest

from readoff.box import AT, LATE, XT, Box, Drive, MachineSpec
from support.agent_box import agent_box, console, end_of, readoff, run_under_agent
from support.box_programs import run_source

# -- DOS's state -----------------------------------------------------------------------------------

# Prints much (so that the buffer is written from inside), and looks before and after at: extended error, DTA, PSP,
# BREAK, vectors 23h and 24h, InDOS.
STATE = """
main:
        push    cs
        pop     es
        set_vector 24h, mine24
        mov     dx, 1234h
        mov     ah, 1Ah
        int     21h
        mov     dl, 1
        mov     ax, 3301h
        int     21h
        mov     dx, nofile
        mov     ax, 3D00h
        int     21h                     ; an error to remember: 2
        mov     di, results
        call    look
        mov     cx, 3
.more:  push    cx
        mov     dx, block
        mov     cx, 4000
        mov     bx, 1
        mov     ah, 40h
        int     21h
        pop     cx
        loop    .more
        mov     di, results + 64
        call    look
        exit
mine24: mov     al, 3
        iret
look:   push    es
        push    di
        mov     ah, 59h
        xor     bx, bx
        int     21h
        pop     di
        push    cs
        pop     ds
        mov     [di], ax
        mov     ah, 2Fh
        int     21h
        mov     [di + 2], bx
        mov     ax, es
        mov     bx, cs
        sub     ax, bx
        mov     [di + 4], ax
        mov     ah, 51h
        int     21h
        mov     ax, cs
        sub     bx, ax
        mov     [di + 6], bx
        mov     ax, 3300h
        int     21h
        mov     [di + 8], dl
        xor     ax, ax
        mov     es, ax
        mov     ax, [es:24h * 4]
        mov     [di + 10], ax
        mov     ax, [es:24h * 4 + 2]
        mov     bx, cs
        sub     ax, bx
        mov     [di + 12], ax
        pop     es
        ret
nofile: db "NOSUCH", 0
block:  times 4000 db 'x'
"""


@pytest.mark.parametrize("spec", [XT, AT, LATE], ids=lambda spec: spec.name)
def test_writing_from_inside_a_hook_leaves_doss_state_alone(spec: MachineSpec) -> None:
    under, ran = run_under_agent(agent_box(spec), STATE)
    assert len(ran.run.all("console")) >= 3
    before, after = under.results[:14], under.results[64:78]
    assert before[:2] == b"\x02\0" and before[2:4] == b"\x34\x12" and before[8] == 1
    assert after.hex(" ", 2) == before.hex(" ", 2)


SEARCH = """
main:
        mov     dx, pattern
        xor     cx, cx
        mov     ah, 4Eh
        int     21h
.next:  jc      .done
        inc     word [results]
        mov     dx, block
        mov     cx, 3000
        mov     bx, 1
        mov     ah, 40h
        int     21h
        mov     ah, 4Fh
        int     21h
        jmp     .next
.done:  mov     dx, own
        xor     cx, cx
        mov     ah, 3Ch
        int     21h
        mov     [results + 2], ax
        exit
pattern: db "F?.TXT", 0
own:    db "OWN.TXT", 0
block:  times 3000 db 'x'
"""


def test_searches_and_handles_of_the_program_go_on_undisturbed() -> None:
    def run(under: bool) -> bytes:
        box = agent_box(AT)
        for number in range(5):
            box.drive("C").write(f"F{number}.TXT", b"x")
        ran = run_under_agent(box, SEARCH)[0] if under else run_source(box, SEARCH)
        return ran.results[:4]

    assert run(True) == run(False) == b"\x05\0\x05\0"  # the program's first handle is 5, as always


# -- what is taken, and what is not ----------------------------------------------------------------

CON_HANDLE = """
main:
        mov     dx, con
        mov     ax, 3D01h
        int     21h
        mov     [results], ax
        mov     bx, ax
        mov     dx, text
        mov     cx, 5
        mov     ah, 40h
        int     21h
        mov     ah, 3Eh
        int     21h
        mov     dx, file
        xor     cx, cx
        mov     ah, 3Ch
        int     21h                     ; the same handle, now a file
        mov     bx, ax
        mov     dx, other
        mov     cx, 5
        mov     ah, 40h
        int     21h
        exit
con:    db "CON", 0
file:   db "SOME.DAT", 0
text:   db "shown"
other:  db "quiet"
"""


def test_a_handle_on_con_is_taken_and_a_file_is_not() -> None:
    _, ran = run_under_agent(agent_box(AT), CON_HANDLE)
    assert console(ran.run) == b"shown"


STOPS = """
main:   mov     dx, text
        mov     cx, 8
        mov     bx, 1
        mov     ah, 40h
        int     21h
        mov     [results], ax
        exit
text:   db "end", 1Ah, "more"
"""


def test_only_what_dos_says_that_it_wrote_is_taken() -> None:
    """AH=40h to CON stops at 1Ah (measured on real kernels)."""
    under, ran = run_under_agent(agent_box(AT), STOPS)
    assert console(ran.run) == b"end\x1amore"[: under.word(0)]


ECHO = """
main:   mov     ah, 1                   ; a key, with echo
        int     21h
        mov     dx, buffer
        mov     ah, 0Ah                 ; a line, with echo
        int     21h
        mov     dx, text
        mov     ah, 9
        int     21h
        exit
buffer: db 20, 0
        times 20 db 0
text:   db "answer$"
"""


def test_what_dos_echoes_is_not_the_programs_output() -> None:
    _, ran = run_under_agent(agent_box(AT), ECHO, keys="xhello\r")
    assert console(ran.run) == b"answer"


OWN_29 = """
main:   get_vector 29h, old
        set_vector 29h, mine
        mov     dx, text
        mov     ah, 9
        int     21h
        push    ds
        lds     dx, [old]
        mov     ax, 2529h
        int     21h
        pop     ds
        exit
mine:   jmp     far [cs:old]
old:    dd 0
text:   db "by my own$"
"""


def test_a_program_with_an_int_29h_of_its_own() -> None:
    _, ran = run_under_agent(agent_box(AT), OWN_29)
    assert (console(ran.run), end_of(ran.run)["set"]) == (b"by my own", set())


def test_a_program_that_hooks_int_21h_sees_its_own_calls_only() -> None:
    ran = readoff(agent_box(AT, "HOOKS21.COM"), "RUN HOOKS21")
    assert console(ran.run).endswith(b"Hooks: 14 calls seen\r\n")


IN_CRITICAL = """
main:   set_vector 24h, mine
        mov     dx, file
        mov     ax, 3D00h
        int     21h
        mov     [results], ax
        mov     dx, text
        mov     ah, 9
        int     21h
        exit
mine:   push    ax
        push    cx
        push    dx
        mov     cx, {count}
.next:  mov     dl, 'c'
        mov     ah, 2
        int     21h
        loop    .next
        pop     dx
        pop     cx
        pop     ax
        mov     al, 3
        iret
file:   db "A:\\NONE", 0
text:   db " and on$"
"""


@pytest.mark.parametrize(("count", "cut"), [(1000, False), (5000, True)])
def test_nothing_is_written_from_inside_a_critical_error(count: int, cut: bool) -> None:
    """InDOS is 0 there, but DOS must not be asked for files: what does not fit the buffer is counted, and told."""
    spool = agent_box(LATE).drive("C")
    empty = Drive(removable=True)
    empty.ready = False
    box = Box(LATE, {"A": empty, "C": spool})
    box.boot(1)
    _, ran = run_under_agent(box, IN_CRITICAL.format(count=count))
    end = end_of(ran.run)
    everything = b"c" * count + b" and on"
    assert end["console_octets"] == len(everything)
    assert everything.startswith(console(ran.run))
    assert ("console_cut" in end["set"]) == cut == (len(console(ran.run)) < len(everything))
    assert len(console(ran.run)) >= min(count, 4096)


GOES_ON = """
main:   set_vector 23h, mine
        mov     ah, 8
        int     21h
        mov     dx, text
        mov     ah, 9
        int     21h
        mov     ax, 4C03h
        int     21h
mine:   push    ax
        push    dx
        mov     dx, caught
        mov     ah, 9
        int     21h
        pop     dx
        pop     ax
        iret
caught: db "caught$"
text:   db " and on$"
"""


def test_a_program_that_handles_ctrl_c_itself_goes_on() -> None:
    _, ran = run_under_agent(agent_box(AT), GOES_ON, keys="\x03x")
    end = end_of(ran.run)
    assert (end["outcome"], end["exit_code"]) == ("finished", 3)
    assert console(ran.run) == b"caught and on"


def test_printing_after_a_call_that_ctrl_c_cut_off_is_taken() -> None:
    """The cut-off call never comes back to the hook; the next program's printing must not be lost."""
    box = agent_box(AT, "CTRLC.COM", "WAYS.COM")
    box.drive("C").write("T.BAT", b"@ECHO OFF\r\nCTRLC\r\nWAYS 10 5.5\r\nWAYS 29 6.5\r\n")
    ran = readoff(box, "RUN T", keys="\x03n")
    text = console(ran.run)
    assert text.startswith(b"CtrlC: waiting for a key\r\n")
    assert text.endswith(b"Ways: score 5.5 points\r\nWays: score 6.5 points\r\n")
    assert end_of(ran.run)["outcome"] == "ctrl_c"
