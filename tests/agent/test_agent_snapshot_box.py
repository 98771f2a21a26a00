"""SNAP in the test machine: what each kind of machine is told to be, and that two snapshots of one boot agree."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from readoff.box import AT, LATE, XT, Box, MachineSpec, Processor
from readoff.contract.declared import record_contract
from readoff.contract.record import Record
from support.agent_box import agent_box, captured_all, readoff

I386 = replace(LATE, processor=Processor.I80386, cpuid=None, fpu=False)


def snapshot(box: Box, tail: str = "SNAP /L:base") -> Record:
    ran = readoff(box, tail)
    assert ran.exit.kind == "ended" and ran.exit.code == 0, ran.said
    (record,) = ran.of_kind("snapshot")
    assert not [section.problem for section in record.sections if section.problem]
    return record


def section(record: Record, name: str) -> Mapping[str, Any]:
    values = record.values(name)
    assert values is not None, name
    return values


@pytest.mark.parametrize(
    ("spec", "kind", "fpu", "display", "rtc"),
    [
        (XT, "i8086", "absent", "cga", "absent"),
        (AT, "i80286", "absent", "ega", "read"),
        (replace(AT, fpu=True), "i80286", "present", "ega", "read"),
        (I386, "i80386", "absent", "vga", "read"),
        (replace(LATE, cpuid=None), "i80486", "present", "vga", "read"),
        (LATE, "cpuid", "present", "vga", "read"),
        (replace(XT, display="mda"), "i8086", "absent", "mda", "absent"),
        (replace(XT, rtc=True, model=0xFB), "i8086", "absent", "cga", "read"),
    ],
)
def test_machine_is_told(spec: MachineSpec, kind: str, fpu: str, display: str, rtc: str) -> None:
    box = agent_box(spec)
    record = snapshot(box)
    cpu = section(record, "cpu")
    assert (cpu["class"], cpu["fpu"], cpu["v86"]) == (kind, fpu, "absent")
    assert section(record, "display")["class"] == display
    assert section(record, "boot")["rtc_state"] == rtc
    assert section(record, "bios")["model"] == spec.model
    assert section(record, "bios")["date"] == spec.rom_date
    assert section(record, "memory")["conventional_kb"] == spec.conventional_kb
    dos = section(record, "dos")
    assert (dos["major"], dos["minor"]) == spec.dos_version
    assert captured_all(record) == 1
    if spec is LATE:
        assert (cpu["signature"], cpu["features"], cpu["vendor"]) == (0x0480, 1, "BoxProcessor")


def test_snapshot_on_the_slowest_machine_takes_less_than_four_seconds() -> None:
    """The test machine's own clocks: four for each octet of code fetched, 4.77 MHz; DOS and the BIOS included."""
    box = agent_box(XT)
    box.drive("C").write("CONFIG.SYS", b"FILES=30\r\n" * 50)
    box.drive("C").write("AUTOEXEC.BAT", b"@ECHO OFF\r\n" * 50)
    with box.counting() as count:
        ran = readoff(box, "SNAP /L:base")
    print(f"{count()} instructions, {ran.exit.seconds:.2f} s")
    assert ran.exit.code == 0
    assert count() < 400_000
    assert ran.exit.seconds < 4


@pytest.mark.parametrize("spec", [XT, LATE])
def test_two_snapshots_of_one_boot_agree_in_every_stable_field(spec: MachineSpec) -> None:
    box = agent_box(spec)
    first = snapshot(box)
    box.command("ECHO between > NOTE.TXT")
    second = snapshot(box)
    assert section(first, "boot")["state"] == "fresh"
    assert section(second, "boot")["state"] == "found"
    assert first.id.boot == second.id.boot
    for kind in record_contract().kinds.values():
        if kind.name in ("boot", "end", "bda"):
            continue
        for one, other in zip(first.all(kind.name), second.all(kind.name), strict=True):
            if kind.name == "cmos" and one.values:
                assert other.values
                assert one.values["settings"] == other.values["settings"]
            else:
                assert one.payload == other.payload, kind.name


def test_residents_and_environment_of_the_shell() -> None:
    box = agent_box(AT)
    names = [block["name"] for block in section(snapshot(box), "residents")["blocks"]]
    assert "COMMAND" in names
    assert not [name for name in names if name.startswith("READOFF")]
    assert b"COMSPEC=" in snapshot(box).all("environment")[0].payload


def test_start_up_files() -> None:
    box = agent_box(AT)
    box.drive("C").write("CONFIG.SYS", b"DEVICE=C:\\HIMEM.SYS\r\n")
    files = [s.values for s in snapshot(box).all("startup_file")]
    assert files == [{"name": "C:\\CONFIG.SYS", "octets": b"DEVICE=C:\\HIMEM.SYS\r\n"}]


def test_only_documented_ports_are_touched() -> None:
    """docs/ports.md: CMOS, the timer, and the interrupt controller's registers that clock_read looks at."""
    box = agent_box(LATE)
    log: list[tuple[str, int, int]] = []
    box.on.ports.log = log
    snapshot(box)
    touched = {port for _way, port, _value in log}
    assert touched <= {0x20, 0x21, 0x40, 0x43, 0x70, 0x71, 0xA0}, {f"{port:X}" for port in touched}
    assert not [entry for entry in log if entry[0] == "out" and entry[1] == 0x71]
    assert [value for way, port, value in log if (way, port) == ("out", 0x70)][-1] == 0x0D
