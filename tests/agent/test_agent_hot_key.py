"""The hot key keeps the screen whatever the program does with the keyboard, as long as it lets INT 09h through."""

from __future__ import annotations

import pytest

from readoff.box import AT, LATE, XT, Box, MachineSpec
from readoff.box.keyboard import BDA
from readoff.readings.shown import CaptureKind, show
from readoff.store.captures import captures_of
from support.agent_box import (
    EXIT_ALL,
    EXIT_NOTHING,
    AgentRan,
    agent_box,
    captured_all,
    end_of,
    run_under_agent,
)

SHIFTS = 0x17  # in the BIOS data area: which shift keys are down
# Draws, works for two seconds without a look at the keyboard, then asks whether a key is there.
BUSY = """
main:   mov     ax, {segment}
        mov     es, ax
        mov     word [es:0], 0741h
        mov     word [es:2], 0742h
        mov     ax, 40h
        mov     es, ax
        mov     bx, [es:6Ch]
.work:  mov     ax, [es:6Ch]
        sub     ax, bx
        cmp     ax, 36
        jb      .work
        mov     ax, [es:1Ah]
        sub     ax, [es:1Ch]
        mov     [results], ax
        mov     ax, {segment}
        mov     es, ax
        mov     word [es:0], 0720h
        mov     word [es:2], 0720h
        exit
"""


def hold(box: Box, shifts: int) -> None:
    """Shift keys that are held from now on."""
    box.on.engine.memory.octets[BDA + SHIFTS] = shifts


def screens(ran: AgentRan) -> list[tuple[str, str]]:
    return [
        (each.moment, show(each.capture).lines[0].text.rstrip())
        for each in captures_of(ran.run)
        if each.capture.kind is CaptureKind.SCREEN
    ]


@pytest.mark.parametrize("spec", [XT, AT, LATE], ids=lambda spec: spec.name)
def test_the_screen_is_kept_in_the_middle_of_the_work(spec: MachineSpec) -> None:
    box = agent_box(spec)
    hold(box, 0x0C)
    box.type_at(1.2, "k")
    results, ran = run_under_agent(box, BUSY.format(segment="0B800h"))
    assert screens(ran) == [("hot_key", "AB"), ("exit", "")]
    assert results.word(0) == 0  # the program sees no key
    assert (end_of(ran.run)["set"], captured_all(ran.run), ran.exit.code) == (set(), 1, EXIT_ALL)


@pytest.mark.parametrize(
    ("options", "key", "shifts", "kept"),
    [
        ("", "k", 0x08, False),
        ("", "j", 0x0C, False),
        ("/H:J", "j", 0x0C, True),
        ("/H:J", "k", 0x0C, False),
        ("/H:-", "k", 0x0C, False),
    ],
)
def test_another_key_is_the_programs(options: str, key: str, shifts: int, kept: bool) -> None:
    box = agent_box(AT)
    hold(box, shifts)
    box.type_at(1.2, key)
    results, ran = run_under_agent(box, BUSY.format(segment="0B800h"), options=options)
    assert [moment for moment, _ in screens(ran)] == (["hot_key"] if kept else []) + ["exit"]
    assert results.word(0) == (0 if kept else 0xFFFE)


def test_in_a_graphics_mode_the_record_says_that_there_is_none() -> None:
    source = BUSY.format(segment="0A000h").replace("main:", "main: mov ax, 0013h\n int 10h\n", 1)
    box = agent_box(LATE)
    hold(box, 0x0C)
    box.type_at(1.2, "k")
    _, ran = run_under_agent(box, source)
    pictures = [each for each in captures_of(ran.run) if each.capture.kind is CaptureKind.PICTURE]
    assert [(each.moment, bool(each.capture.octets)) for each in pictures] == [
        ("hot_key", False),
        ("exit", True),
    ]
    assert "may be drawing" in pictures[0].note


OWN = """
main:   get_vector 9, old
        set_vector 9, mine
        mov     ax, 0B800h
        mov     es, ax
        mov     word [es:0], 0741h
        mov     ax, 40h
        mov     es, ax
        mov     bx, [es:6Ch]
.work:  mov     ax, [es:6Ch]
        sub     ax, bx
        cmp     ax, 36
        jb      .work
        push    ds
        lds     dx, [old]
        mov     ax, 2509h
        int     21h
        pop     ds
        exit
mine:   push    ax
        in      al, 60h
        mov     al, 20h
        out     20h, al
        pop     ax
        iret
old:    dd 0
"""


def test_a_program_with_a_keyboard_handler_of_its_own_is_out_of_reach() -> None:
    box = agent_box(AT)
    hold(box, 0x0C)
    box.type_at(1.2, "k")
    _, ran = run_under_agent(box, OWN)
    assert screens(ran) == [("exit", "A")] and end_of(ran.run)["set"] == set()


@pytest.mark.parametrize("value", ["3", "KK", "#"])
def test_what_is_no_letter_is_refused(value: str) -> None:
    box = agent_box(AT)
    assert box.run("C:\\READOFF.COM", f"RUN /H:{value} T.COM").code == EXIT_NOTHING
