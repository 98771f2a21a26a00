"""The machine code in the box is what its sources say, and the BIOS tail is where it always was."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from readoff.box import AT, LATE, XT, MachineSpec, images
from support.box_programs import make_box


@pytest.mark.parametrize("name", ["rom", "kernel", "shell"])
def test_the_image_is_current(name: str, tmp_path: Path) -> None:
    built = tmp_path / "built.bin"
    source = str(images.HERE / f"{name}.asm")
    flags = ["-f", "bin", "-w+all", "-w+error", "-I", f"{images.HERE}/"]
    subprocess.run(["nasm", *flags, "-o", str(built), source], check=True)
    assert built.read_bytes() == (images.HERE / f"{name}.bin").read_bytes()


@pytest.mark.parametrize("name", ["rom", "kernel", "shell"])
def test_the_source_is_held_to_the_8086(name: str) -> None:
    lines = [
        line for file in images.HERE.glob(f"{name}*.[ai][sn][mc]") for line in file.read_text().splitlines()
    ]
    cpu = [line.split() for line in lines if line.split()[:1] == ["cpu"]]
    assert cpu == [["cpu", "8086"]]


def test_the_bios_tail_is_that_of_a_known_rom() -> None:
    """Fixture: the last 16 octets of Debian's seabios image: jump, date, model FC."""
    box = make_box(replace(AT, rom_date="06/23/99", model=0xFC))
    tail = box.on.engine.memory.read(0xF000, 0xFFF0, 15)
    assert tail == bytes.fromhex("EA5BE000F0 30362F32332F3939 00 FC")


@pytest.mark.parametrize("spec", [XT, AT, LATE], ids=lambda s: s.name)
def test_the_rom_sums_to_zero(spec: MachineSpec) -> None:
    box = make_box(spec)
    assert sum(box.on.engine.memory.read(0xF000, 0, 0x10000)) % 256 == 0


def test_a_jump_to_ffff_0_resets() -> None:
    from support.box_programs import run_source

    box = make_box()
    ran = run_source(box, "main: jmp 0FFFFh:0")
    assert (ran.exit.kind, ran.exit.how) == ("reset", "FFFF:0000")
