"""A text screen as rows of cells, each with its character and its attribute."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from readoff.readings.shown import Capture, Line, as_glyphs
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


_BLANKS = bytes(0x20 if code in (0x00, 0xFF) else code for code in range(256))


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
    def codes(self) -> bytes:
        """The codes of all cells, row after row; 00h and FFh, which show blanks, as 20h."""
        return self.octets[::2].translate(_BLANKS)

    def row(self, row: int) -> str:
        """The characters of a row, blanks at the end too."""
        return as_glyphs(self.codes[row * self.columns : (row + 1) * self.columns])

    def line(self, row: int) -> Line:
        """A row with the places of its characters."""
        size = 2 * self.columns
        return Line(self.row(row), range(row * size, (row + 1) * size, 2), 2)

    def find(self, codes: bytes, row: int | None, column: int | None) -> tuple[int, int] | None:
        """Row and column of the first place where these codes stand within one row; None for any row or column."""
        begin, end = (0, len(self.codes)) if row is None else (row * self.columns, (row + 1) * self.columns)
        at = self.codes.find(codes, begin, end)
        while at >= 0:
            place = divmod(at, self.columns)
            if place[1] + len(codes) <= self.columns and column in (None, place[1]):
                return place
            at = self.codes.find(codes, at + 1, end)
        return None

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
