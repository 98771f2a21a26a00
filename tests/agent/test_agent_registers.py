"""Every hooked service with known registers and flags, with and without the agent: all of them come back the same."""

from __future__ import annotations

import pytest

from readoff.box import AT
from support.agent_box import EXIT_ALL, agent_box, run_under_agent
from support.box_programs import run_source

# Calls one service with known registers and keeps all of them and the flags afterwards (segments less CS).
SERVICE = """
%macro keep 2
        mov     [cs:results + %1], %2
%endmacro
main:
        push    cs
        pop     es
        mov     word [saved_sp], sp
        {before}
        mov     ax, {ax}
        mov     bx, {bx}
        mov     cx, {cx}
        mov     dx, {dx}
        mov     si, 5151h
        mov     di, 6161h
        mov     bp, 7171h
        {flags}
        int     {number}
        keep    0, ax
        keep    2, bx
        keep    4, cx
        keep    6, dx
        keep    8, si
        keep    10, di
        keep    12, bp
        pushf
        pop     ax
        keep    14, ax
        mov     ax, ds
        mov     bx, cs
        sub     ax, bx
        keep    16, ax
        mov     ax, es
        sub     ax, bx
        keep    18, ax
        mov     ax, ss
        sub     ax, bx
        keep    20, ax
        mov     ax, sp
        sub     ax, [cs:saved_sp]
        keep    22, ax
        cld
        sti
        exit
saved_sp: dw 0
text:   db "Registers$ and more"
con:    db "CON", 0
line:   db 5, 0
        times 8 db 0
"""
SERVICES = {
    "02": (0x21, 0x0299, 0x1111, 0x2222, 0x3341),
    "06": (0x21, 0x0699, 0x1111, 0x2222, 0x3342),
    "06 input": (0x21, 0x0699, 0x1111, 0x2222, 0x33FF),
    "09": (0x21, 0x0999, 0x1111, 0x2222, "text"),
    "40 stdout": (0x21, 0x4099, 1, 9, "text"),
    "40 stderr": (0x21, 0x4099, 2, 9, "text"),
    "40 none": (0x21, 0x4099, 1, 0, "text"),
    "40 bad handle": (0x21, 0x4099, 77, 9, "text"),
    "40 aux": (0x21, 0x4099, 4, 2, "text"),
    "30": (0x21, 0x3000, 0x1111, 0x2222, 0x3333),
    "19": (0x21, 0x1900, 0x1111, 0x2222, 0x3333),
    "33": (0x21, 0x3300, 0x1111, 0x2222, 0x3333),
    "29": (0x29, 0x1143, 7, 0x2222, 0x3333),
    "10 0E": (0x10, 0x0E44, 7, 0x2222, 0x3333),
    "10 03": (0x10, 0x0300, 0, 0x2222, 0x3333),
    "10 0F": (0x10, 0x0F00, 0x1111, 0x2222, 0x3333),
    "10 00": (0x10, 0x0003, 0x1111, 0x2222, 0x3333),
    "10 00 graphics": (0x10, 0x0004, 0x1111, 0x2222, 0x3333),
    "16 01": (0x16, 0x0199, 0x1111, 0x2222, 0x3333),
    "16 02": (0x16, 0x0299, 0x1111, 0x2222, 0x3333),
    "16 11": (0x16, 0x1199, 0x1111, 0x2222, 0x3333),
    "16 00": (0x16, 0x0099, 0x1111, 0x2222, 0x3333),
    "44 06": (0x21, 0x4406, 0, 0x2222, 0x3333),
    "0B": (0x21, 0x0B99, 0x1111, 0x2222, 0x3333),
    "08": (0x21, 0x0899, 0x1111, 0x2222, 0x3333),
    "0C 06": (0x21, 0x0C06, 0x1111, 0x2222, 0x33FF),
    "01": (0x21, 0x0199, 0x1111, 0x2222, 0x3333),
    "07": (0x21, 0x0799, 0x1111, 0x2222, 0x3333),
    "0A": (0x21, 0x0A99, 0x1111, 0x2222, "line"),
    "3F": (0x21, 0x3F99, 0, 5, "line"),
    "16 10": (0x16, 0x1099, 0x1111, 0x2222, 0x3333),
}
TYPED = "k\r"
FLAGS = {"plain": "", "carry and direction": "stc\n std", "interrupts off": "cli"}


@pytest.mark.parametrize("flags", FLAGS)
@pytest.mark.parametrize("name", SERVICES)
def test_registers_and_flags_are_those_of_the_service(name: str, flags: str) -> None:
    number, ax, bx, cx, dx = SERVICES[name]
    source = SERVICE.format(number=number, ax=ax, bx=bx, cx=cx, dx=dx, flags=FLAGS[flags], before="")
    alone = run_source(agent_box(AT), source, keys=TYPED)
    under, ran = run_under_agent(agent_box(AT), source, keys=TYPED)
    assert alone.results[:24] != bytes(24)
    assert under.results[:24].hex(" ", 2) == alone.results[:24].hex(" ", 2)
    assert ran.exit.code == EXIT_ALL


@pytest.mark.parametrize(
    "name", ["01", "07", "08", "0A", "0C 06", "3F", "06 input", "0B", "16 00", "16 01", "16 10"]
)
def test_keys_by_script_change_nothing_else(name: str) -> None:
    """The same keys typed by a hand without the agent, and by its script."""
    number, ax, bx, cx, dx = SERVICES[name]
    before = "mov ah, 0\n int 16h\n" if name in ("06 input", "0B", "0C 06", "16 01") else ""
    source = SERVICE.format(number=number, ax=ax, bx=bx, cx=cx, dx=dx, flags="", before=before)
    hand, script = ("x" + TYPED, "x" + "k[enter]") if before else (TYPED, "k[enter]")
    alone = run_source(agent_box(AT), source, keys=hand)
    under, _ = run_under_agent(agent_box(AT), source, options=f"/K:{script}")
    if name not in ("06 input", "0B", "16 01"):  # a look in passing: whether the key is there yet is chance
        assert under.results[:24].hex(" ", 2) == alone.results[:24].hex(" ", 2)
    assert under.results[8:14] == alone.results[8:14] and under.results[16:24] == alone.results[16:24]


@pytest.mark.parametrize("number", [0x08, 0x09])
def test_interrupts_of_the_machine_change_nothing(number: int) -> None:
    """The timer's and the keyboard's, called by hand."""
    source = SERVICE.format(number=number, ax=0x1234, bx=0x1111, cx=0x2222, dx=0x3333, flags="stc", before="")
    alone = run_source(agent_box(AT), source)
    under, _ = run_under_agent(agent_box(AT), source, options="/T:60,R /K:[enter]")
    assert under.results[:24].hex(" ", 2) == alone.results[:24].hex(" ", 2)
