"""How the captures of a run look in readoff show, and how they are saved as files."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path, PureWindowsPath
from typing import TYPE_CHECKING

from readoff.cli import looks
from readoff.cli.common import writing
from readoff.contract.cp437 import glyphs
from readoff.errors import UsageError
from readoff.readings.shown import CaptureKind
from readoff.readings.shown import show as lay_out
from readoff.readings.wordless import wordless

if TYPE_CHECKING:
    from readoff.readings import Capture
    from readoff.store.captures import Taken
    from readoff.store.find import RunRow

MOST_LINES = 1000
_DUMPED, _IN_A_ROW = 256, 16
_SUFFIX = {CaptureKind.CONSOLE: ".txt", CaptureKind.PICTURE: ".bmp"}
_UNFIT = re.compile(r"[^A-Za-z0-9._~!#$%&'()@^{}-]")


def run_title(run: RunRow) -> str:
    """A run in one line, with its program's arguments."""
    return f"Run {run.number}: {looks.what_ran(run)} {run.arguments}".rstrip()


def lines_of(capture: Capture) -> list[str]:
    """A capture as text, without blank lines at its end."""
    lines = [line.text for line in lay_out(capture).lines]
    while lines and not lines[-1].strip():
        lines.pop()
    return lines


def show_captures(captures: Sequence[Taken]) -> None:
    """Every capture under a heading: text as lines, a binary file's beginning in hex."""
    for each in captures:
        if each.capture.kind is CaptureKind.PROBE:
            continue  # it is drawn, as the staircase that it is
        looks.heading(_title(each))
        for told in (each.problem, each.note):
            if told:
                looks.say(told, indent=2)
        _show_octets(each.capture)


def _title(taken: Taken) -> str:
    capture = taken.capture
    name = " ".join(
        part for part in (str(capture.kind), capture.name, taken.moment.replace("_", " ")) if part
    )
    size = f"{capture.columns} × {taken.rows}, " if taken.rows else ""
    size = f"{taken.pixels[0]} × {taken.pixels[1]} pixels, " if taken.pixels[0] else size
    return f"{name[0].upper()}{name[1:]} ({size}{looks.counted(len(capture.octets), 'octet')})"


def _show_octets(capture: Capture) -> None:
    sort = wordless(capture)
    if sort and capture.octets:
        looks.say(f"{sort} (--save DIR writes it into a file)", indent=2)
        rows = [] if sort.endswith("picture") else _dump(capture.octets[:_DUMPED])
        unit, more = "octet", len(capture.octets) - _DUMPED if rows else 0
    else:
        lines = [] if sort else lines_of(capture)
        rows, unit, more = lines[:MOST_LINES], "line", len(lines) - MOST_LINES
    for row in rows:
        looks.say(f"│ {row}", indent=2, wrap=False)
    if more > 0:
        looks.say(f"and {looks.counted(more, f'more {unit}')}: --save DIR writes all of it", indent=2)


def _dump(octets: bytes) -> list[str]:
    rows = []
    for at in range(0, len(octets), _IN_A_ROW):
        row = octets[at : at + _IN_A_ROW]
        rows.append(f"{at:04X}  {row.hex(' ').upper():<{3 * _IN_A_ROW}} {glyphs(row)}")
    return rows


def save_captures(captures: Sequence[Taken], folder: Path) -> list[Path]:
    """Writes every capture octet for octet into a file of its own, never over another; gives the files."""
    files = [
        folder / f"{each.position + 1:02d}-{_file_name(each)}" for each in captures if each.capture.octets
    ]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"the folder cannot be made ({error.strerror})", where=str(folder)) from error
    there = [str(file) for file in files if file.exists()]
    if there:
        raise UsageError("is there already", where=there[0], next_step="Name another folder.")
    for file, each in zip(files, (each for each in captures if each.capture.octets), strict=True):
        with writing(file), file.open("xb") as opened:
            opened.write(each.capture.octets)
    return files


def _file_name(taken: Taken) -> str:
    """A name of our own. The DOS name comes from the old machine: no path, nothing that a host would obey."""
    capture = taken.capture
    if capture.kind is CaptureKind.FILE:
        return _UNFIT.sub("_", PureWindowsPath(capture.name).name) or "FILE"
    return f"{capture.kind}{_SUFFIX.get(capture.kind, '.bin')}"
