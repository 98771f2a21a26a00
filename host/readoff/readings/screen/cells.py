"""A text screen as rows of cells, each with its character and its attribute."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from readoff.contract.cp437 import glyphs
from readoff.readings.shown import Capture, Line
from readoff.readings.table import Table, described

# The colours of the colour adapter's palette, by their number (common practice, no source); the upper eight of the
# background are what the blinking ones are where blinking is switched off.
COLOURS = (
    "black",
    "blue",
    "green",
    "cyan",
    "red",
    "magenta",
    "brown",
    "light grey",
    "dark grey",
    "light blue",
    "light green",
    "light cyan",
    "light red",
    "light magenta",
    "yellow",
    "white",
)


def colour_named(attribute: int) -> str:
    """An attribute in words: "yellow on blue"."""
    return f"{COLOURS[attribute & 15]} on {COLOURS[attribute >> 4]}"


def attribute_of(table: Table) -> int | None:
    """The attribute under the key `colour`, in words or as a number; None where it is missing or wrong."""
    value = table.data.get("colour")
    if value is None:
        return None
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 255:
        return value
    front, _, back = value.partition(" on ") if isinstance(value, str) else ("", "", "")
    if front in COLOURS and back in COLOURS:
        return COLOURS.index(back) << 4 | COLOURS.index(front)
    table.fault("colour", described(value), '"yellow on blue", or the attribute itself: 0x1E')
    return None


@dataclass(frozen=True)
class Cells:
    """The cells of a screen capture; rows and columns count from 0. flaw: why they cannot be told, or ""."""

    octets: bytes
    columns: int
    flaw: str = ""

    @property
    def rows(self) -> int:
        """How many rows there are."""
        return 0 if self.flaw else len(self.octets) // (2 * self.columns)

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """Every row with all its cells, blanks at the end too; each code as its glyph, 00h and FFh as blanks."""
        text = glyphs(self.octets[::2]).replace("\xa0", " ").replace("\0", " ")
        size = self.columns
        return tuple(
            Line(text[row * size : (row + 1) * size], range(2 * row * size, 2 * (row + 1) * size, 2), 2)
            for row in range(self.rows)
        )

    def attributes(self, row: int) -> bytes:
        """The attributes of a row's cells."""
        begin = 2 * row * self.columns
        return self.octets[begin + 1 : begin + 2 * self.columns : 2]


def cells_of(capture: Capture) -> Cells:
    """The cells of a screen capture; what is no whole screen has a flaw instead."""
    columns, octets = capture.columns, capture.octets
    if columns <= 0:
        return Cells(b"", 1, f"a screen needs a number of columns, not {columns}")
    if not octets or len(octets) % (2 * columns):
        return Cells(b"", columns, f"{len(octets)} octets are not whole rows of {columns} cells")
    return Cells(octets, columns)
