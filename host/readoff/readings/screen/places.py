"""Where on a screen a number stands: at a row and column, beside or below a label, in a colour.

Each way either finds one run of cells or says why it does not; nothing is chosen among several.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from readoff.readings.screen.cells import Cells, colour_named

# What is no part of any number or label: blanks, frames and shades.
_WORD = r"[^ │║┃░▒▓█▌▐|─-╿]+"
_RUN = re.compile(_WORD)
_PAIR = re.compile(rf"{_WORD}(?: {{1,2}}{_WORD})?")  # a number and the unit behind it
UNIT = re.compile(rf" {{1,2}}{_WORD}")
_RULING = re.compile(r"[-=_+~ ─-╿]*")
# What may stand between a label and its number: blanks, : and =, and leaders of two points or more.
_FILLING = re.compile(r"[ :=]*(?:\.{2,}|·+|░+)?[ :=]*")


@dataclass(frozen=True)
class Run:
    """Cells first..last of a row (last excluded)."""

    row: int
    first: int
    last: int


@dataclass(frozen=True)
class Missed:
    """Why there is no run, and the rows that this is about. absent: what should be there is not on the screen."""

    reason: str
    row: int
    last_row: int
    absent: bool = False


@dataclass(frozen=True)
class At:
    """At a row and a column: `width` cells, or with 0 whatever begins just there."""

    row: int
    column: int
    width: int = 0

    def find(self, cells: Cells) -> Run | Missed:
        """The run of cells, without blanks around it."""
        place = f"row {self.row + 1}, column {self.column + 1}"
        if self.row >= cells.rows or self.column + max(self.width, 1) > cells.columns:
            reason = f"{place} lies outside of {cells.columns} columns and {cells.rows} rows"
            return Missed(reason, 0, cells.rows - 1)
        text = cells.row(self.row)
        nothing = Missed(f"there is nothing at {place}", self.row, self.row)
        if self.width:
            field = text[self.column : self.column + self.width]
            first = self.column + len(field) - len(field.lstrip(" "))
            return Run(self.row, first, first + len(field.strip(" "))) if field.strip(" ") else nothing
        found = _RUN.match(text, self.column)
        if not found:
            return nothing
        if self.column and _RUN.match(text[self.column - 1]):
            return Missed(f"what stands at {place} begins before it", self.row, self.row)
        return Run(self.row, *found.span())


@dataclass(frozen=True)
class Beside:
    """To the right of a label, or below it; row: the label's, None where it may be in any.

    pairs: whether what stands below is a number with a unit behind it.
    """

    label: str
    below: bool = False
    row: int | None = None
    pairs: bool = False

    def find(self, cells: Cells) -> Run | Missed:
        """The run beside the one label."""
        labels = [
            Run(row, *match.span())
            for row in (range(cells.rows) if self.row is None else [self.row])
            if row < cells.rows
            for match in re.finditer(_whole(self.label), cells.row(row))
        ]
        if not labels:
            return Missed(f"the label {self.label!r} is not there", 0, cells.rows - 1, absent=True)
        if len(labels) > 1:
            reason = f"the label {self.label!r} stands there {len(labels)} times"
            return Missed(reason, labels[0].row, labels[-1].row)
        return self._below(cells, labels[0]) if self.below else self._right(cells, labels[0])

    def _right(self, cells: Cells, label: Run) -> Run | Missed:
        text = cells.row(label.row)
        filling = _FILLING.match(text, label.last)
        begin = filling.end() if filling else label.last
        found = _RUN.match(text, begin)
        if not found:
            return Missed(f"there is nothing beside {self.label!r}", label.row, label.row)
        return Run(label.row, *found.span())

    def _below(self, cells: Cells, label: Run) -> Run | Missed:
        row = label.row + 1
        if row < cells.rows and _rules(cells.row(row)[label.first : label.last]):
            row += 1
        text = cells.row(row) if row < cells.rows else ""
        under = [
            match.span()
            for match in (_PAIR if self.pairs else _RUN).finditer(text)
            if match.start() < label.last and label.first < match.end()
        ]
        if len(under) != 1:
            what = "nothing" if not under else f"{len(under)} things stand"
            reason = f"there is nothing below {self.label!r}" if not under else f"{what} below {self.label!r}"
            return Missed(reason, label.row, min(row, cells.rows - 1))
        return Run(row, *under[0])


@dataclass(frozen=True)
class Coloured:
    """The one run of cells in a colour; row: where it must be, None for any."""

    attribute: int
    row: int | None = None

    def find(self, cells: Cells) -> Run | Missed:
        """The run of cells of that attribute, without blanks around it."""
        runs: list[Run] = []
        pattern = re.compile(re.escape(bytes([self.attribute])) + b"+")
        for row in range(cells.rows) if self.row is None else [self.row]:
            if row >= cells.rows:
                continue
            text = cells.row(row)
            for match in pattern.finditer(cells.attributes(row)):
                first, last = match.span()
                part = text[first:last]
                if part.strip(" "):
                    first += len(part) - len(part.lstrip(" "))
                    runs.append(Run(row, first, first + len(part.strip(" "))))
        name = colour_named(self.attribute)
        if not runs:
            return Missed(f"nothing stands there in {name}", 0, cells.rows - 1, absent=True)
        if len(runs) > 1:
            return Missed(f"{len(runs)} things stand there in {name}", runs[0].row, runs[-1].row)
        return runs[0]


def _whole(label: str) -> str:
    """The label, where no letter or digit goes on beside it."""
    before = r"(?<![^\W_])" if label[0].isalnum() else ""
    after = r"(?![^\W_])" if label[-1].isalnum() else ""
    return before + re.escape(label) + after


def _rules(text: str) -> bool:
    """Whether this is a ruling: a row of dashes or frame characters, not blanks alone."""
    return bool(text.strip()) and bool(_RULING.fullmatch(text))
