"""SNAP in the test machine: what each kind of machine is told to be, and that two snapshots of one boot agree."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from readoff.box import AT, LATE, XT, Box, MachineSpec, Processor
from readoff.contract.record import Record
from readoff.snapshots import facts_of
from support.agent_box import agent_box, captured_all, readoff
from support.full_machine import FULL

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


@pytest.mark.parametrize("spec", [XT, LATE, FULL])
def test_two_snapshots_of_one_boot_agree_in_every_stable_field(spec: MachineSpec) -> None:
    box = agent_box(spec)
    first = snapshot(box)
    box.command("ECHO between > NOTE.TXT")
    second = snapshot(box)
    assert section(first, "boot")["state"] == "fresh"
    assert section(second, "boot")["state"] == "found"
    assert first.id.boot == second.id.boot
    stable = [{f.name: f.value for f in facts_of(r).values() if not f.volatile} for r in (first, second)]
    assert stable[0] == stable[1]
    assert len(stable[0]) > 50


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
