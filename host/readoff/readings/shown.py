"""What a capture shows: its octets as lines of text, with the way back from every character to its octet.

Three kinds of capture end up as the same thing, so that one schema reads them all. A PICTURE has no lines of its own,
nor has what the agent measured itself (PROBE):

- CONSOLE: octets as the teletype of the BIOS takes them. CR goes to the start of the row, BS one column back,
  TAB to the next multiple of eight, BEL shows nothing, LF and FF end the line. Text written over other text
  replaces it: the line is what stood there last.
- FILE: the same, without the rows of a screen, and the text ends at a 1Ah as it does for DOS.
- SCREEN: character and attribute by turns, row by row. Every code shows its glyph, 00h-1Fh too. A row whose
  last column is written goes on in the next row, unless a frame or a shade (B0h-DFh) stands there.

Blanks at the end of a line are left out; 00h and FFh show as blanks.
"""

from __future__ import annotations

import codecs
import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache

from readoff.contract.cp437 import glyphs

# Longest line that is read, in characters; a longer one is held. It bounds the work of one pattern.
LONGEST_LINE = 4096

_SCREEN_COLUMNS = 80
_TAB_STOP = 8
_BEL, _BS, _TAB, _CR = 7, 8, 9, 13
_SPECIAL = re.compile(rb"[\x07\x08\x09\x0d]")
_FRAMES_AND_SHADES = range(0xB0, 0xE0)
_GLYPH_OF = glyphs(bytes(range(256))).replace("\xa0", " ")
# A row that ends in one of these is full of text, which then goes on in the next row.
_GO_ON = frozenset(c for c, glyph in enumerate(_GLYPH_OF) if glyph != " " and c not in _FRAMES_AND_SHADES)
_CODE_OF = {glyph: code for code, glyph in enumerate(_GLYPH_OF) if glyph != " "} | {" ": 0x20}


class CaptureKind(StrEnum):
    """Where the octets of a capture come from, the best witness first."""

    CONSOLE = "console"
    FILE = "file"
    SCREEN = "screen"
    PICTURE = "picture"
    PROBE = "probe"


# The kinds that are text: what a program showed.
TEXT_KINDS = (CaptureKind.CONSOLE, CaptureKind.FILE, CaptureKind.SCREEN)


@dataclass(frozen=True)
class Capture:
    """Octets taken from one run.

    octets: as captured; for SCREEN character and attribute by turns, row by row; for PICTURE a BMP file. columns:
    characters a row, for SCREEN (for CONSOLE the width of the screen it was printed on, 0 for 80). name: DOS name,
    for FILE; the section's name in the contract, for PROBE.
    """

    kind: CaptureKind
    octets: bytes
    columns: int = 0
    name: str = ""


@dataclass(frozen=True)
class Line:
    """One line as shown.

    places[i] is the offset of the octet that shows character i, which takes `step` octets; a range of that step
    where all were written one after the other.
    row_starts: the characters at which a new row of the screen begins, where rows were joined.
    """

    text: str
    places: Sequence[int]
    step: int = 1
    row_starts: tuple[int, ...] = ()

    def span(self, begin: int, end: int) -> tuple[int, int]:
        """Octets from the first to the last that show the characters begin..end (end excluded; not empty)."""
        places = self.places[begin:end]
        if isinstance(places, range):
            return places[0], places[-1] + self.step
        return min(places), max(places) + self.step

    def in_one_piece(self, begin: int, end: int) -> bool:
        """Whether the characters were written one after the other, with nothing in between."""
        if isinstance(self.places, range):
            return True
        return self.places[end - 1] - self.places[begin] == (end - 1 - begin) * self.step and all(
            self.places[at + 1] - self.places[at] == self.step for at in range(begin, end - 1)
        )

    def in_one_row(self, begin: int, end: int) -> bool:
        """Whether no edge of a screen lies between the characters begin..end."""
        return not self.row_starts or not any(begin < start < end for start in self.row_starts)


@dataclass(frozen=True)
class Shown:
    """A capture as lines, and as the UTF-8 text that patterns are matched with.

    too_long: octet spans of lines beyond LONGEST_LINE; they are not read. flaw: why nothing of the
    capture can be read, "" when it can.
    """

    lines: tuple[Line, ...]
    too_long: tuple[tuple[int, int], ...] = ()
    flaw: str = ""
    utf8: bytes = field(init=False)
    _starts: tuple[int, ...] = field(init=False)

    def __post_init__(self) -> None:
        encoded = [line.text.encode("utf-8") for line in self.lines]
        starts, at = [], 0
        for octets in encoded:
            starts.append(at)
            at += len(octets) + 1
        object.__setattr__(self, "utf8", b"\n".join(encoded))
        object.__setattr__(self, "_starts", tuple(starts))

    def line_at(self, offset: int) -> int:
        """The number of the line, from 0, that an offset into `utf8` lies in."""
        return bisect_right(self._starts, offset) - 1

    def utf8_of(self, first: int, last: int) -> tuple[int, int]:
        """The span of `utf8` that shows the lines first..last (last excluded), without the end of the last one."""
        if first >= last:
            return 0, 0
        end = self._starts[last] - 1 if last < len(self._starts) else len(self.utf8)
        return self._starts[first], end

    def locate(self, begin: int, end: int) -> tuple[Line, int, int]:
        """The line, and the characters in it, of a span of `utf8` that lies within one line."""
        number = self.line_at(begin)
        start = self._starts[number]
        before = len(self.utf8[start:begin].decode("utf-8"))
        return self.lines[number], before, before + len(self.utf8[begin:end].decode("utf-8"))

    def octets_of(self, begin: int, end: int) -> tuple[int, int]:
        """Octets of the capture that show a span of `utf8`; an empty span has no octets of its own."""
        line, first, last = self.locate(begin, end)
        if first < last:
            return line.span(first, last)
        at = line.places[first] if first < len(line.places) else (line.span(0, first)[1] if first else 0)
        return at, at


def as_glyphs(codes: bytes | bytearray) -> str:
    """Codes as the screen shows them, one character each; 00h and FFh are blanks."""
    return codecs.charmap_decode(codes, "strict", _GLYPH_OF)[0]


def as_codes(text: str) -> bytes | None:
    """The codes that show this text, blanks as 20h; None where a character has none."""
    codes = [_CODE_OF.get(character) for character in text]
    return None if None in codes else bytes(code for code in codes if code is not None)


def show(capture: Capture) -> Shown:
    """Lay out a capture as it was shown; a probe's section shows nothing. Never raises, whatever the octets."""
    if capture.kind is CaptureKind.SCREEN:
        return _show_screen(capture)
    if capture.kind in (CaptureKind.PICTURE, CaptureKind.PROBE):
        return Shown(())
    octets = capture.octets
    width = 0
    if capture.kind is CaptureKind.FILE:
        octets = octets.partition(b"\x1a")[0]
    else:
        width = capture.columns if capture.columns > 0 else _SCREEN_COLUMNS
    lines: list[Line] = []
    too_long: list[tuple[int, int]] = []
    for begin, end in _raw_lines(octets):
        line = _console_line(octets, begin, end, width)
        if len(line.text) > LONGEST_LINE:
            too_long.append((begin, end))
            line = Line("", ())
        lines.append(line)
    return Shown(tuple(lines), tuple(too_long))


def _raw_lines(octets: bytes) -> Iterator[tuple[int, int]]:
    """Spans between line feeds and form feeds, without the carriage returns before them."""
    begin = 0
    for mark in re.finditer(rb"[\n\f]|\Z", octets):
        yield begin, begin + len(octets[begin : mark.start()].rstrip(b"\r"))
        begin = mark.end()


def _console_line(octets: bytes, begin: int, end: int, width: int) -> Line:
    raw = octets[begin:end]
    if not _SPECIAL.search(raw):
        text = as_glyphs(raw).rstrip(" ")
        return Line(text, range(begin, begin + len(text)))
    cells: list[int] = []  # place of each cell
    codes = bytearray()
    at = 0

    def write(code: int, place: int) -> None:
        nonlocal at
        if at < len(cells):
            cells[at], codes[at] = place, code
        elif at <= LONGEST_LINE:
            cells.append(place)
            codes.append(code)
        at = min(at + 1, LONGEST_LINE + 1)

    for place, code in enumerate(raw, begin):
        row_start = at - at % width if width else 0
        if code == _CR:
            at = row_start
        elif code == _BS:
            at = max(at - 1, row_start)
        elif code == _TAB:
            for _ in range(_TAB_STOP - at % _TAB_STOP):
                write(0x20, place)
        elif code != _BEL:
            write(code, place)
    text = as_glyphs(codes)
    if len(text) <= LONGEST_LINE:
        text = text.rstrip(" ")
    return Line(text, tuple(cells[: len(text)]))


def _screen_line(begin: int, text: str, starts: tuple[int, ...]) -> Line:
    return Line(text, range(2 * begin, 2 * (begin + len(text)), 2), 2, starts)


@lru_cache(256)
def _blank(begin: int) -> Line:
    """An empty row of a screen, as most of them are."""
    return _screen_line(begin, "", ())


def _show_screen(capture: Capture) -> Shown:
    columns, octets = capture.columns, capture.octets
    if columns <= 0:
        return Shown((), flaw=f"a screen needs a number of columns, not {columns}")
    if len(octets) % (2 * columns):
        return Shown(
            (), flaw=f"{len(octets)} octets are not whole rows of {columns} characters and attributes"
        )
    codes = octets[::2]
    shown = as_glyphs(codes)
    lines: list[Line] = []
    too_long: list[tuple[int, int]] = []
    begin = 0
    for end in range(columns, len(codes) + 1, columns):
        if codes[end - 1] in _GO_ON and end < len(codes):
            continue
        text = shown[begin:end].rstrip(" ")
        starts = tuple(range(columns, len(text), columns)) if len(text) > columns else ()
        if len(text) > LONGEST_LINE:
            too_long.append((2 * begin, 2 * end))
            text, starts = "", ()
        lines.append(_screen_line(begin, text, starts) if text else _blank(begin))
        begin = end
    return Shown(tuple(lines), tuple(too_long))
