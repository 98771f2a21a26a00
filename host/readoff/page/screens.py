"""Captured text screens as rows of pieces in one colour each, and captured text as pieces, marked where it was read.

An attribute octet's low half is the letter's colour, bits 4 to 6 the ground's; bit 7 blinks, or brightens the
ground where the display is set to that, which a capture does not tell: it is shown as a dotted underline.
On a monochrome display (mode 7) attributes mean underlined, bright, reversed or hidden instead (from memory, as
IBM's manual of the Monochrome Display and Printer Adapter tells it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from readoff.contract.cp437 import glyphs
from readoff.readings.shown import Line

MONOCHROME = 7
_PLAIN = 0x07


@dataclass(frozen=True)
class Mark:
    """Octets of a capture that a reading came from. name: of the page's element."""

    begin: int
    end: int
    name: str


@dataclass(frozen=True)
class Piece:
    """Letters that look the same. look: classes of the style sheet; mark: name of the reading read here, or ""."""

    text: str
    look: str
    mark: str


def screen_rows(cells: bytes, columns: int, mode: int = 3, marks: Sequence[Mark] = ()) -> list[list[Piece]]:
    """Rows of a text screen of which every letter is told, blanks too. cells: character, attribute by turns."""
    rows = []
    for start in range(0, len(cells), 2 * columns):
        row = cells[start : start + 2 * columns]
        looks = [look_of(attribute, mode) for attribute in row[1::2]]
        places = range(start, start + len(row), 2)
        rows.append(_pieces(glyphs(row[::2]), looks, places, marks))
    return rows


def text_row(line: Line, marks: Sequence[Mark]) -> list[Piece]:
    """A line of a console or a file."""
    return _pieces(line.text, [""] * len(line.text), line.places, marks)


def look_of(attribute: int, mode: int = 3) -> str:
    """The classes that show an attribute."""
    blink = " blink" if attribute & 0x80 else ""
    if mode != MONOCHROME:
        return f"f{attribute & 15} g{attribute >> 4 & 7}{blink}"
    letter, ground = attribute & 7, attribute >> 4 & 7
    bright = attribute & 8
    if ground == 7 and letter == 0:
        return f"f0 g7{blink}"
    if letter == 0:
        return f"f0 g0{blink}"
    return f"f{15 if bright else 7} g0{' under' if letter == 1 else ''}{blink}"


def _pieces(text: str, looks: Sequence[str], places: Sequence[int], marks: Sequence[Mark]) -> list[Piece]:
    named = [_mark_at(place, marks) for place in places]
    letters = zip(text, looks, named, strict=True)
    return [
        Piece("".join(letter for letter, _, _ in same), look, mark)
        for (look, mark), same in groupby(letters, lambda each: each[1:])
    ]


def _mark_at(place: int, marks: Sequence[Mark]) -> str:
    return next((each.name for each in marks if each.begin <= place < each.end), "")
