"""Many records for benchmarks: made by READOFF.COM in the test machine, then varied so that no two are alike.

A boot is a SNAP and some RUNs of our sample programs on one machine. A varied boot is a real one with another agent,
nonce, date, label, clock and screen, and other numbers in what the programs printed and showed; all lengths and all
that the agent decided stay. The checks are reckoned again. No number is read twice.
"""

from __future__ import annotations

import random
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from readoff.box import AT, LATE, XT
from readoff.contract.cells import unpack_cells
from readoff.contract.record import CHECK_SIZE, MAGIC, Record
from support.agent_box import agent_box, readoff
from support.packing import packed

MACHINES, LABELS = 20, ("as-found", "zero-ws", "cache-off", "cache-on", "turbo", "shadow", "em386", "bare")
_PROGRAMS = (
    "REPLAY.COM {}",
    "INTLOOP.COM {}",
    "FLTLOOP.COM 1",
    "SOLVE.COM 10",
    "WAYS.COM 09 {}",
    "WAYS.COM V {}",
)
# What our programs print: the numbers in these lines are drawn anew.
_LINES = re.compile(rb"(?:Replay|Rate|Integer loop|Speed|Mixed loop|Linear system|Ways): [ -~]*")
_CLEAR = "main: mov ax, 3\nint 10h\nint 20h"  # the screen that a batch file leaves with CLS
_NUMBER = re.compile(rb"(?<![A-Za-z0-9.])[1-9][0-9]*(?:\.[0-9]+)?(?![A-Za-z0-9.])")


@dataclass(frozen=True)
class _Section:
    """One section of a real record. head: tag and flags."""

    name: str
    head: bytes
    payload: bytes


@dataclass(frozen=True)
class RealRecord:
    """A record that the agent wrote, taken apart so that it can be varied."""

    header: bytes
    sections: tuple[_Section, ...]

    def varied(self, draw: _Drawn) -> bytes:
        """The record as another boot would have left it."""
        header = bytearray(self.header)
        header[8:16] = draw.serial.to_bytes(4, "little") + draw.nonce.to_bytes(4, "little")
        header[18:22] = draw.time.to_bytes(2, "little") + draw.date.to_bytes(2, "little")
        running = zlib.crc32(header)
        out = [bytes(header), running.to_bytes(CHECK_SIZE, "little")]
        size = len(header) + CHECK_SIZE
        for section in self.sections:
            payload = draw.payload(section)
            size += 4 + len(payload) + CHECK_SIZE
            if section.name == "end":
                payload = size.to_bytes(4, "little") + payload[4:]
            octets = section.head + len(payload).to_bytes(2, "little") + payload
            running = zlib.crc32(octets, running)
            out += [octets, running.to_bytes(CHECK_SIZE, "little")]
        return b"".join(out)


class _Drawn:
    """What is drawn for one boot: whose it is and when; and new numbers for old, the same wherever they stand."""

    def __init__(self, draw: random.Random, number: int) -> None:
        self._draw = draw
        self.serial = 0x10000000 + 0x1F3D5B * (number % MACHINES)
        self.nonce = (0x9E3779B1 * (number + 1)) & 0xFFFFFFFF  # odd factor: no two are alike
        self.label = draw.choice(LABELS).encode()
        self.time, self.date = (
            draw.randrange(0xBF7D),
            (draw.randrange(4, 15) << 9) + (draw.randrange(1, 13) << 5) + 1,
        )
        self._lines: dict[bytes, bytes] = {}

    def payload(self, section: _Section) -> bytes:
        """The section's payload with what is drawn in its place; of the same length but for the label's."""
        old, octets = section.payload, bytearray(section.payload)
        if section.name == "boot":
            octets[3:7] = self._draw.randbytes(4)
        elif section.name == "run_start":
            self._lines = {}  # another run, other numbers
            octets[8 : 9 + old[8]] = bytes([len(self.label)]) + self.label
        elif section.name == "snapshot_start":
            octets[:] = bytes([len(self.label)]) + self.label
        elif section.name == "run_end":
            octets[6:12] = self._draw.randrange(20, 4000).to_bytes(4, "little") + self._draw.randbytes(2)
        elif section.name == "bda":
            octets[0x6C:0x70] = self._draw.randbytes(4)
        elif section.name == "cmos":
            octets[:10] = self._draw.randbytes(10)
        elif section.name == "console":
            return _LINES.sub(lambda found: self._line(found[0]), old)
        elif section.name == "screen":
            return self._screen(old)
        return bytes(octets)

    def _line(self, line: bytes) -> bytes:
        """A line with other numbers of the same lengths."""
        if line not in self._lines:
            self._lines[line] = _NUMBER.sub(lambda found: self._number(found[0]), line)
        return self._lines[line]

    def _number(self, text: bytes) -> bytes:
        digits = iter(f"{self._draw.randrange(10 ** len(text)):0{len(text)}d}".encode())
        drawn = bytes(next(digits) if 0x30 <= code <= 0x39 else code for code in text)
        return (b"1" if drawn[:1] == b"0" else drawn[:1]) + drawn[1:]

    def _screen(self, payload: bytes) -> bytes:
        columns, rows, runs = payload[2], payload[3], payload[7]
        cells = bytearray(unpack_cells(payload[8:], columns * rows) if runs else payload[8:])
        for begin in range(0, len(cells), 2 * columns):
            found = _LINES.match(bytes(cells[begin : begin + 2 * columns : 2]))
            if found:
                line = found[0].rstrip(b" ")
                cells[begin : begin + 2 * len(line) : 2] = self._line(line)
        if not runs:
            return payload[:8] + bytes(cells)
        return payload[:8] + packed([bytes(cells[at : at + 2]) for at in range(0, len(cells), 2)])


def real_boots(seed: int = 1) -> list[list[RealRecord]]:
    """Boots of several machines, with all that the agent wrote in each. Takes some seconds."""
    draw, boots = random.Random(seed), []
    for spec in (XT, AT, LATE, replace(AT, display="vga"), replace(LATE, uart="8250")):
        for _ in range(2):
            names = (f"{name}.COM" for name in ("REPLAY", "INTLOOP", "FLTLOOP", "SOLVE", "WAYS"))
            box = agent_box(spec, *names, CLEAR=_CLEAR)
            ran = [readoff(box, "SNAP /L:x")]
            for program in draw.sample(_PROGRAMS, 4):
                box.run("C:\\CLEAR.COM", "")
                ran.append(readoff(box, f"RUN /L:x {program.format(draw.randrange(120, 300))}"))
            assert all(not each.exit.code for each in ran), [each.said for each in ran]
            boots.append([_taken_apart(record) for each in ran for record in each.records.values()])
    return boots


def _taken_apart(record: Record) -> RealRecord:
    assert record.octets.startswith(MAGIC)
    header = record.octets[: int.from_bytes(record.octets[6:8], "little")]
    return RealRecord(
        header,
        tuple(
            _Section(each.name, record.octets[each.begin - 4 : each.begin - 2], each.payload)
            for each in record.sections
        ),
    )


def real_records(count: int, seed: int = 1) -> Iterator[tuple[str, bytes]]:
    """(name of the file in the spool, octets) of so many records, boot by boot, no two alike."""
    boots, number, made = real_boots(seed), 0, 0
    while True:
        drawn = _Drawn(random.Random(f"{seed} {number}"), number)
        for each in boots[number % len(boots)]:
            if made == count:
                return
            octets = each.varied(drawn)
            yield f"{drawn.nonce & 0xFFFF:04X}{int.from_bytes(octets[16:18], 'little'):04X}.RDO", octets
            made += 1
        number += 1


def write_files(folder: Path, count: int, seed: int = 1) -> int:
    """Writes so many records as files, a folder for each thousand. Gives their octets together."""
    total = 0
    for number, (name, octets) in enumerate(real_records(count, seed)):
        place = folder / f"{number // 1000:03d}"
        place.mkdir(exist_ok=True)
        (place / f"{number % 1000:03d}-{name}").write_bytes(octets)
        total += len(octets)
    return total
