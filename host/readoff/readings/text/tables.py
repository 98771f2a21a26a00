"""Tables under a line of headings: each number belongs to the heading that it stands under, or the row is held.

The line of headings has all of them, in their order, and nothing else but blanks and bars. A row's cells are what
blanks or bars part; each must stand under exactly one heading (share a column of characters with it) and each heading
must have exactly one cell. So a heading that moved away from its numbers, a column that was cut off and a cell that
slipped under its neighbour's heading are noticed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from readoff.readings.beside import MOST_OCCURRENCES, number_and_unit, number_in_line
from readoff.readings.kinds import Seen
from readoff.readings.numbers import Style, Unread
from readoff.readings.schema import Pattern
from readoff.readings.shown import Line, Shown
from readoff.readings.table import Table

_GAP = r"[ |│║┃]"
_WORD = re.compile(r"[^ |│║┃]+")
_CELL = re.compile(r"[^ |│║┃]+(?: [^ |│║┃]+)*")
_RULING = re.compile(r"[-=_+|~ ─-╿]+")
_LONGEST_HEADING = 60

Span = tuple[int, int]


@dataclass(frozen=True)
class TextTable:
    """The headings of a table, in their order, and what ends it beside a blank line."""

    headings: tuple[str, ...]
    end: Pattern | None = None

    def rows(self, shown: Shown) -> Iterator[tuple[int, Line, dict[str, Span] | str]]:
        """(number of the table, line, the cell under each heading or why there is no telling) for every row."""
        spans: list[Span] = []
        number = -1
        begun = False
        for line in shown.lines:
            if heading := self._heading(line):
                number, spans, begun = number + 1, heading, False
            elif not spans or (line.text and _RULING.fullmatch(line.text)):
                continue
            elif not line.text.strip():
                spans = [] if begun else spans
            elif self.end and self.end.compiled.search(line.text.encode("utf-8")):
                spans = []
            else:
                begun = True
                yield number, line, self._cells(line, spans)

    def displaced(self, shown: Shown) -> tuple[Line, str] | None:
        """A line that has the headings, but not as they are declared."""
        for line in shown.lines:
            at = [_whole_word(line.text, heading) for heading in self.headings]
            if line.text and all(place >= 0 for place in at) and not self._heading(line):
                order = at != sorted(at)
                return line, "in another order" if order else "with something else between them"
        return None

    def _heading(self, line: Line) -> list[Span]:
        """Where the headings stand, if this is their line."""
        if len(line.text) > 1000 or self.headings[0] not in line.text:
            return []
        spans: list[Span] = []
        at = 0
        for heading in self.headings:
            gap = re.compile(_GAP + ("*" if not spans else "+")).match(line.text, at)
            at = gap.end() if gap else at
            if (not gap and spans) or not line.text.startswith(heading, at):
                return []
            spans.append((at, at + len(heading)))
            at += len(heading)
        return spans if not line.text[at:].strip(" |│║┃") else []

    def _cells(self, line: Line, spans: Sequence[Span]) -> dict[str, Span] | str:
        if len(line.text) > 1000:
            return "the row is too long to be one of a table"
        cells: dict[str, Span] = {}
        pieces = [match.span() for match in _CELL.finditer(line.text)]
        while pieces:
            begin, end = pieces.pop(0)
            over = [n for n, (first, last) in enumerate(spans) if begin < last and first < end]
            if len(over) > 1 and " " in line.text[begin:end]:
                pieces[:0] = [match.span() for match in _WORD.finditer(line.text, begin, end)]
                continue
            text = line.text[begin:end]
            if not over:
                return f"{text!r} stands under no heading"
            if len(over) > 1:
                names = " and ".join(self.headings[n] for n in over)
                return f"{text!r} stands under {names} at once"
            if self.headings[over[0]] in cells:
                return f"two cells stand under {self.headings[over[0]]}"
            cells[self.headings[over[0]]] = (begin, end)
        missing = [heading for heading in self.headings if heading not in cells]
        return f"nothing stands under {' and '.join(missing)}" if missing else cells


@dataclass(frozen=True)
class Column:
    """The numbers under one heading: of every row, or of the one row of each table that matches `row`.

    unit: whether each cell has a unit behind its number.
    """

    table: TextTable
    heading: str
    row: Pattern | None = None
    unit: bool = False

    def take(self, shown: Shown, style: Style) -> list[Seen]:
        """The numbers in order; where no table is found but its headings stand otherwise, why that is held."""
        seen: list[Seen] = []
        tables: list[int] = []
        for number, line, cells in self.table.rows(shown):
            if self.row and not self.row.compiled.search(line.text.encode("utf-8")):
                continue
            if self.row and tables[-1:] == [number]:
                twice = Unread(f"two rows of the table match {self.row}")
                seen[-1] = Seen(twice, seen[-1].begin, _whole(line)[1], line.text)
                continue
            tables.append(number)
            seen.append(self._cell(line, cells, style))
            if len(seen) > MOST_OCCURRENCES:
                reason = Unread(f"found more than {MOST_OCCURRENCES} times")
                return [Seen(reason, seen[0].begin, seen[-1].end)]
        if not seen and (other := self.table.displaced(shown)):
            line, how = other
            headings = ", ".join(self.table.headings)
            return [Seen(Unread(f"the headings {headings} stand there {how}"), *_whole(line), line.text)]
        return seen

    def _cell(self, line: Line, cells: dict[str, Span] | str, style: Style) -> Seen:
        if isinstance(cells, str):
            return Seen(Unread(cells), *_whole(line), line.text)
        return (number_and_unit if self.unit else number_in_line)(line, *cells[self.heading], style)


def load_tables(top: Table) -> dict[str, TextTable]:
    """The tables that a schema declares, by name."""
    if "tables" not in top.data:
        return {}
    tables: dict[str, TextTable] = {}
    for name, table in top.table("tables").named().items():
        table.only(("headings", "end"))
        headings = table.texts("headings")
        end = table.pattern("end", needed=False)
        flaw = _flaw(headings)
        if flaw:
            table.fault("headings", *flaw)
        else:
            tables[name] = TextTable(headings, end)
    return tables


def load_column(table: Table, tables: Mapping[str, TextTable], name: str) -> Column | None:
    """The column that a metric names; None where it is wrong, which is told."""
    heading, row = table.text("column"), table.pattern("row", needed=False)
    if name not in tables or (heading and not table.choice("column", heading, tables[name].headings)):
        return None
    return Column(tables[name], heading, row, table.flag("unit_beside")) if heading else None


def _flaw(headings: tuple[str, ...]) -> tuple[str, str] | None:
    if len(headings) < 2 or len(set(headings)) < len(headings):
        return "headings must be two or more, each another", 'all headings of the line: ["Size", "Read"]'
    for heading in headings:
        if len(heading) > _LONGEST_HEADING or not _CELL.fullmatch(heading):
            return f"{heading!r}", "a heading without bars or two blanks together, as it stands in its line"
    return None


def _whole(line: Line) -> Span:
    return line.span(0, len(line.text))


def _whole_word(text: str, heading: str) -> int:
    found = re.search(rf"(?<![^ |│║┃]){re.escape(heading)}(?![^ |│║┃])", text)
    return found.start() if found else -1
