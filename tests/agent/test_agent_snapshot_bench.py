"""The snapshot's routines on the bench: processors, clocks, BIOSes, chains of memory blocks that few machines have."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pytest

from readoff.box.cmos import RealTimeClock
from readoff.contract.record import Completeness, Record, parse_records
from support.agent_bench import BDA, ROM, SEGMENT, Bench, play_processor
from support.fake_dos import FakeBios, FakeDos


@pytest.fixture
def bench() -> Bench:
    return Bench()


@pytest.fixture
def dos(bench: Bench) -> FakeDos:
    return FakeDos(bench)


@pytest.fixture
def bios(bench: Bench) -> FakeBios:
    return FakeBios(bench)


def give_rtc(bench: Bench) -> RealTimeClock:
    """An MC146818 and 128 octets of CMOS behind ports 70h and 71h, at 1994-05-31 06:22:00."""
    from datetime import datetime

    rtc = RealTimeClock(bench.engine.now, datetime(1994, 5, 31, 6, 22), 0)
    bench.ports_out[0x70] = lambda value: setattr(rtc, "index", value & 0x7F)
    bench.ports_in[0x71] = rtc.read
    return rtc


def record_of(bench: Bench, dos: FakeDos, *routines: str) -> Record:
    """The record that these routines write into."""
    assert not bench.call("record_open", ax=1)
    for routine in routines:
        assert not bench.call(routine), routine
    assert not bench.call("record_close", ax=1)
    (path,) = (path for path in dos.files if path.endswith(".RDO"))
    (record,) = parse_records(dos.files.pop(path))
    assert isinstance(record, Record)
    assert record.completeness is Completeness.WHOLE, record.problem
    return record


def values_of(bench: Bench, dos: FakeDos, name: str) -> Mapping[str, Any]:
    """The values of the one section that ``<name>_section`` writes."""
    values = record_of(bench, dos, f"{name}_section").values(name)
    assert values is not None
    return values


# ---- processor

KINDS = {
    "8086": "i8086",
    "v20": "i80186",
    "80186": "i80186",
    "80286": "i80286",
    "80386": "i80386",
    "80486": "i80486",
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("fpu", [False, True])
def test_class_and_coprocessor(bench: Bench, dos: FakeDos, kind: str, fpu: bool) -> None:
    play_processor(bench, kind, fpu=fpu)
    cpu = values_of(bench, dos, "cpu")
    assert cpu["class"] == KINDS[kind]
    assert cpu["fpu"] == ("present" if fpu else "absent")
    assert cpu["msw"] == (0xFFFF if kind in ("8086", "v20", "80186") else 0)
    assert (cpu["signature"], cpu["features"], cpu["vendor"]) == (0, 0, "")


def test_cpuid_is_kept_as_it_is(bench: Bench, dos: FakeDos) -> None:
    """Signature 524h with features 1BFh: a boot log of a machine at 90 MHz."""
    play_processor(bench, "cpuid", fpu=True)
    cpu = values_of(bench, dos, "cpu")
    assert (cpu["class"], cpu["signature"], cpu["features"]) == ("cpuid", 0x524, 0x1BF)
    assert cpu["vendor"] == "GenuineIntel"


@pytest.mark.parametrize(
    ("kind", "msw", "v86", "fpu"),
    [
        ("80286", 0x0001, "absent", "present"),  # a 286 has no such mode, whatever PE says
        ("80386", 0x0000, "absent", "present"),
        ("80386", 0x0001, "present", "present"),
        ("80486", 0x0009, "present", "present"),  # TS under a monitor: its own affair
        ("80386", 0x0008, "absent", "unknown"),  # TS in real mode: would trap
        ("80386", 0x0004, "absent", "unknown"),  # EM: would trap
        ("80386", 0x0005, "present", "unknown"),
    ],
)
def test_status_word_decides_what_may_be_asked(
    bench: Bench, dos: FakeDos, kind: str, msw: int, v86: str, fpu: str
) -> None:
    play_processor(bench, kind, msw=msw, fpu=True)
    cpu = values_of(bench, dos, "cpu")
    assert (cpu["v86"], cpu["fpu"], cpu["msw"]) == (v86, fpu, msw)


def test_flags_are_as_before(bench: Bench) -> None:
    """IOPL, NT, AC and ID come back as they were found."""
    bench.call("processor_class")
    assert bench.registers.flags & 0x247000 == 0


# ---- clock and CMOS


def test_rtc_of_an_at(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    rtc = give_rtc(bench)
    boot = values_of(bench, dos, "boot")
    assert boot["rtc_state"] == "read"
    # seconds, minutes, hours, day of the week (Tuesday is the third), day, month, year, century; in BCD
    assert boot["rtc"] == bytes.fromhex("00 22 06 03 31 05 94 19")
    assert boot["rtc_status_b"] == 2
    assert rtc.index == 0x0D


@pytest.mark.parametrize(
    ("register", "value", "state"),
    [(0x0B, 0x82, "stopped"), (0x0A, 0x70, "stopped"), (0x0A, 0x06, "stopped"), (0x0D, 0x00, "battery_low")],
)
def test_rtc_that_is_not_well(
    bench: Bench, dos: FakeDos, bios: FakeBios, register: int, value: int, state: str
) -> None:
    give_rtc(bench).octets[register] = value
    assert values_of(bench, dos, "boot")["rtc_state"] == state


def test_update_that_never_ends(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    rtc = give_rtc(bench)
    bench.ports_in[0x71] = lambda: rtc.read() | (0x80 if rtc.index == 0x0A else 0)
    count = bench.count_instructions()
    assert values_of(bench, dos, "boot")["rtc_state"] == "stopped"
    assert count() < 8192 * 40


def test_time_is_read_outside_of_an_update(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    """While the update-in-progress bit is set, the registers may hold anything; the clock is read behind it."""
    rtc = give_rtc(bench)
    bench.engine.advance(10**12 - 1000 * 10**6)  # a millisecond before the second changes
    seen: list[bool] = []

    def read() -> int:
        if rtc.index in (0, 2, 4):
            seen.append(rtc.updating())
        return rtc.read()

    bench.ports_in[0x71] = read
    boot = values_of(bench, dos, "boot")
    assert boot["rtc"][0] == 1
    assert seen and not any(seen)


@pytest.mark.parametrize("model", [0xFF, 0xFE, 0xFB])
@pytest.mark.parametrize("floating", [0xFF, 0x00, 0x71])
def test_ports_of_an_xt_are_not_believed(bench: Bench, dos: FakeDos, model: int, floating: int) -> None:
    """INT 1Ah AH=02h is not there: the registers come back as they were, with either carry."""
    FakeBios(bench, model)
    touched: list[int] = []
    bench.ports_out[0x70] = touched.append
    bench.ports_in[0x71] = lambda: floating
    for carry in (True, False):
        bench.put("rtc_there", b"\x02")
        bench.interrupts[0x1A] = lambda b, carry=carry: b.carry(carry)
        boot = values_of(bench, dos, "boot")
        assert (boot["rtc_state"], boot["rtc"]) == ("absent", bytes(8))
    assert not touched
    assert record_of(bench, dos, "cmos_section").all("cmos")[0].payload == b""


def bios_time(bench: Bench) -> None:
    bench.registers.cx, bench.registers.dx = 0x0622, 0x0000
    bench.carry(False)


def test_xt_with_a_clock_of_the_at_kind(bench: Bench, dos: FakeDos) -> None:
    FakeBios(bench, 0xFE)
    give_rtc(bench)
    bench.interrupts[0x1A] = bios_time
    assert values_of(bench, dos, "boot")["rtc_state"] == "read"


@pytest.mark.parametrize("floating", [0xFF, 0x00, 0x80, 0x12])
def test_xt_with_a_clock_of_another_kind(bench: Bench, dos: FakeDos, floating: int) -> None:
    """The BIOS tells a time (a card's driver does), but ports 70h and 71h have nothing behind them."""
    FakeBios(bench, 0xFE)
    bench.ports_out[0x70] = lambda value: None
    bench.ports_in[0x71] = lambda: floating
    bench.interrupts[0x1A] = bios_time
    assert values_of(bench, dos, "boot")["rtc_state"] == "absent"


@pytest.mark.parametrize("floating", [0xFF, 0x00])
def test_at_with_nothing_behind_the_ports(bench: Bench, dos: FakeDos, bios: FakeBios, floating: int) -> None:
    bench.ports_out[0x70] = lambda value: None
    bench.ports_in[0x71] = lambda: floating
    assert values_of(bench, dos, "boot")["rtc_state"] == "absent"


def test_cmos_as_it_is_but_for_the_century(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    """The worked sum of the project's references: 10=40 12=F0 14=0F 15=80 16=02 18=0C 19=2F gives 01FCh."""
    rtc = give_rtc(bench)
    pairs = ((0x10, 0x40), (0x12, 0xF0), (0x14, 0x0F), (0x15, 0x80), (0x16, 0x02), (0x18, 0x0C), (0x19, 0x2F))
    rtc.set_configuration((*pairs, (0x7F, 0x5A)))
    cmos = values_of(bench, dos, "cmos")
    expected = bytearray(rtc.octets[0x10:])
    expected[0x22] = 0
    assert cmos["settings"] == expected
    assert cmos["settings"][0x1E:0x20] == bytes.fromhex("01FC")
    assert cmos["clock"][0x0B] == 2
    assert rtc.index == 0x0D


def test_interrupts_of_the_clock_are_not_acknowledged(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    rtc = give_rtc(bench)
    read: list[int] = []
    bench.ports_in[0x71] = lambda: (read.append(rtc.index), rtc.read())[1]
    values_of(bench, dos, "cmos")
    assert 0x0C in read
    rtc.octets[0x0B] |= 0x40  # the periodic interrupt is in use
    read.clear()
    values_of(bench, dos, "cmos")
    assert 0x0C not in read


def test_chip_of_64_octets_is_not_taken_twice(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    rtc = give_rtc(bench)
    rtc.set_configuration(((0x10, 0x40), (0x3F, 0x77)))
    bench.ports_out[0x70] = lambda value: setattr(rtc, "index", value & 0x3F)
    settings = values_of(bench, dos, "cmos")["settings"]
    assert settings[0x2F] == 0x77
    assert settings[0x30:] == bytes(0x40)


def test_nothing_is_ever_written_to_cmos(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    give_rtc(bench)
    play_processor(bench, "80386", fpu=True)
    record_of(bench, dos, "snapshot_take")
    assert 0x71 not in bench.strange_ports
    assert bench.strange_ports == set()


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


# ---- DOS


@pytest.mark.parametrize(("version", "drive"), [((3, 30), 0), ((4, 0), 3), ((5, 0), 3), ((10, 7), 3)])
def test_version_and_boot_drive(bench: Bench, version: tuple[int, int], drive: int) -> None:
    dos = FakeDos(bench, version=version, oem=0xFD)
    found = values_of(bench, dos, "dos")
    assert (found["major"], found["minor"], found["oem"]) == (*version, 0xFD)
    assert (found["boot_drive"], found["windows"], found["windows_minor"]) == (drive, 0, 0)


@pytest.mark.parametrize(
    ("ax", "expected"), [(0x1600, (0, 0)), (0x1680, (0x80, 0)), (0x0A03, (3, 10)), (0x0004, (4, 0))]
)
def test_windows(bench: Bench, dos: FakeDos, ax: int, expected: tuple[int, int]) -> None:
    bench.interrupts[0x2F] = lambda b: setattr(b.registers, "ax", ax)
    found = values_of(bench, dos, "dos")
    assert (found["windows"], found["windows_minor"]) == expected


def test_multiplex_vector_that_points_nowhere(bench: Bench, dos: FakeDos) -> None:
    bench.memory.put_word(4 * 0x2F, 0)
    bench.interrupts[0x2F] = lambda b: pytest.fail("INT 2Fh through a null vector")
    assert values_of(bench, dos, "dos")["windows"] == 0


# ---- resident programs


def blocks_of(bench: Bench, dos: FakeDos) -> list[tuple[int, int, str]]:
    found = values_of(bench, dos, "residents")["blocks"]
    return [(block["owner"], block["paragraphs"], block["name"]) for block in found]


def test_chain_of_dos_5(bench: Bench, dos: FakeDos) -> None:
    """Names end at their NUL; garbage follows it, and environment blocks hold nothing but garbage."""
    at = dos.chain(
        (8, 0x50, b"SD\0\xdb\x13\xc4\x7e\xa5"),
        (-1, 0x60, b"COMMAND\0"),
        (0x152, 0x10, b"\xdb\x13\xc4\x7e\xa5\x3c\x99\x10"),  # COMMAND's environment
        (0, 3, b"\xff" * 8),
        (-1, 0x20, b"DRIVER12"),
        (0, 0x4000, b""),
    )
    assert at[1] + 1 == 0x152
    assert blocks_of(bench, dos) == [
        (8, 0x50, "SD"),
        (at[1] + 1, 0x60, "COMMAND"),
        (at[1] + 1, 0x10, "COMMAND"),
        (0, 3, ""),
        (at[4] + 1, 0x20, "DRIVER12"),
        (0, 0x4000, ""),
    ]


def test_the_agent_makes_no_difference(bench: Bench, dos: FakeDos) -> None:
    """Its blocks and the free ones beside them are one free block, as before it came."""
    before = [(8, 0x50, b"SD"), (-1, 0x60, b"COMMAND\0")]
    dos.chain(*before, (0, 0x5000, b""))
    empty = blocks_of(bench, dos)
    dos.chain(
        *before, (0, 4, b""), (SEGMENT, 8, b""), (SEGMENT, 0x700, b"READOFF\0"), (0, 0x5000 - 0x70F, b"")
    )
    assert blocks_of(bench, dos) == empty
    bench.call("free_paragraphs")
    assert bench.registers.ax == 0x5000


def test_names_before_dos_4(bench: Bench) -> None:
    dos = FakeDos(bench, version=(3, 30))
    at = dos.chain(
        (8, 0x50, b"xxxxxxxx"), (-1, 0x60, b"\xdb" * 8), (0x152, 0x10, b""), (-1, 4, b""), (0, 0x4000, b"")
    )
    program, environment = at[1] + 1, at[2] + 1
    bench.memory.put_word(program << 4, 0x20CD)
    bench.memory.put_word((program << 4) + 0x2C, environment)
    bench.poke(environment << 4, b"A=1\0B=\0\0\x01\0C:\\TOOLS\\KEEPER.COM\0\xdb\xdb")
    assert blocks_of(bench, dos) == [
        (8, 0x50, ""),
        (program, 0x60, "KEEPER.COM"),
        (program, 0x10, "KEEPER.COM"),
        (at[3] + 1, 4, ""),  # no PSP: no name to be had
        (0, 0x4000, ""),
    ]


@pytest.mark.parametrize("tail", [b"\0\xdb", b"\0\0\x01\0NOENDATALL" + b"x" * 300, b"\0\0\0\0", b""])
def test_environment_without_a_program(bench: Bench, tail: bytes) -> None:
    dos = FakeDos(bench, version=(3, 30))
    at = dos.chain((-1, 0x60, b""), (0x101, 4, b""), (0, 0x4000, b""))
    bench.memory.put_word((at[0] + 1) << 4, 0x20CD)
    bench.memory.put_word(((at[0] + 1) << 4) + 0x2C, at[1] + 1)
    bench.poke((at[1] + 1) << 4, (b"A=1" + tail)[:64].ljust(64, b"y"))
    assert [name for _, _, name in blocks_of(bench, dos)] == ["", "", ""]


@pytest.mark.parametrize(
    "damage",
    [
        (0, b"\0"),  # no mark
        (0, b"m"),
        (3, b"\xff\xff"),  # beyond the end of memory
        (3, b"\xfe\xff"),
    ],
)
def test_chain_that_breaks(bench: Bench, dos: FakeDos, damage: tuple[int, bytes]) -> None:
    at = dos.chain((8, 0x50, b"SD"), (-1, 0x60, b"COMMAND\0"), (0, 4, b""), (-1, 0x10, b"LAST\0"))
    bench.poke((at[2] << 4) + damage[0], damage[1])
    blocks = blocks_of(bench, dos)
    assert blocks[:2] == [(8, 0x50, "SD"), (at[1] + 1, 0x60, "COMMAND")]
    assert blocks[-1] == (0xFFFF, 0, "chain-breaks")
    bench.call("free_paragraphs")


def test_chain_longer_than_the_section(bench: Bench, dos: FakeDos) -> None:
    dos.chain(*[(-1, 1, b"DRIVER12")] * 600)
    blocks = blocks_of(bench, dos)
    assert 4096 // 20 < len(blocks) <= 4096 // 15
    assert bench.octets("snapshot_cut", 1) == b"\1"


# ---- environment and start-up files


def test_environment_with_the_program_behind(bench: Bench, dos: FakeDos) -> None:
    payload = record_of(bench, dos, "environment_section").all("environment")[0].payload
    assert payload == b"COMSPEC=C:\\COMMAND.COM\0PATH=C:\\\0\0\x01\0C:\\READOFF.COM\0"


def test_environment_that_is_empty_or_missing(bench: Bench, dos: FakeDos) -> None:
    dos.environment([], b"C:\\X.COM")
    payload = record_of(bench, dos, "environment_section").all("environment")[0].payload
    assert payload == b"\0\0\x01\0C:\\X.COM\0"
    bench.memory.put_word((SEGMENT << 4) + 0x2C, 0)
    assert record_of(bench, dos, "environment_section").all("environment")[0].payload == b""


def startup_of(bench: Bench, dos: FakeDos) -> dict[str, bytes]:
    record = record_of(bench, dos, "dos_section", "startup_sections")
    return {s.values["name"]: s.values["octets"] for s in record.all("startup_file") if s.values}


def test_startup_files_of_the_boot_drive(bench: Bench, dos: FakeDos) -> None:
    files = {"C:\\CONFIG.SYS": b"FILES=30\r\n", "C:\\AUTOEXEC.BAT": b"", "D:\\CONFIG.SYS": b"no"}
    dos.files |= files
    assert startup_of(bench, dos) == {name: files[name] for name in ("C:\\CONFIG.SYS", "C:\\AUTOEXEC.BAT")}


def test_boot_drive_by_comspec_before_dos_4(bench: Bench) -> None:
    dos = FakeDos(bench, version=(3, 30))
    dos.environment([b"XCOMSPEC=E:\\", b"COMSPEC=d:\\COMMAND.COM"], None)
    dos.files["D:\\CONFIG.SYS"] = b"from D"
    assert startup_of(bench, dos) == {"D:\\CONFIG.SYS": b"from D"}


def test_boot_drive_by_current_drive(bench: Bench) -> None:
    dos = FakeDos(bench, version=(3, 30))
    dos.environment([b"PATH="], None)
    dos.files["C:\\CONFIG.SYS"] = b"from C"
    assert startup_of(bench, dos) == {"C:\\CONFIG.SYS": b"from C"}


@pytest.mark.parametrize(
    ("drive", "shared", "equipment", "reads"),
    [
        (1, 0, 0x0021, True),
        (1, 1, 0x0021, False),  # the one drive stands for B: now
        (1, 1, 0x0061, True),  # two drives: the octet means nothing
        (2, 0, 0x0061, False),
    ],
)
def test_no_other_disk_is_asked_for(
    bench: Bench, dos: FakeDos, bios: FakeBios, drive: int, shared: int, equipment: int, reads: bool
) -> None:
    dos.boot_drive = drive
    dos.files |= {"A:\\CONFIG.SYS": b"a", "B:\\CONFIG.SYS": b"b"}
    bench.poke(0x504, bytes([shared]))
    bench.interrupts[0x11] = lambda b: setattr(b.registers, "ax", equipment)
    assert startup_of(bench, dos) == ({"A:\\CONFIG.SYS": b"a"} if reads else {})
    assert not any(path.startswith("B:") for path in dos.asked)
    assert (b"another disk" in dos.screen) is not reads


def test_long_file_is_cut_and_said(bench: Bench, dos: FakeDos) -> None:
    text = bytes(i * 7 & 0xFF for i in range(20000))
    dos.files["C:\\CONFIG.SYS"] = text
    assert startup_of(bench, dos) == {"C:\\CONFIG.SYS": text[:16384]}
    assert b"C:\\CONFIG.SYS is longer than 16 KB" in dos.screen
    assert bench.octets("snapshot_cut", 1) == b"\1"


@pytest.mark.parametrize("size", [0, 1, 4095, 4096, 4097, 16383, 16384])
def test_file_of_any_length(bench: Bench, dos: FakeDos, size: int) -> None:
    dos.files["C:\\CONFIG.SYS"] = bytes(i * 11 & 0xFF for i in range(size))
    assert startup_of(bench, dos) == {"C:\\CONFIG.SYS": dos.files["C:\\CONFIG.SYS"]}
    assert bench.octets("snapshot_cut", 1) == b"\0"


def test_file_that_fails_while_it_is_read(bench: Bench, dos: FakeDos) -> None:
    dos.files |= {"C:\\CONFIG.SYS": b"x" * 6000, "C:\\AUTOEXEC.BAT": b"y"}
    reads = 0

    def after_read(path: str) -> None:
        nonlocal reads
        reads += path == "C:\\CONFIG.SYS"
        if (
            path == "C:\\CONFIG.SYS" and reads == 4
        ):  # measured by three reads; the first of the second pass goes well
            dos.unreadable.add(path)

    dos.after_read = after_read
    found = startup_of(bench, dos)
    assert found["C:\\CONFIG.SYS"] == b"x" * 4096 + bytes(1904)
    assert found["C:\\AUTOEXEC.BAT"] == b"y"
    assert bench.octets("snapshot_cut", 1) == b"\1"


def test_unreadable_file_is_an_empty_one(bench: Bench, dos: FakeDos) -> None:
    dos.files["C:\\CONFIG.SYS"] = b"x"
    dos.unreadable.add("C:\\CONFIG.SYS")
    assert startup_of(bench, dos) == {"C:\\CONFIG.SYS": b""}


# ---- all of it


def test_whole_snapshot_in_its_order_and_its_cost(bench: Bench, dos: FakeDos, bios: FakeBios) -> None:
    """131,000 instructions when this was written, four fifths of them for the ROM's sum. At 20 clocks each (common
    practice, no source) that is 0.55 s on an 8088 at 4.77 MHz; what DOS and the BIOS do comes on top.
    """
    give_rtc(bench)
    play_processor(bench, "8086")
    dos.chain((8, 0x50, b"SD"), (-1, 0x60, b"COMMAND\0"), (0, 0x5000, b""))
    bench.put("option_label", b"zero-ws\0")
    dos.files |= {"C:\\CONFIG.SYS": b"FILES=30\r\n" * 20, "C:\\AUTOEXEC.BAT": b"@echo off\r\n" * 20}
    count = bench.count_instructions()
    record = record_of(bench, dos, "snapshot_take")
    names = [section.name for section in record.sections]
    assert names == [
        "boot", "snapshot_start", "cpu", "memory", "bios", "cmos", "bda", "display", "dos", "residents",
        "environment", "startup_file", "startup_file", "end",
    ]  # fmt: skip
    assert record.values("snapshot_start") == {"label": "zero-ws"}
    assert not [section.problem for section in record.sections if section.problem]
    assert count() < 150_000
