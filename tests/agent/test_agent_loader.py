"""READOFF.COM over a bare line: GO.COM taken by COPY as text, then the blocks, through every fault of line and disk.

The opcodes that printable programs are made of are those of the 8086 (Intel, 8086 Family User's Manual, 1979; from
memory); the machine checks each that runs.
"""

from __future__ import annotations

import random
import subprocess
import zlib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from unicorn import UC_ARCH_X86, UC_MODE_16, Uc
from unicorn.x86_const import (
    UC_X86_REG_CS,
    UC_X86_REG_DS,
    UC_X86_REG_ES,
    UC_X86_REG_SP,
    UC_X86_REG_SS,
)

from readoff.box import AT, LATE, XT, Box, Drive, MachineSpec
from readoff.link.lead import Lead
from readoff.link.printable import LOADED, ORIGIN, printable_program
from support.agent_box import AGENT
from support.dosbox import dosbox
from support.serial_lines import listening_line

SOURCE = AGENT.parent / "src"
LOADER = AGENT.parent / "GO.COM"
END_OF_TEXT = b"\x1a"
SEGMENT = 0x1000
PART = AGENT.read_bytes()[:3000]  # where less than the whole says as much, sooner
QUICK = replace(LATE, uart_paced=False)


class Far:
    """The host in lockstep: the text at once, or what a Lead answers; noise on the way where asked for."""

    def __init__(
        self, *, text: bytes = b"", lead: Lead | None = None, spoil: float = 0.0, lose: float = 0.0
    ) -> None:
        self._text, self._lead = text, lead
        self._spoil, self._lose, self._draw = spoil, lose, random.Random(7)

    def exchange(self, now: int, octets: bytes) -> bytes:
        answer, self._text = self._text + (self._lead.receive(octets) if self._lead else b""), b""
        out = bytearray()
        for octet in answer:
            if self._draw.random() >= self._lose:
                out.append(octet ^ (1 << self._draw.randrange(8) if self._draw.random() < self._spoil else 0))
        return bytes(out)


def bare_machine(spec: MachineSpec = AT, *, loader: bytes | None = None) -> tuple[Box, Drive]:
    drive = Drive()
    if loader is not None:
        drive.write("GO.COM", loader)
    box = Box(spec, {"C": drive})
    box.most_seconds, box.patience = 400, 60
    box.boot()
    return box, drive


def led(box: Box, tail: str = "", file: bytes = PART, **far: float) -> tuple[int, str, Lead]:
    """GO.COM runs against a host: exit code, what it said, the host's side."""
    lead = Lead(file)
    box.line(1).connect()
    box.line(1).attach(Far(lead=lead, **far), every=500)
    ended = box.run("C:\\GO.COM", tail)
    return ended.code, ended.console.decode("cp437"), lead


def test_the_committed_loader_is_its_source_and_nothing_but_text(tmp_path: Path) -> None:
    built = tmp_path / "loader.bin"
    command = [
        "nasm",
        "-f",
        "bin",
        "-w+all",
        "-w+error",
        "-I",
        f"{SOURCE}/",
        "-o",
        str(built),
        str(LOADER.parent / "loader" / "loader.asm"),
    ]
    subprocess.run(command, cwd=SOURCE, check=True, capture_output=True)
    octets = LOADER.read_bytes()
    assert octets == printable_program(built.read_bytes())
    assert all(0x21 <= octet <= 0x7E for octet in octets)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=700))
def test_any_program_survives_being_written_in_letters(body: bytes) -> None:
    """Run until the program would begin: it and its check lie there, octet for octet."""
    octets = printable_program(body)
    assert all(0x21 <= octet <= 0x7E for octet in octets)
    base = SEGMENT << 4
    machine = Uc(UC_ARCH_X86, UC_MODE_16)
    machine.mem_map(0, 1 << 20)
    machine.mem_write(base + LOADED, octets)
    for register in (UC_X86_REG_CS, UC_X86_REG_DS, UC_X86_REG_ES, UC_X86_REG_SS):
        machine.reg_write(register, SEGMENT)
    machine.reg_write(UC_X86_REG_SP, 0xFFFE)
    machine.emu_start(base + LOADED, base + ORIGIN)
    made = bytes(machine.mem_read(base + ORIGIN, len(body) + 4))
    assert made == body + zlib.crc32(body).to_bytes(4, "little")


@pytest.mark.parametrize("spec", [XT, AT, QUICK], ids=["8088 8250", "286 16450", "486 instant"])
def test_from_nothing_to_the_agents_help(spec: MachineSpec) -> None:
    """COPY COM1: GO.COM, GO, READOFF: on a machine that had only DOS."""
    box, drive = bare_machine(spec)
    box.line(1).connect()
    box.line(1).attach(Far(text=LOADER.read_bytes() + END_OF_TEXT), every=500)
    assert b"1 file copied" in box.command("COPY COM1: GO.COM").console
    assert drive.read("GO.COM") == LOADER.read_bytes() + END_OF_TEXT
    code, said, lead = led(box, file=AGENT.read_bytes())
    assert (code, lead.ended, lead.answered) == (0, True, lead.blocks + 1)
    assert "READOFF.COM is here and whole" in said
    assert drive.read("READOFF.COM") == AGENT.read_bytes()
    assert b"READOFF RUN" in box.run("C:\\READOFF.COM", "").console


def test_every_instruction_is_one_of_the_8086() -> None:
    box, _ = bare_machine(replace(XT, uart_paced=False), loader=LOADER.read_bytes())
    box.on.processor.check_each_instruction()
    assert led(box)[0] == 0


@pytest.mark.parametrize(
    "faults", [{"spoil": 1e-3}, {"lose": 1e-3}, {"spoil": 5e-4, "lose": 5e-4}], ids=["noise", "loss", "both"]
)
def test_a_bad_line_costs_time_and_nothing_else(faults: dict[str, float]) -> None:
    box, drive = bare_machine(loader=LOADER.read_bytes())
    code, _, lead = led(box, **faults)
    assert code == 0
    assert drive.read("READOFF.COM") == PART
    assert lead.answered > lead.blocks + 1, "the faults have met nothing"


def test_com2_by_its_number() -> None:
    box, drive = bare_machine(replace(AT, serial_ports=2), loader=LOADER.read_bytes())
    lead = Lead(PART)
    box.line(2).connect()
    box.line(2).attach(Far(lead=lead), every=500)
    assert box.run("C:\\GO.COM", " 2").code == 0
    assert drive.read("READOFF.COM") == PART


@pytest.mark.parametrize("tail", [" 2", " 3", " 4"])
def test_a_port_that_is_not_there(tail: str) -> None:
    box, drive = bare_machine(loader=LOADER.read_bytes())
    box.on.ports.log = []
    code, said, _ = led(box, tail)
    assert (code, "No such serial port" in said) == (1, True)
    assert [port for way, port, _ in box.on.ports.log if way == "out" and port < 0x20] == []
    assert not drive.list("READOFF.COM")


def test_a_damaged_loader_says_so_and_does_nothing() -> None:
    """Each octet of the program itself, one bit wrong; the unpacking stub has only its length, which DIR shows."""
    octets = LOADER.read_bytes()
    for at in range(ORIGIN - LOADED + 120, len(octets), 397):
        spoilt = bytearray(octets)
        spoilt[at] ^= 1
        box, drive = bare_machine(loader=bytes(spoilt))
        code, said, _ = led(box)
        assert code == 1 and "GO.COM is damaged" in said
        assert not drive.list("READOFF.COM")


def test_one_that_is_here_already_is_not_written_over() -> None:
    box, drive = bare_machine(loader=LOADER.read_bytes())
    drive.write("READOFF.COM", b"mine")
    code, said, _ = led(box)
    assert (code, "is it here already" in said, drive.read("READOFF.COM")) == (1, True, b"mine")


def test_a_full_disk_is_left_as_it_was() -> None:
    box, drive = bare_machine(loader=LOADER.read_bytes())
    drive.room = 1000
    code, said, _ = led(box)
    assert (code, "The disk is full" in said) == (1, True)
    assert not drive.list("READOFF.COM")


def test_escape_ends_the_waiting() -> None:
    box, drive = bare_machine(loader=LOADER.read_bytes())
    box.type_at(2.5, "\x1b")
    ended = box.run("C:\\GO.COM", "")
    assert (ended.code, b"Ended." in ended.console) == (1, True)
    assert not drive.list("READOFF.COM")


def test_under_another_dos(tmp_path: Path) -> None:
    """DOSBox knows no COPY from a line; GO.COM is put there as a file, and takes the rest over the line."""
    (tmp_path / "GO.COM").write_bytes(LOADER.read_bytes() + END_OF_TEXT)
    lead = Lead(PART)
    with (
        listening_line() as line,
        dosbox(tmp_path, ["GO > SAID.TXT"], serial1=line.serial1, time_limit=90) as running,
    ):
        connection = line.accept()
        connection.settimeout(0.05)
        while running.process.poll() is None:
            try:
                octets = connection.recv(4096)
            except TimeoutError:
                continue
            if not octets:
                break
            if answer := lead.receive(octets):
                connection.sendall(answer)
        files = running.wait()
    assert b"is here and whole" in files["SAID.TXT"]
    assert files["READOFF.COM"] == PART
