"""The snapshot's routines on the bench: DOS versions, chains of memory blocks, start-up files, the whole."""

from __future__ import annotations

import pytest

from support.agent_bench import SEGMENT, Bench, play_processor
from support.bench_records import give_rtc, record_of, values_of
from support.fake_dos import FakeBios, FakeDos

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
    """147,000 instructions when this was written, two thirds of them for the ROM's sum. At 20 clocks each (common
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
        "boot", "snapshot_start", "cpu", "fpu", "speed", "memory", "bios", "cmos", "bda", "display", "dos",
        "dos_setup", "devices", "drives", "disks", "residents", "vectors", "environment", "startup_file",
        "startup_file", "end",
    ]  # fmt: skip
    assert record.values("snapshot_start") == {"label": "zero-ws"}
    assert not [section.problem for section in record.sections if section.problem]
    print(f"{count()} instructions")
    assert count() < 180_000
