"""What a record captured, unpacked from its sections, and how far its run got. Pure.

Captures are not stored a second time: they are unpacked from the raw octets whenever they are wanted.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from readoff.contract.cells import unpack_cells
from readoff.contract.record import Completeness, Record, Section
from readoff.errors import MalformedError
from readoff.readings.binary.way import PROBE_SECTIONS
from readoff.readings.picture.kept import bmp_of, kept_picture
from readoff.readings.shown import Capture, CaptureKind


class RunState(StrEnum):
    """How much of a run is there. Only a COMPLETE one gives readings."""

    COMPLETE = "complete"
    UNFINISHED = "unfinished"  # the record was opened and never closed: the machine hung or lost power
    CUT_SHORT = "cut short"
    DAMAGED = "damaged"


@dataclass(frozen=True)
class Taken:
    """One capture of a record.

    position: 0, 1, … in the record. moment: when a screen was kept, else "". rows: of a screen, else 0.
    begin: offset of its first octet from the start of the record. problem: why it cannot be read, or "".
    settled: whether a check vouches for all of it, so that it may be read. pixels: width and height of a picture.
    note: why there is no picture where one should be, or "".
    """

    position: int
    capture: Capture
    moment: str
    rows: int
    begin: int
    problem: str
    settled: bool
    pixels: tuple[int, int] = (0, 0)
    note: str = ""


# What stood against a picture (enum picture_state of the contract).
_NO_PICTURE = {
    "dos_busy": "DOS was busy",
    "in_interrupt": "an interrupt was being served",
    "critical_error": "DOS was dealing with a critical error",
    "disk": "the disk had no room for it, or failed",
    "record_full": "the record had no room for it",
    "unknown_mode": "its video mode is not one that the agent reads",
    "changed_layout": "the program had set the display up in a way of its own",
    "cannot_put_back": "an EGA's registers could not have been put back as they were",
    "hot_key": "at a hot key the program may be drawing",
}


def run_state(record: Record) -> RunState:
    """How far a run's record got. Its END may be missing: what counts is a run_end that a check vouches for."""
    if record.values("run_end") is not None and record.values("run_start") is not None:
        return RunState.COMPLETE
    if record.completeness is Completeness.DAMAGED:
        return RunState.DAMAGED
    names = {section.name for section in record.sections}
    opened_only = names <= {"boot", "run_start", "end"} and "run_start" in names
    if record.completeness is Completeness.WHOLE or (opened_only and _ends_between_sections(record)):
        return RunState.UNFINISHED
    return RunState.CUT_SHORT


def file_state(record: Record) -> RunState:
    """How much of a file's record is there: a file is complete when its record is whole."""
    if record.completeness is Completeness.WHOLE:
        return RunState.COMPLETE
    return RunState.DAMAGED if record.completeness is Completeness.DAMAGED else RunState.CUT_SHORT


def _ends_between_sections(record: Record) -> bool:
    last = record.sections[-1]
    return len(record.octets) == last.begin + len(last.payload) + 4


def captures_of(record: Record) -> list[Taken]:
    """All captures of a record, in the order in which they were made.

    In a record that is not whole, nothing vouches for what should follow run_end: a console that goes on after
    it may lack its last digits. Such captures are unpacked for people, but not settled.
    """
    whole = record.completeness is Completeness.WHOLE
    end = next((i for i, section in enumerate(record.sections) if section.name == "run_end"), -1)
    groups = list(_groups(record.sections))
    width = _console_width(record)
    return [
        _unpack(position, group, width, settled=whole or last <= end)
        for position, (last, group) in enumerate(groups)
    ]


def _groups(sections: Sequence[Section]) -> Iterator[tuple[int, list[Section]]]:
    """(index of the last section, sections) of each capture: all console sections together, a file with its data."""
    console = [(i, s) for i, s in enumerate(sections) if s.name == "console"]
    groups: list[tuple[int, list[Section]]] = []
    if console:
        groups.append((console[-1][0], [section for _, section in console]))
    for index, section in enumerate(sections):
        if section.name in ("screen", "file") or section.name == "picture":
            groups.append((index, [section]))
        elif section.name == "picture_data" and groups and groups[-1][1][0].name == "picture":
            groups[-1] = (index, [*groups[-1][1], section])
        elif section.name == "picture_data":
            groups.append((index, [section]))
        elif section.name == "file_data" and groups and groups[-1][1][0].name == "file":
            groups[-1] = (index, [*groups[-1][1], section])
        elif section.name.startswith(PROBE_SECTIONS) and probe_problem(section) in ("", "none"):
            groups.append((index, [section]))
        elif section.name == "file_data":
            groups.append((index, [section]))  # its file section is not readable: kept all the same
    return iter(groups)


def probe_problem(section: Section) -> str:
    """Why a probe's section holds nothing that was measured: "none", a word of the contract, "" where it is unread."""
    return str((section.values or {}).get("problem", ""))


def _console_width(record: Record) -> int:
    widths = [s.values["columns"] for s in record.all("screen") if s.values and s.values["columns"]]
    return int(widths[-1]) if widths else 80


def _unpack(position: int, group: list[Section], width: int, *, settled: bool) -> Taken:
    first = group[0]
    if first.name == "console":
        octets = b"".join(bytes(section.payload) for section in group)
        capture = Capture(CaptureKind.CONSOLE, octets, columns=width)
        return Taken(position, capture, "", 0, first.begin, "", settled)
    if first.name == "screen":
        return _screen(position, first, settled)
    if first.name.startswith("picture"):
        return _picture(position, group, settled)
    if first.name.startswith(PROBE_SECTIONS):
        capture = Capture(CaptureKind.PROBE, bytes(first.payload), name=first.name)
        return Taken(position, capture, "", 0, first.begin, first.problem, settled)
    return _file(position, group, settled)


def _screen(position: int, section: Section, settled: bool) -> Taken:
    values = section.values
    if values is None:
        capture = Capture(CaptureKind.SCREEN, bytes(section.payload), columns=80)
        return Taken(position, capture, "", 0, section.begin, section.problem, settled)
    cells, columns, rows = bytes(values["cells"]), int(values["columns"]), int(values["rows"])
    problem = ""
    if values["packing"] == "runs":
        try:
            cells = unpack_cells(cells, columns * rows)
        except MalformedError as error:
            problem = error.what
    elif values["packing"] != "none":
        problem = f"the screen is packed in a way that this program does not know ({values['packing']})"
    if not problem and (not columns or len(cells) != columns * rows * 2):
        problem = f"a screen of {columns} × {rows} has {columns * rows * 2} octets, here are {len(cells)}"
    capture = Capture(CaptureKind.SCREEN, cells, columns=columns)
    return Taken(position, capture, str(values["moment"]), rows, section.begin, problem, settled)


def _picture(position: int, group: list[Section], settled: bool) -> Taken:
    """The file that a picture schema reads is made here; what was packed stays in the record."""
    first = group[0]
    head = first.values if first.name == "picture" else None
    packed = b"".join(bytes(section.payload) for section in group if section.name == "picture_data")
    nothing = Capture(CaptureKind.PICTURE, b"")
    if head is None:
        problem = first.problem or "the section that describes the picture is missing"
        return Taken(position, nothing, "", 0, first.begin, problem, settled)
    moment, size = str(head["moment"]), (int(head["width"]), int(head["height"]))
    if head["state"] != "kept":
        note = f"no picture: {_why_none(head)}"
        return Taken(position, nothing, moment, 0, first.begin, "", settled, size, note)
    try:
        capture = Capture(CaptureKind.PICTURE, bmp_of(kept_picture(head, packed)))
    except MalformedError as error:
        return Taken(position, nothing, moment, 0, first.begin, f"the picture: {error.what}", settled, size)
    return Taken(position, capture, moment, 0, first.begin, "", settled, size)


def _why_none(head: Mapping[str, Any]) -> str:
    state = str(head["state"])
    if state == "blank":
        return "it was of one colour all over"
    more = int(head["further"])
    further = f"; and {more} more after it" if more else ""
    return _NO_PICTURE.get(state, f"for a reason that this program does not know ({state})") + further


def _file(position: int, group: list[Section], settled: bool) -> Taken:
    head = group[0] if group[0].name == "file" else None
    octets = b"".join(bytes(section.payload) for section in group if section.name == "file_data")
    begin = next((section.begin for section in group if section.name == "file_data"), group[0].begin)
    if head is None or head.values is None:
        problem = head.problem if head else "the section that names the file is missing"
        return Taken(position, Capture(CaptureKind.FILE, octets), "", 0, begin, problem, settled)
    name, problem = str(head.values["name"]), ""
    if head.values["size"] != len(octets):
        problem = (
            f"{name}: the file has {head.values['size']} octets by its folder entry, here are {len(octets)}"
        )
    capture = Capture(CaptureKind.FILE, octets, name=name)
    return Taken(position, capture, "", 0, begin, problem, settled)
