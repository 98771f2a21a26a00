"""The snapshot's routines on the bench: BIOSes that answer, oddly or not at all; display adapters."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from support.agent_bench import BDA, ROM, Bench
from support.bench_records import values_of
from support.fake_dos import FakeBios, FakeDos

# ---- memory and BIOS


def keeps_all(bench: Bench) -> None:
    """A BIOS whose interrupt does nothing but return."""


def refuses(bench: Bench) -> None:
    bench.registers.ax = 0x8600 | bench.registers.ax & 0xFF
    bench.carry(True)


def original_pc(bench: Bench) -> None:
    bench.registers.ax = 0x8000 | bench.registers.ax & 0xFF
    bench.carry(True)


def answers(**given: int) -> Callable[[Bench], None]:
    def serve(bench: Bench) -> None:
        if bench.registers.ax == given["when"] or bench.registers.ax >> 8 == given["when"]:
            for name, value in given.items():
                if name not in ("when", "keep_carry"):
                    setattr(bench.registers, name, value)
            if not given.get("keep_carry"):
                bench.carry(False)
        else:
            refuses(bench)

    return serve


@pytest.mark.parametrize(
    ("service", "expected"),
    [
        (keeps_all, (0xFFFF, 0xFFFF, 0xFFFF)),
        (refuses, (0xFFFF, 0xFFFF, 0xFFFF)),
        (original_pc, (0xFFFF, 0xFFFF, 0xFFFF)),
        (answers(when=0x88, ax=0x0400), (0x400, 0xFFFF, 0xFFFF)),
        (answers(when=0x88, ax=0x0000), (0, 0xFFFF, 0xFFFF)),
        (answers(when=0x88, ax=0x0400, keep_carry=1), (0x400, 0xFFFF, 0xFFFF)),  # the first AT's BIOS
        (
            answers(when=0x88, ax=0x8800),
            (0x8800, 0xFFFF, 0xFFFF),
        ),  # 34 MB: looks like no answer, the first time
        (answers(when=0xE801, ax=0x3C00, bx=0x100, cx=0x3C00, dx=0x100), (0xFFFF, 0x3C00, 0x100)),
        (answers(when=0xE801, ax=0, bx=0, cx=0x3C00, dx=0x100), (0xFFFF, 0x3C00, 0x100)),
        (answers(when=0xE801, ax=0x1C00, bx=0, cx=0, dx=0), (0xFFFF, 0x1C00, 0)),
        (answers(when=0xE801, ax=0x3B74, bx=0, cx=0x3B74, dx=0), (0xFFFF, 0x3B74, 0)),  # as SeaBIOS
    ],
)
def test_memory_by_all_ways(
    bench: Bench,
    dos: FakeDos,
    bios: FakeBios,
    service: Callable[[Bench], None],
    expected: tuple[int, int, int],
) -> None:
    dos.chain((8, 0x100, b"SD"), (0, 0x5000, b""))
    bench.interrupts[0x15] = service
    memory = values_of(bench, dos, "memory")
    found = (memory["extended_88_kb"], memory["e801_low_kb"], memory["e801_high_64kb"])
    assert found == expected
    assert memory["conventional_kb"] == 639
    assert memory["free_paragraphs"] == 0x5000


def test_bios_of_a_published_image(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    """Fixture: the last 16 octets of Debian's seabios image."""
    found = values_of(bench, dos, "bios")
    assert (found["date"], found["model"], found["submodel"], found["revision"]) == ("06/23/99", 0xFC, 0, 1)
    rom = bytes(bench.memory.octets[ROM : ROM + 0x10000])
    words = (int.from_bytes(rom[at : at + 2], "little") for at in range(0, 0x10000, 2))
    assert found["rom_sum"] == sum(words) % 2**32
    assert found["equipment"] == 0x4227


@pytest.mark.parametrize("service", [keeps_all, refuses, original_pc])
def test_bios_without_a_table(
    bench: Bench, dos: FakeDos, bios: FakeBios, service: Callable[[Bench], None]
) -> None:
    bench.interrupts[0x15] = service
    found = values_of(bench, dos, "bios")
    assert (found["submodel"], found["revision"]) == (0, 0)


# ---- display: INT 10h AX=1A00h: 01 MDA 02 CGA 04 EGA colour 05 EGA mono 07 VGA mono 08 VGA colour 0A-0C MCGA


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        (0x01, "mda"), (0x02, "cga"), (0x04, "ega"), (0x05, "ega"), (0x07, "vga"), (0x08, "vga"),
        (0x0A, "mcga"), (0x0B, "mcga"), (0x0C, "mcga"),
    ],
)  # fmt: skip
def test_display_by_combination(bench: Bench, dos: FakeDos, bios: FakeBios, code: int, expected: str) -> None:
    def video(bench: Bench) -> None:
        if bench.registers.ax == 0x1A00:
            bench.registers.ax, bench.registers.bx = 0x1A1A, 0x0100 | code

    bench.interrupts[0x10] = video
    display = values_of(bench, dos, "display")
    assert (display["class"], display["combination"], display["alternate"]) == (expected, code, 1)
    assert display["ega_switches"] == display["ega_memory"] == 0xFF


@pytest.mark.parametrize(("equipment", "expected"), [(0x0021, "cga"), (0x0031, "mda"), (0x0011, "cga")])
def test_display_of_the_first_machines(
    bench: Bench, dos: FakeDos, bios: FakeBios, equipment: int, expected: str
) -> None:
    bench.interrupts[0x10] = keeps_all
    bench.interrupts[0x11] = lambda b: setattr(b.registers, "ax", equipment)
    bench.poke(BDA + 0x84, b"\xd7")  # before the EGA nothing keeps the rows there
    display = values_of(bench, dos, "display")
    assert (display["class"], display["combination"], display["rows"]) == (expected, 0, 25)


def test_ega_by_its_own_service(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    def video(bench: Bench) -> None:
        if bench.registers.ax >> 8 == 0x12:
            bench.registers.bx, bench.registers.cx = 0x0001, 0x0B06

    bench.interrupts[0x10] = video
    bench.poke(BDA + 0x84, b"\x2a")
    display = values_of(bench, dos, "display")
    assert (display["class"], display["ega_switches"], display["ega_memory"]) == ("ega", 6, 1)
    assert (display["columns"], display["rows"], display["mode"]) == (80, 43, 3)
