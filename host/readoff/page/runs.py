"""What the views of runs and of what is held show: plain values for the templates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from readoff.contract.record import Record
from readoff.errors import UsageError
from readoff.page.octets import octet_page, page_start
from readoff.page.pictures import is_picture
from readoff.page.screens import Mark, Piece, screen_rows, text_row
from readoff.page.staircases import staircases_of_run
from readoff.readings.shown import CaptureKind, show
from readoff.store import Store, find
from readoff.store.attachments import attachments
from readoff.store.browse import arrival_octets, run_labels, run_page
from readoff.store.captures import RunState, Taken
from readoff.store.find import ReadingRow, RunInFull
from readoff.store.typed import typed

A_PAGE = 50
LINES_SHOWN = 1000
STATES = tuple(str(each) for each in RunState)
KNOWN_WIDTHS = (40, 80, 132)
LOW_CELLS = 30
"""Rows above which a screen's cells are 8 points high, not 16: 43 and 50 rows come of the BIOS's font of 8 lines."""


@dataclass(frozen=True)
class Shot:
    """One capture as the page shows it.

    screen: whether rows are of a text screen; cells: the style of its width and of its cells' height.
    left_out: lines beyond LINES_SHOWN.
    picture: where the picture is that a file holds, or "".
    """

    position: int
    title: str
    size: str
    problem: str
    screen: bool
    cells: str
    rows: Sequence[Sequence[Piece]]
    left_out: int
    picture: str = ""


def runs_view(store: Store, words: str, label: str, state: str, begin: int) -> dict[str, Any]:
    """Runs that fit, newest first, a page at a time."""
    found = run_page(store, words=words, label=label, state=state, begin=begin, limit=A_PAGE)
    end = begin + len(found.runs)
    return {
        "found": found,
        "counts": {} if found.runs else find.counts(store),
        "end": end,
        "labels": run_labels(store),
        "states": STATES,
        "asked": {"words": words, "label": label, "state": state},
        "newer": max(0, begin - A_PAGE) if begin else None,
        "older": end if end < found.total else None,
    }


def held_view(store: Store, begin: int) -> dict[str, Any]:
    """What waits for a person, the newest first, a page at a time."""
    total = find.counts(store)["holds"]
    rows = find.held_page(store, begin, A_PAGE)
    end = begin + len(rows)
    return {
        "rows": rows,
        "total": total,
        "begin": begin,
        "end": end,
        "newer": max(0, begin - A_PAGE) if begin else None,
        "older": end if end < total else None,
    }


def run_view(store: Store, name: str) -> dict[str, Any]:
    """One run with its captures, each reading's octets marked in them."""
    full = find.run_in_full(store, name)
    return {
        "full": full,
        "run": full.run,
        "typed": typed(store, id=full.run.id),
        "attached": attachments(store, id=full.run.id),
        "stairs": staircases_of_run(store, full.run.number),
        "shots": [_shot(full, each) for each in full.captures],
        "unknown": [section for section in full.record.sections if not section.name],
    }


def _shot(full: RunInFull, taken: Taken) -> Shot:
    marks = [
        Mark(reading.begin, reading.end, reading_name(index))
        for index, reading in enumerate(full.readings)
        if reading.capture == taken.position and not reading.derived
    ]
    return shot_of(full, taken, marks)


def shot_of(full: RunInFull, taken: Taken, marks: Sequence[Mark], only: Sequence[int] | None = None) -> Shot:
    """A capture of a run with some of its octets marked. only: the lines of a text that are shown, all if None."""
    capture = taken.capture
    columns = capture.columns
    whole = capture.kind is CaptureKind.SCREEN and columns > 0 and len(capture.octets) % (2 * columns) == 0
    picture = f"/runs/{full.run.number}/pictures/{taken.position}.png" if is_picture(capture) else ""
    rows: list[list[Piece]]
    if picture:
        rows = []
    elif whole:
        rows = screen_rows(capture.octets, columns, _mode_of(full.record, taken), marks)
    else:
        lines = show(capture).lines
        chosen = lines if only is None else [lines[at] for at in only if 0 <= at < len(lines)]
        rows = [text_row(line, marks) for line in chosen]
    width, height = taken.pixels if any(taken.pixels) else (columns, taken.rows)
    size = f"{width} × {height}, " if height else ""
    return Shot(
        taken.position,
        title_of(taken),
        f"{size}{len(capture.octets)} octets",
        taken.problem or taken.note,
        whole,
        _cells_of(columns, taken.rows) if whole else "",
        rows[:LINES_SHOWN],
        max(0, len(rows) - LINES_SHOWN),
        picture,
    )


def _cells_of(columns: int, rows: int) -> str:
    width = f"w{columns}" if columns in KNOWN_WIDTHS else ""
    return f"{width} {'low' if rows > LOW_CELLS else 'high'}".strip()


def title_of(taken: Taken) -> str:
    """What a capture is, in words."""
    parts = (str(taken.capture.kind).capitalize(), taken.capture.name, taken.moment.replace("_", " "))
    return " · ".join(part for part in parts if part)


def _mode_of(record: Record, taken: Taken) -> int:
    sections = (each for each in record.all("screen") if each.begin == taken.begin)
    section = next(sections, None)
    return int(section.values["mode"]) if section and section.values else 3


def reading_name(index: int) -> str:
    """The name of a reading's mark in the page."""
    return f"reading-{index}"


def octets_view(store: Store, name: str, of: str, reading: int | None, at: int | None) -> dict[str, Any]:
    """Octets of one capture (its position), or of the record ("record"), from an offset or about a reading."""
    full = find.run_in_full(store, name)
    read = _reading(full, reading)
    if of == "record":
        octets, title = bytes(full.record.octets), "record"
    else:
        taken = next((each for each in full.captures if str(each.position) == of), None)
        if taken is None:
            raise UsageError(f"run {full.run.number} has no capture {of}")
        octets, title = taken.capture.octets, title_of(taken)
    mark = (read.begin, read.end) if read else (0, 0)
    begin = page_start(mark[0]) if at is None else at - at % 16
    return {
        "run": full.run,
        "title": title,
        "of": of,
        "reading": read,
        "index": reading,
        "page": octet_page(octets, min(begin, len(octets)), mark),
    }


def _reading(full: RunInFull, index: int | None) -> ReadingRow | None:
    if index is None:
        return None
    if index >= len(full.readings):
        raise UsageError(f"run {full.run.number} has no reading {index}")
    return full.readings[index]


def arrival_view(store: Store, number: int, at: int) -> dict[str, Any]:
    """Octets of an arrival as it came, from an offset."""
    begin = at - at % 16
    octets, total = arrival_octets(store, number, begin, 512)
    return {"number": number, "page": octet_page(octets, begin, total=total)}
