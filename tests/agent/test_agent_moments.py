"""Screens on the way: before a mode is set, when the program waits for a key; each once, whatever DOS is doing."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.box import AT, LATE, XT, MachineSpec
from readoff.contract.cells import unpack_cells
from readoff.contract.record import Record, parse_record
from readoff.readings.shown import CaptureKind, show
from readoff.store.captures import captures_of
from support.agent_bench import SEGMENT, Bench
from support.agent_box import (
    EXIT_ALL,
    EXIT_MISSING,
    agent_box,
    captured_all,
    console,
    end_of,
    readoff,
    run_under_agent,
)

SCORE = "Menu: page 3 of 3, score 12.5 points"
PAGES = ["Menu: page 1 of 3", "Menu: page 2 of 3", SCORE]


def screens(record: Record) -> list[tuple[str, str]]:
    """(moment, first row with something on it) of each screen, as the host unpacks it."""
    taken = [each for each in captures_of(record) if each.capture.kind is CaptureKind.SCREEN]
    assert all(not each.problem and each.rows for each in taken)
    found = []
    for each in taken:
        rows = [line.text.rstrip() for line in show(each.capture).lines]
        found.append((each.moment, next((row for row in rows if row), "")))
    return found


@pytest.mark.parametrize("spec", [XT, AT, LATE], ids=lambda spec: spec.name)
@pytest.mark.parametrize("way", ["00", "10", "11", "01", "06", "07", "08", "0A", "0B", "0C", "3F", "44"])
def test_each_page_of_a_menu_is_kept_once(spec: MachineSpec, way: str) -> None:
    """The number is on the screen only while the program waits; at the exit the screen is clear."""
    if spec is XT and way == "10":
        pytest.skip("a BIOS of 1982 has no function 10h")
    box = agent_box(spec, "MENU.COM")
    box.on.keyboard.patience = 2000  # a hand on the keyboard is no faster
    ran = readoff(box, f"RUN MENU {way}", keys="\r\r\r")
    assert [moment for moment, _ in screens(ran.run)] == ["key_wait"] * 3 + ["exit"]
    assert [row for _, row in screens(ran.run)[:3]] == PAGES
    assert (end_of(ran.run)["set"], captured_all(ran.run), ran.exit.code) == (set(), 1, EXIT_ALL)


def test_the_text_before_graphics_is_kept_and_graphics_are_not_taken_for_text() -> None:
    ran = readoff(agent_box(AT, "MODES.COM"), "RUN MODES")
    assert screens(ran.run) == [("mode_set", "Modes: score 640.5 points"), ("exit", "")]
    assert end_of(ran.run)["set"] == set()


def test_a_screen_cleared_by_its_mode() -> None:
    ran = readoff(agent_box(AT, "CLEARS.COM"), "RUN CLEARS")
    assert screens(ran.run) == [("mode_set", "Clears: score 88.75 points"), ("exit", "")]


TWICE = """
main:   mov     cx, 5
.next:  push    cx
        mov     ah, 0
        int     16h
        pop     cx
        loop    .next
        mov     dx, text
        mov     ah, 9
        int     21h
        mov     ah, 0
        int     16h
        mov     ah, 0
        int     16h
        exit
text:   db "same$"
"""


def test_what_did_not_change_is_kept_once_and_an_empty_screen_not_at_all() -> None:
    _, ran = run_under_agent(agent_box(AT), TWICE, keys="1234567")
    assert screens(ran.run) == [("key_wait", "same")]  # the exit's would be the same
    assert end_of(ran.run)["set"] == set() and captured_all(ran.run) == 1


def test_typed_ahead_is_no_wait() -> None:
    box = agent_box(AT, "KEYS.COM", "MENU.COM")
    box.drive("C").write("T.BAT", b"@KEYS 1C0D 1C0D 1C0D\r\n@READOFF RUN MENU 00\r\n")
    box.command("T")
    (run,) = [
        record
        for name in box.drive("C").list("*.RDO")
        if not name.endswith("SERIAL.RDO")
        for record in [parse_record(box.drive("C").read(name))]
        if record.kind == "run"
    ]
    assert screens(run) == [("exit", "")]


POLLS = """
main:   mov     ax, 0B800h
        mov     es, ax
        mov     cx, 40
.next:  mov     word [es:0], 0741h
        push    cx
        mov     ah, 1                   ; a look in passing, then work for a while
        int     16h
        mov     cx, 2000
.work:  loop    .work
        pop     cx
        loop    .next
        mov     word [es:0], 0720h
        exit
"""


def test_a_look_at_the_keyboard_in_passing_is_no_wait() -> None:
    _, ran = run_under_agent(agent_box(AT), POLLS)
    assert [moment for moment, _ in screens(ran.run)] == ["exit"]


# Inside DOS's own printing (an INT 29h handler of the program's) no file may be written: the screen waits for its turn.
INSIDE = """
main:   {before}
        print_with_handler
        once
        push    ax
        push    cx
        push    di
        push    es
        mov     ax, 0B800h
        mov     es, ax
        {draw}
        mov     ax, 0003h
        int     10h
        pop     es
        pop     di
        pop     cx
        pop     ax
        once_end
text:   db "x and more$"
{more}
"""
WORD = "mov word [es:0], 0741h\n mov word [es:2], 0742h"


def test_a_screen_from_inside_dos_waits_for_its_turn() -> None:
    _, ran = run_under_agent(agent_box(AT), INSIDE.format(draw=WORD, before="", more=""))
    assert screens(ran.run)[0] == ("mode_set", "AB")
    assert console(ran.run) == b"x and more"
    assert end_of(ran.run)["set"] == set()


NOISE = """
main:   mov     ax, 0B800h
        mov     es, ax
        xor     di, di
        mov     cx, 2000
        mov     ax, 1234h
.fill:  mov     bx, 25173
        mul     bx
        add     ax, 13849
        stosw
        loop    .fill
        mov     dx, text
        {print}
        mov     ax, 0003h
        int     10h
        exit
text:   times {times} db 'y'
"""


def test_a_screen_that_does_not_pack_is_kept_where_the_buffer_can_be_emptied() -> None:
    """2,000 cells of which no two neighbours are alike: 4,016 octets, and 3,000 of console before them."""
    print_ = "mov bx, 1\n mov cx, 3000\n mov ah, 40h\n int 21h\n"
    print_ += "xor di, di\n mov cx, 2000\n mov ax, 1\n.g: stosw\n add ax, 77\n loop .g"
    _, ran = run_under_agent(agent_box(LATE), NOISE.format(print=print_, times=3000))
    (screen, _) = [section for section in ran.run.sections if section.name == "screen"]
    assert len(screen.payload) == 8 + 2000 * 2 + 16
    cells = unpack_cells(bytes((screen.values or {})["cells"]), 2000)
    assert cells == b"".join((1 + 77 * i & 0xFFFF).to_bytes(2, "little") for i in range(2000))
    assert len(console(ran.run)) == 3000
    assert end_of(ran.run)["set"] == set()


def test_what_can_not_be_kept_is_told() -> None:
    """From inside DOS, with the buffer nearly full: no room, no file. Flag, line, exit code."""
    many = "many: mov cx, 3000\n.m: mov al, 'm'\n push cx\n mov ah, 0Eh\n mov bx, 7\n int 10h\n pop cx\n loop .m\n ret"
    noise = "cld\n xor di, di\n mov cx, 2000\n mov ax, 1\n.f: stosw\n add ax, 77\n loop .f"
    _, ran = run_under_agent(agent_box(LATE), INSIDE.format(draw=noise, before="call many", more=many))
    assert [moment for moment, _ in screens(ran.run)] == ["exit"]
    assert (end_of(ran.run)["set"], captured_all(ran.run)) == ({"screens_missed"}, 0)
    assert ran.exit.code == EXIT_MISSING and "not every screen" in ran.said
    assert console(ran.run) == b"m" * 3000 + b"x and more"


# -- packing, the agent's own against the host's -----------------------------------------------------


def packed_by_agent(bench: Bench, cells: bytes, room: int) -> bytes | None:
    """What cells_pack makes of cells in a room of so many octets; None: it says that they do not fit."""
    source, target = 0x50000, bench.symbols["scratch"]
    bench.poke(source, cells + b"\x55\x55")
    bench.word("pack_end", target + room)
    registers = bench.registers
    stub = b"\xb8\x00\x50\x8e\xd8\xe8\x00\x00\x0e\x1f\xc3"  # DS = 5000h, call cells_pack, DS = CS
    at = target + 0xC00
    offset = bench.symbols["cells_pack"] - (at + 8) & 0xFFFF
    bench.poke((SEGMENT << 4) + at, stub[:6] + offset.to_bytes(2, "little") + stub[8:])
    bench.engine.forget_code()
    bench.symbols["packing_stub"] = at
    if bench.call("packing_stub", si=0, cx=len(cells), di=target):
        return None
    assert registers.di <= target + room
    return bench.octets("scratch", registers.di - target)


ALIKE = st.lists(
    st.tuples(st.integers(0, 3), st.integers(1, 300)).map(lambda pair: bytes([65 + pair[0], 7]) * pair[1]),
    max_size=8,
).map(b"".join)
PACKER = Bench()


@settings(max_examples=60, deadline=None)
@given(ALIKE | st.binary(max_size=600).map(lambda octets: octets[: len(octets) & ~1]))
def test_what_the_agent_packs_the_host_unpacks(cells: bytes) -> None:
    packed = packed_by_agent(PACKER, cells, 0xC00)
    assert packed is not None
    assert unpack_cells(packed, len(cells) // 2) == cells
    assert len(packed) <= len(cells) + (len(cells) // 2 + 127) // 128 + 1
    if packed:  # with an octet less of room it does not fit, and says so: the last check wants room for 3
        assert packed_by_agent(PACKER, cells, max(0, len(packed) - 3)) is None


def test_a_blank_screen_packs_to_almost_nothing() -> None:
    packed = packed_by_agent(PACKER, b" \x07" * 2000, 0xC00)
    assert packed is not None and len(packed) == 3 * -(-2000 // 130)


def test_three_rows_of_blanks_as_the_contract_shows_them() -> None:
    assert packed_by_agent(PACKER, b" \x07" * 240, 0xC00) == bytes.fromhex("FF2007EB2007")


def test_noise_is_noise() -> None:
    cells = random.Random(1).randbytes(3000)
    packed = packed_by_agent(PACKER, cells, 0xC00)
    assert packed is not None and unpack_cells(packed, 1500) == cells
