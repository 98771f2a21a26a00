"""SNAP in the test machine and under an emulated DOS: processors' leaves and caches, coprocessors, clock, memory
managers, maps and tables, drivers, drives, vectors, PCI; what each costs and which ports it touches.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from readoff.box import AT, LATE, XT, Box, Drive, MachineSpec, Processor
from readoff.box.extras import Extras, PciFunction, Vbe, Xms
from readoff.box.spec import Processor as Kind
from readoff.contract.record import Record, parse_record
from readoff.snapshots import Fact, facts_of
from support.agent_box import AGENT, agent_box, captured_all, readoff
from support.dosbox import run_dosbox
from support.full_machine import EXTRAS, FULL

ROOT = Path(__file__).resolve().parents[2]
I386 = replace(LATE, processor=Processor.I80386, cpuid=None, fpu=False)
NEW = (
    "cpuid fpu control speed e820 xms ems devices dos_setup drives disks display_rom vbe vectors dmi pnp pci_bios "
    "pci_device"
).split()
EVERYWHERE = {"fpu", "speed", "devices", "dos_setup", "drives", "disks", "vectors"}


def snapshot(box: Box) -> Record:
    ran = readoff(box, "SNAP /L:base")
    assert ran.exit.kind == "ended", ran.said
    (record,) = ran.of_kind("snapshot")
    assert not [section.problem for section in record.sections if section.problem]
    return record


def facts(spec: MachineSpec) -> Mapping[str, Fact]:
    record = snapshot(agent_box(spec))
    assert captured_all(record) == 1
    return facts_of(record)


def values(found: Mapping[str, Fact], *names: str) -> list[str]:
    return [f"{found[name].value} {found[name].unit}".strip() for name in names]


@pytest.fixture(scope="module")
def full() -> Mapping[str, Fact]:
    return facts(FULL)


@pytest.mark.parametrize(
    ("spec", "besides"),
    [
        (XT, set()),
        (AT, set()),
        (I386, set()),
        (replace(LATE, cpuid=None), {"control"}),
        (LATE, {"control", "cpuid"}),
        (FULL, set(NEW) - EVERYWHERE),
        (replace(I386, extras=EXTRAS), set(NEW) - EVERYWHERE - {"cpuid", "control"}),
    ],
)
def test_a_machine_has_the_sections_of_what_it_has(spec: MachineSpec, besides: set[str]) -> None:
    record = snapshot(agent_box(spec))
    assert {s.name for s in record.sections if s.name in NEW} == EVERYWHERE | besides


def test_cpuid_and_caches(full: Mapping[str, Fact]) -> None:
    """Leaf 2 of a published boot log: 8 + 8 KB and 256 KB; signature 52Ch with features 1BFh at 133 MHz."""
    assert full["cpuid.00000002"].value == "EAX 03020101 EBX 00000000 ECX 00000000 EDX 06040A42"
    assert full["cpuid.descriptors"].value == "01 02 03 42 0A 04 06"
    names = ("cpu.family", "cpu.model", "cpu.stepping")
    assert values(full, *names) == ["5", "2", "12"]
    caches = ("cpuid.cache_l1_code", "cpuid.cache_l1_data", "cpuid.cache_l2")
    assert values(full, *caches) == ["8 KB", "8 KB", "256 KB"]
    assert values(full, "control.cache.fill_off", "control.cache.write_through_off") == ["yes", "no"]


@pytest.mark.parametrize("leaves", [0, 1, 31, 32, 500])
def test_leaves_are_bounded(leaves: int) -> None:
    extended = ((0x80000000, 0, 0x80000000 + leaves, 0, 0, 0),)
    caches = tuple((4, n, 0x121, 0x01C0003F, 0x3F, 0) for n in range(20))  # one that never ends
    late = replace(LATE, cpuid=(leaves, 0x0480, 1, "BoxProcessor"), extras=Extras(leaves=extended + caches))
    record = snapshot(agent_box(late))
    (section,) = record.all("cpuid")
    assert section.values is not None
    found = [(each["leaf"], each["subleaf"]) for each in section.values["leaves"]]
    standard = [leaf for leaf, subleaf in found if leaf < 0x80000000 and not subleaf]
    assert standard == list(range(min(leaves, 31) + 1))
    assert len([leaf for leaf, _ in found if leaf >= 0x80000000]) == min(leaves, 31) + 1
    assert len([leaf for leaf, _ in found if leaf == 4]) == (8 if leaves >= 4 else 0)


@pytest.mark.parametrize(
    ("spec", "kind", "infinity"),
    [
        (XT, "none", "untried"),
        (replace(XT, fpu=True, extras=Extras(fpu_kind="i8087")), "i8087", "projective"),
        (replace(AT, fpu=True, extras=Extras(fpu_kind="i80287")), "i80287", "projective"),
        (replace(AT, fpu=True), "i80387", "affine"),
        (replace(I386, fpu=True, extras=Extras(fpu_kind="i80287")), "i80287", "projective"),
        (replace(I386, fpu=True), "i80387", "affine"),
        (LATE, "i80387", "affine"),
    ],
)
def test_coprocessor_by_what_it_does(spec: MachineSpec, kind: str, infinity: str) -> None:
    """The 8087 alone has an interrupt mask that FDISI sets; the 80387 alone tells infinities apart (from memory)."""
    found = facts(spec)
    assert values(found, "fpu.kind", "fpu.infinity") == [kind, infinity]
    assert found["fpu.control_word"].value == ("65535" if kind == "none" else "895")  # 037Fh after FNINIT


@pytest.mark.parametrize("pit_mode", [2, 3])
@pytest.mark.parametrize("spec", [XT, AT, I386, replace(LATE, cpuid=None), LATE])
def test_loop_takes_what_the_machine_takes(spec: MachineSpec, pit_mode: Any) -> None:
    """The test machine's own rule: clocks for each octet of code; a block is 60 AAM of two octets and a LOOP."""
    spec = replace(spec, pit_mode=pit_mode)
    speed = snapshot(agent_box(spec)).values("speed")
    assert speed is not None and speed["method"] == "loop"
    seconds = speed["clocks"] * 122 * spec.clocks_per_octet / spec.clock_hz
    expected = seconds * 315e6 / 264
    assert 6000 <= speed["counts"] < 15000
    assert abs(speed["counts"] - expected) <= speed["resolution"] + 4
    assert speed["resolution"] < 20


def test_counter_against_the_timer(full: Mapping[str, Fact]) -> None:
    assert full["speed.method"].value == "counter"
    assert abs(float(full["speed.mhz"].value) - 33.0) <= float(full["speed.mhz_within"].value)
    assert all(full[f"speed.{name}"].volatile for name in ("mhz", "mhz_within", "clocks", "counts", "method"))


def test_memory_managers_and_map(full: Mapping[str, Fact]) -> None:
    assert values(full, "e820.00000000", "e820.000F0000", "e820.00100000") == [
        "to 0009FBFF, 639 KB, usable",
        "to 000FFFFF, 64 KB, reserved",
        "to 007FFFFF, 7168 KB, usable",
    ]
    names = ("version", "hma", "a20", "largest", "free", "handler")
    assert values(full, *(f"xms.{name}" for name in names)) == [
        "3.0", "present", "present", "3072 KB", "4096 KB", "driver XMSXXXX0",
    ]  # fmt: skip
    names = ("version", "frame", "total", "free", "handles", "handler")
    assert values(full, *(f"ems.{name}" for name in names)) == [
        "4.0", "E000h", "2048 KB", "1536 KB", "2", "driver EMMXXXX0",
    ]  # fmt: skip
    assert {name for name in full if name[:4] in ("xms.", "ems.") and full[name].volatile} == {
        "xms.a20", "xms.largest", "xms.free", "xms.entry", "ems.free", "ems.handles", "ems.segment",
    }  # fmt: skip


@pytest.mark.parametrize("version", [0x0200, 0x0300])
def test_xms_before_3_and_more_than_64_mb(version: int) -> None:
    found = facts(replace(LATE, extras=Extras(xms=Xms(version=version, largest_kb=100_000, free_kb=120_000))))
    expected = ["65535 KB", "65535 KB"] if version < 0x300 else ["100000 KB", "120000 KB"]
    assert values(found, "xms.largest", "xms.free") == expected


def test_a_map_without_an_end_is_cut_and_said() -> None:
    spec = replace(I386, extras=Extras(memory_map=((0, 0x1000, 1), (0x2000, 1, 2)), endless_map=True))
    record = snapshot(agent_box(spec))
    section = record.values("e820")
    assert section is not None and len(section["ranges"]) == 64
    assert captured_all(record) == 0


def test_what_stands_in_rom(full: Mapping[str, Fact]) -> None:
    assert values(full, "display_rom.size", "display_rom.text") == ["32768 octets", "Box display BIOS v1"]
    names = ("version", "memory_kb", "oem", "vendor", "product", "revision", "modes")
    assert values(full, *(f"vbe.{name}" for name in names)) == [
        "2.0", "1024 KB", "Box display BIOS", "Box works", "Box display", "1.0", "100 101 103",
    ]  # fmt: skip
    names = ("bios.vendor", "bios.version", "bios.date", "system.maker", "system.product", "system.version")
    assert values(full, *(f"dmi.{name}" for name in names)) == [
        "Box BIOS", "1.0", "05/31/94", "Box works", "Box one", "A",
    ]  # fmt: skip
    assert not [fact for fact in full.values() if "a serial number" in fact.value]
    assert values(full, "pnp.version", "pnp.oem") == ["1.0", "PNP0A03"]


def test_an_old_vbe_has_fewer_texts() -> None:
    found = facts(replace(LATE, extras=Extras(vbe=Vbe(version=0x0102))))
    assert values(found, "vbe.version", "vbe.oem") == ["1.2", "Box display BIOS"]
    assert "vbe.vendor" not in found


def test_pci_functions_with_their_space(full: Mapping[str, Fact]) -> None:
    """Ids: a host bridge 8086:1237 and an ISA bridge 8086:7000, as in public tables."""
    ids = {name: fact.value for name, fact in full.items() if re.fullmatch(r"pci\..*\.id", name)}
    assert ids == {
        "pci.00:00.0.id": "8086:1237",
        "pci.00:07.0.id": "8086:7000",
        "pci.00:07.1.id": "8086:7010",
    }  # the function 7 without a function 0 is not looked for
    registers = bytes.fromhex(full["pci.00:00.0.registers"].value)
    assert (len(registers), registers[0x50 - 0x40], registers[-1]) == (192, 0x12, 0x34)
    assert full["pci.00:00.0.status"] == Fact("pci.00:00.0.status", "0080h", "", True)
    assert values(full, "pci.00:07.0.class", "pci.version", "pci.last_bus") == ["06.01.00", "2.10", "1"]


def test_more_pci_functions_than_there_is_room_for() -> None:
    many = tuple(PciFunction(bus, device, 0, 0x1234, device) for bus in range(3) for device in range(32))
    box = agent_box(replace(LATE, extras=Extras(pci=many)))
    ran = readoff(box, "SNAP /L:base")
    (record,) = ran.of_kind("snapshot")
    assert len(record.all("pci_device")) == 64
    assert captured_all(record) == 0 and ran.exit.code == 1
    assert "More than 64 PCI functions" in ran.said


def test_drivers_setup_and_vectors(full: Mapping[str, Fact]) -> None:
    assert values(full, "devices.MOUSE$", "devices.NUL") == [
        "character, attributes 8000h",
        "character, attributes 8004h",
    ]
    names = ("files", "fcbs", "buffers", "last_drive", "in_high_memory")
    assert values(full, *(f"dos_setup.{name}" for name in names)) == ["30", "4", "20", "E", "present"]
    assert values(full, "vectors.driver_MOUSE$", "vectors.driver_EMMXXXX0") == ["33", "67"]
    assert "08" in full["vectors.system_BIOS"].value.split()
    assert "21" in full["vectors.DOS"].value.split()
    assert full["vectors.table"].volatile


def test_buffers_of_dos_3_are_counted() -> None:
    assert values(facts(XT), "dos_setup.files", "dos_setup.buffers") == ["30", "3"]


def test_a_resident_program_is_named_as_the_owner_of_its_vectors() -> None:
    """STAYS.COM stays resident; a test then lets vector 61h point into it."""
    box = agent_box(AT, "STAYS.COM")
    box.run("C:\\STAYS.COM", "31 7")
    block = next(each for each in box.on.dos.blocks.blocks() if each.owner not in (0, 8, box.on.first_psp))
    box.on.bios.set_vector(0x61, block.owner, 0x0105)
    found = facts_of(snapshot(box))
    assert found["vectors.STAYS"].value.split() == ["61"]
    owned = {
        number for name, fact in found.items() if name.startswith("vectors.") for number in fact.value.split()
    }
    assert not owned & {"22", "23", "24"}  # the running program's own, which say nothing of the machine


def test_drives_are_told_and_none_that_may_ask_is_touched() -> None:
    box = agent_box(AT)
    drives = box.drives
    for letter, drive in {"A": Drive(removable=True), "D": Drive(removable=True), "E": Drive()}.items():
        drive.ready = not drive.removable
        drives._drives[letter] = drive
    box.boot()
    found = facts_of(snapshot(box))
    assert values(found, "drives.C.kind", "drives.D.kind", "drives.E.kind") == ["fixed", "removable", "fixed"]
    assert values(found, "drives.E.size", "drives.E.cluster") == ["32768 KB", "2048 octets"]
    assert "drives.A.kind" not in found and "drives.D.size" not in found
    assert found["drives.E.free"].volatile
    assert [drives[letter].accesses["read"] for letter in "AD"] == [0, 0]
    assert values(found, "disks.80h.geometry", "disks.00h.kind") == [
        "65 cylinders, 16 heads, 63 sectors",
        "floppy_with_change_line",
    ]


def documented_ports() -> set[int]:
    """The first column of the first table of docs/ports.md."""
    text = (ROOT / "docs" / "ports.md").read_text("utf-8")
    table = text.split("## Ports of the snapshot")[1].split("\n## ")[0]
    cells = [line.split("|")[1] for line in table.splitlines() if line.startswith("| ")][1:]
    return {int(number, 16) for cell in cells for number in re.findall(r"\b([0-9A-F]{2,3})h", cell)}


@pytest.mark.parametrize("spec", [XT, AT, FULL, replace(AT, pit_mode=2), replace(XT, rtc=True, model=0xFB)])
def test_only_documented_ports_are_touched(spec: MachineSpec) -> None:
    box = agent_box(spec)
    log: list[tuple[str, int, int]] = []
    box.on.ports.log = log
    snapshot(box)
    touched = {port for _way, port, _value in log}
    assert touched <= documented_ports(), {f"{port:X}" for port in touched - documented_ports()}
    written = {port for way, port, _value in log if way == "out"}
    assert written <= {0x20, 0x43, 0x70, 0xA0}
    if spec.rtc:
        assert [value for way, port, value in log if (way, port) == ("out", 0x70)][-1] == 0x0D
    if spec.processor >= Kind.I80286:  # all that is ever written to the timer latches, or reads back
        assert {value for way, port, value in log if (way, port) == ("out", 0x43)} <= {0x00, 0xC2, 0xE2}


def test_every_section_is_in_the_list_of_what_is_touched() -> None:
    """docs/ports.md names the services; each that the sources call must stand there."""
    text = (ROOT / "docs" / "ports.md").read_text("utf-8")
    for service in (
        "AX=E820h", "AX=4300h", "AX=4310h", "AH=40h", "AX=4F00h", "AX=B101h", "AX=B10Ah", "AX=4408h", "AX=4409h",
        "AH=36h", "AX=3306h", "AH=08h", "AH=15h", "RDTSC", "CPUID", "CR0", "FDISI",
    ):  # fmt: skip
        assert service in text, service


@pytest.mark.parametrize(
    "spec", [XT, replace(XT, display="vga", extras=Extras(display_rom="Box display BIOS"))]
)
def test_snapshot_on_the_slowest_machine_takes_less_than_four_seconds(spec: MachineSpec) -> None:
    """The test machine's own clocks: four for each octet of code fetched, 4.77 MHz; DOS and the BIOS included.

    At 20 clocks an instruction (common practice, no source) 4 s are 950,000 instructions.
    """
    box = agent_box(spec)
    box.drive("C").write("CONFIG.SYS", b"FILES=30\r\n" * 50)
    box.drive("C").write("AUTOEXEC.BAT", b"@ECHO OFF\r\n" * 50)
    with box.counting() as count:
        ran = readoff(box, "SNAP /L:base")
    print(f"{count()} instructions, {ran.exit.seconds:.2f} s")
    assert ran.exit.code == 0
    assert count() < 400_000
    assert ran.exit.seconds < 4


@pytest.mark.parametrize("cputype", ["386", "486_slow", "pentium_slow"])
def test_under_an_emulated_dos(tmp_path: Path, cputype: str) -> None:
    """DOSBox 0.74: its XMS, EMS and VBE are real enough; its drive C: is known although its LASTDRIVE is not."""
    (tmp_path / "READOFF.COM").write_bytes(AGENT.read_bytes())
    files = run_dosbox(tmp_path, ["READOFF SNAP"], cputype=cputype, cycles="fixed 3000")
    (octets,) = (files[name] for name in files if name.endswith(".RDO") and "SERIAL" not in name)
    found = facts_of(parse_record(octets))
    assert values(found, "xms.version", "ems.version", "vbe.version", "ems.frame") == [
        "3.0",
        "4.0",
        "2.0",
        "E000h",
    ]
    assert int(found["xms.free"].value) > 1024 and int(found["ems.total"].value) > 1024
    assert values(found, "fpu.kind", "drives.C.kind") == ["i80387", "fixed"]
    assert found["speed.method"].value == ("counter" if cputype == "pentium_slow" else "loop")
    assert float(found["speed.mhz"].value) > 1
    assert ("cpuid.00000001" in found) == (cputype != "386")
