"""A capture with everything marked that schemas read in it, hold, or pass over: for whoever teaches a new program."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from readoff.readings.kinds import Showing
from readoff.readings.reading import Readout
from readoff.readings.recognising import recognised
from readoff.readings.run import read_run
from readoff.readings.schema import Schema
from readoff.readings.shown import Capture, Line, Shown, show
from readoff.readings.view import View

# Anything that looks like a number, whole: with its bound, its sign and what stands before its point. Digits behind
# a letter are part of a word (x86), unless they have a mark among them (m88.5).
_NUMBER = re.compile(
    r"""
    (?<![0-9A-Za-z]) (?<![0-9][.,:']) (?:[<≤≥] | (?<![-=])>)? (?:
        0[xX][0-9A-Fa-f]+
        | [+-]? (?: [0-9]+ (?:[.,:'][0-9]+)* | (?<![^ (=:<>≤≥+-])\.[0-9]+ ) (?:[eEdD][+-]?[0-9]+)?
    )
    | (?<=[A-Za-z]) [0-9]+ (?:[.,:'][0-9]+)+ (?:[eEdD][+-]?[0-9]+)?
    """,
    re.VERBOSE,
)

Notes = dict[tuple["MarkKind", int, int], list[str]]


class MarkKind(StrEnum):
    """What became of a number."""

    READ = "read"
    HELD = "held"
    UNREAD = "unread"


@dataclass(frozen=True)
class Mark:
    """One number in its line.

    row: the line, from 0. first, last: its characters in the line's text. begin, end: its octets in the capture.
    note: the metrics that were read there, or why it is held, or "".
    """

    kind: MarkKind
    row: int
    line: str
    first: int
    last: int
    begin: int
    end: int
    note: str = ""

    @property
    def text(self) -> str:
        """The number itself, as shown."""
        return self.line[self.first : self.last]


@dataclass(frozen=True)
class Marked:
    """A capture read on its own: its lines, its marks in the order of the text, and the readout itself."""

    lines: tuple[str, ...]
    marks: tuple[Mark, ...]
    readout: Readout


def mark(capture: Capture, schemas: Sequence[Schema], *, program: str = "") -> Marked:
    """Read one capture on its own and mark every number in it. Never raises, whatever the octets.

    A hold of a whole capture or of several lines has no mark; it is in the readout.
    """
    readout = read_run([capture], schemas, program=program)
    for schema in schemas:
        view = View(capture, 0, program)
        way = schema.way
        if isinstance(way, Showing) and (len(schemas) == 1 or recognised(view, schema)):
            shown = way.lines(view)
            if shown:
                marked = _marked(shown, _notes_of_own(readout, schema, way, view), readout)
                length = len(capture.octets)
                return replace(
                    marked, marks=tuple(replace(mark, begin=0, end=length) for mark in marked.marks)
                )
    return _marked(show(capture), _notes(readout, schemas), readout)


def _notes(readout: Readout, schemas: Sequence[Schema]) -> Notes:
    """What became of each place."""
    notes: Notes = {}
    for reading in readout.readings:
        if not reading.derived:
            notes.setdefault((MarkKind.READ, reading.begin, reading.end), []).append(reading.metric)
    derived = {metric.name for schema in schemas for metric in schema.metrics if metric.formula}
    for hold in readout.holds:
        if hold.metric not in derived:
            notes.setdefault((MarkKind.HELD, hold.begin, hold.end), []).append(hold.reason)
    return notes


def _notes_of_own(readout: Readout, schema: Schema, way: Showing, view: View) -> Notes:
    """The same for a schema with lines of its own: the places are those of what it found."""
    notes: Notes = {}
    read = {(reading.metric, reading.occurrence) for reading in readout.readings}
    reasons = {(hold.metric, hold.occurrence): hold.reason for hold in readout.holds}
    for metric in schema.metrics:
        for number, seen in enumerate(() if metric.formula else way.found(metric, view)):
            key = (metric.name, number if seen.occurrence is None else seen.occurrence)
            if key in read:
                notes.setdefault((MarkKind.READ, seen.begin, seen.end), []).append(metric.name)
            else:
                reason = reasons.get(key) or reasons.get((metric.name, 0)) or "the capture is held"
                notes.setdefault((MarkKind.HELD, seen.begin, seen.end), []).append(reason)
    return notes


def _marked(shown: Shown, notes: Notes, readout: Readout) -> Marked:
    rows = _rows(shown, {begin for _, begin, _ in notes})
    marks = [
        placed
        for (kind, begin, end), told in notes.items()
        if begin in rows and (placed := _placed(shown, rows[begin], (begin, end), kind, ", ".join(told)))
    ]
    taken = {(mark.row, at) for mark in marks for at in range(mark.first, mark.last)}
    marks += [
        mark
        for mark in _numbers(shown)
        if not any((mark.row, at) in taken for at in range(mark.first, mark.last))
    ]
    marks.sort(key=lambda mark: (mark.row, mark.first, mark.kind))
    return Marked(tuple(line.text for line in shown.lines), tuple(marks), readout)


def _rows(shown: Shown, begins: set[int]) -> dict[int, tuple[int, int]]:
    """The row and the character that show each of these octets."""
    rows: dict[int, tuple[int, int]] = {}
    for row, line in enumerate(shown.lines):
        for at, place in enumerate(line.places):
            if place in begins:
                rows.setdefault(place, (row, at))
    return rows


def _placed(
    shown: Shown, start: tuple[int, int], octets: tuple[int, int], kind: MarkKind, note: str
) -> Mark | None:
    """The mark of an octet span that begins at that row and character, if the one line shows all of it."""
    row, first = start
    line = shown.lines[row]
    last = first + 1
    while last < len(line.text) and line.places[last - 1] + line.step < octets[1]:
        last += 1
    if line.span(first, last) != octets:
        return None
    return Mark(kind, row, line.text, first, last, *octets, note)


def numbers_in(line: str) -> list[tuple[int, int]]:
    """The characters (first, behind the last) of everything in a line that looks like a number."""
    return [found.span() for found in _NUMBER.finditer(line)]


def _numbers(shown: Shown) -> Iterator[Mark]:
    for row, line in enumerate(shown.lines):
        for first, last in numbers_in(line.text):
            yield _unread(row, line, first, last)


def _unread(row: int, line: Line, first: int, last: int) -> Mark:
    return Mark(MarkKind.UNREAD, row, line.text, first, last, *line.span(first, last))
