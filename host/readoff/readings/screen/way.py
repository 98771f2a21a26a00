"""How a screen schema knows a screen and takes its numbers."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from readoff.readings.beside import number_and_unit, number_in_line
from readoff.readings.kinds import Kind, Seen, Told
from readoff.readings.numbers import Unread
from readoff.readings.schema import Metric, Pattern, compile_pattern
from readoff.readings.screen.cells import Cells, attribute_of, cells_of, colour_named
from readoff.readings.screen.places import UNIT, At, Beside, Coloured, Missed, Run
from readoff.readings.shown import CaptureKind, as_codes
from readoff.readings.table import Table
from readoff.readings.view import View

_SIZE = re.compile(r"([1-9][0-9]{0,2})x([1-9][0-9]{0,2})")
_MOST = 255  # columns and rows
_LONGEST_TEXT = 132
_SIDES = ("right", "below")


@dataclass(frozen=True)
class Text:
    """A text that must stand on the screen, as its codes; row, column: where, None for anywhere."""

    text: str
    codes: bytes
    row: int | None
    column: int | None

    def told(self, cells: Cells) -> Told:
        """Whether it stands there, and the sentence that says so."""
        found = cells.find(self.codes, self.row, self.column)
        if found:
            return True, lambda: f"{self.text!r} stands in row {found[0] + 1}, column {found[1] + 1}"
        places = (("row", self.row), ("column", self.column))
        where = "".join(f", {name} {place + 1}" for name, place in places if place is not None)
        return False, lambda: f"{self.text!r} does not stand there{where}"


@dataclass(frozen=True)
class Place:
    """Where a metric's number stands, and the colour that it must have there (None for any).

    unit: whether its unit stands behind it, in the same field or after one blank or two.
    """

    way: At | Beside | Coloured
    attribute: int | None = None
    unit: bool = False

    def take(self, metric: Metric, cells: Cells) -> list[Seen]:
        """The number, or why there is none; empty where a label or a colour is absent and may be."""
        if cells.flaw:
            return [Seen(Unread(cells.flaw), 0, len(cells.octets))]
        run = self.way.find(cells)
        if isinstance(run, Missed):
            if run.absent and metric.optional:
                return []
            place = (2 * run.row * cells.columns, 2 * (run.last_row + 1) * cells.columns)
            return [Seen(Unread(run.reason), *place)]
        line = cells.line(run.row)
        if wrong := self._wrong_colour(cells, run):
            return [Seen(Unread(wrong), *line.span(run.first, run.last), line.text.rstrip(" "))]
        if not self.unit:
            seen = number_in_line(line, run.first, run.last, metric.style)
        else:
            last = run.last
            if " " not in line.text[run.first : run.last] and (unit := UNIT.match(line.text, run.last)):
                last = unit.end()
            seen = number_and_unit(line, run.first, last, metric.style)
        return [replace(seen, line=line.text.rstrip(" "))]

    def _wrong_colour(self, cells: Cells, run: Run) -> str:
        if self.attribute is None:
            return ""
        others = set(cells.attributes(run.row)[run.first : run.last]) - {self.attribute}
        if not others:
            return ""
        text = cells.row(run.row)[run.first : run.last]
        told = " and ".join(colour_named(other) for other in sorted(others))
        return f"{text!r} is {told}, not {colour_named(self.attribute)}"


@dataclass(frozen=True)
class ScreenWay:
    """The sizes and texts that a schema's screens have, and where its numbers stand."""

    sizes: tuple[tuple[int, int], ...]
    texts: tuple[Text, ...]
    places: Mapping[str, Place]
    hints: tuple[Pattern, ...]

    def further(self, view: View) -> Iterator[Told]:
        """The screen is whole, its size is one of those declared, and every text stands where it should."""
        cells: Cells = view.once("cells", cells_of)
        if cells.flaw:
            yield False, lambda: cells.flaw
            return
        if self.sizes:
            size = (cells.columns, cells.rows)
            yield (
                size in self.sizes,
                lambda: f"the screen is {_sizes(size)}, the schema reads {_sizes(*self.sizes)}",
            )
        for text in self.texts:
            yield text.told(cells)

    def take(self, metric: Metric, view: View) -> list[Seen]:
        """The metric's one number."""
        return self.places[metric.name].take(metric, view.once("cells", cells_of))


def _sizes(*sizes: tuple[int, int]) -> str:
    return " or ".join(f"{columns}x{rows}" for columns, rows in sizes)


def _load(top: Table, recognise: Table, metrics: Mapping[str, Table]) -> ScreenWay:
    sizes = []
    for text in recognise.texts("sizes"):
        size = _SIZE.fullmatch(text)
        if size:
            sizes.append((int(size[1]), int(size[2])))
        else:
            recognise.fault("sizes", f"{text!r}", '"80x25": columns, x, rows')
    texts = [_text(table) for table in recognise.tables("texts")]
    if not texts and "all" not in recognise.data:
        recognise.fault("", "nothing tells this screen from others", "texts = [{ text = … }], or all = […]")
    places = {name: place for name, table in metrics.items() if (place := _place(table))}
    hints = (compile_pattern(re.escape(text.text), named_group=False) for text in texts if text.text)
    return ScreenWay(
        tuple(sizes), tuple(texts), places, tuple(each for each in hints if isinstance(each, Pattern))
    )


def _text(table: Table) -> Text:
    table.only(("text", "row", "column"))
    text = table.text("text")
    codes = as_codes(text)
    if text and (text.strip() != text or len(text) > _LONGEST_TEXT or codes is None):
        right = f"up to {_LONGEST_TEXT} characters of code page 437, no blanks at the ends"
        table.fault("text", f"{text!r:.60}", right)
    return Text(text, codes or b"", _from_0(table, "row"), _from_0(table, "column"))


def _place(table: Table) -> Place | None:
    row, column, width = _from_0(table, "row"), _from_0(table, "column"), table.whole("width", _MOST)
    label, side = table.text("label", needed=False), table.text("side", needed=False)
    attribute, unit = attribute_of(table), table.flag("unit_beside")
    if side:
        table.choice("side", side, _SIDES)
    if (column is not None) + bool(label) + (column is None and not label and "colour" in table.data) != 1:
        table.fault(
            "", "where the number stands is not clear", "either row and column, or label, or colour alone"
        )
    elif column is not None:
        if row is None:
            table.fault("row", "missing", "row = 1 to the last row")
        return Place(At(row or 0, column, width), attribute, unit)
    elif label:
        return Place(Beside(label, side == "below", row, unit), attribute, unit)
    elif attribute is not None:
        return Place(Coloured(attribute, row), unit=unit)
    return None


def _from_0(table: Table, key: str) -> int | None:
    """A row or column, which schemas count from 1, counted from 0; None where it is not given."""
    if key not in table.data:
        return None
    number = table.whole(key, _MOST)
    if number == 0 and table.data[key] == 0:
        table.fault(key, "0", "a number from 1: the first is 1")
    return max(number - 1, 0)


SCREEN = Kind(
    "screen",
    (CaptureKind.SCREEN,),
    _load,
    recognise=("sizes", "texts"),
    shown=("row", "column", "width", "label", "side", "colour", "unit_beside"),
)
