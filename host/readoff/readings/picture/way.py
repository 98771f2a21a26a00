"""How a picture schema knows a picture and takes its numbers: as text, by patterns, from the cells of a region.

Whatever needs an unread cell is held. Whether a pattern needs it is tried out: where any character in that cell
could make another number of it, or one more, or none, it does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from readoff.errors import MalformedError, SchemaError
from readoff.readings.beside import MOST_OCCURRENCES
from readoff.readings.kinds import Kind, Seen, Told, Way
from readoff.readings.numbers import Number, Unread
from readoff.readings.picture.decoding import decode, format_of
from readoff.readings.picture.drawing import file_of
from readoff.readings.picture.frames import DAC_OCTETS, dac_palette, frame_octets, picture_of
from readoff.readings.picture.glyphs import Library
from readoff.readings.picture.loading import Source, load_rule
from readoff.readings.picture.page import UNREAD, Row, Rule, read_page
from readoff.readings.picture.pixels import LARGEST_SIDE, Picture
from readoff.readings.schema import Metric, Pattern, compile_pattern
from readoff.readings.shown import Capture, CaptureKind, Line, Shown
from readoff.readings.table import Table
from readoff.readings.text import TEXT
from readoff.readings.text.way import Found, TextWay
from readoff.readings.view import View

Page = tuple[Row, ...]
Made = TypeVar("Made")
_PRINTABLE = tuple(map(chr, range(0x20, 0x7F)))
# More unread cells than this in one row, or more rows that have any, and every metric is held that could stand there.
_MOST_TRIED, _MOST_ROWS_TRIED = 1, 16


@dataclass(frozen=True)
class CellLine(Line):
    """One row of cells as a line; its places are the cells, row by row, since no octet of the file shows one alone."""

    def in_one_piece(self, begin: int, end: int) -> bool:
        """A picture shows one moment."""
        return True


class CellView(View):
    """Rows of cells, from row `first` of the page on, as the lines of a capture: they are read like any text."""

    def __init__(self, view: View, texts: Sequence[str], first: int = 0) -> None:
        super().__init__(view.capture, view.index, view.program)
        starts = range(first * LARGEST_SIDE, (first + len(texts)) * LARGEST_SIDE, LARGEST_SIDE)
        lines = (
            CellLine(text, range(start, start + len(text))) for text, start in zip(texts, starts, strict=True)
        )
        self.__dict__["shown"] = Shown(tuple(lines))


@dataclass(frozen=True)
class PictureWay:
    """The cells of one picture, and the patterns that know it and find its numbers in them."""

    rule: Rule
    source: Source
    text: TextWay
    wanted: tuple[Pattern, ...]
    barred: tuple[Pattern, ...]
    hints: tuple[Pattern, ...] = ()

    def further(self, view: View) -> Iterator[Told]:
        """The picture can be read by the rule, and its text has the patterns."""
        page = self._page(view)
        if isinstance(page, str):
            yield False, lambda: page
            return
        yield True, lambda: f"the picture has {len(page)} rows of text"
        text = CellView(view, [row.text for row in page]).shown.utf8
        doubt = _doubt(page)
        for pattern in self.barred:
            found = pattern.compiled.search(text)
            yield not (found or doubt), partial(_barred, pattern, bool(found), doubt)
        for pattern in self.wanted:
            matches = pattern.compiled.finditer(text)
            sure = any(UNREAD.encode("utf-8") not in match.group() for match in matches)
            yield sure, partial(_wanted, pattern, sure, doubt)

    def doubt(self, view: View) -> str:
        """Why a picture that nothing recognises may still be this schema's: what could not be read in it; or ""."""
        if not (self.source.frame or format_of(view.capture.octets)):  # a frame's file is known by its name
            return ""
        page = self._page(view)
        return page if isinstance(page, str) else _doubt(page)

    def take(self, metric: Metric, view: View) -> list[Seen]:
        """The metric's numbers, row by row; a hold for each row that could hold one and is not read."""
        length = len(view.capture.octets)
        return [replace(seen, begin=0, end=length) for seen in self.found(metric, view)]

    def lines(self, view: View) -> Shown | None:
        """The rows of the region as lines; the places are cells, LARGEST_SIDE to a row."""
        page = self._page(view)
        return None if isinstance(page, str) else CellView(view, [row.text for row in page]).shown

    def found(self, metric: Metric, view: View) -> list[Seen]:
        """What `take` gives, with its places in `lines`."""
        page = self._page(view)
        if isinstance(page, str):
            return []
        if not any(row.unread for row in page):
            return self.text.take(metric, CellView(view, [row.text for row in page]))
        place = self.text.places[metric.name]
        if not isinstance(place, Found) or place.block is not None:
            first = next(number for number, row in enumerate(page) if row.unread)
            return [_held(first, page[first])]  # the rows hang together
        tried = sum(bool(row.unread) for row in page) <= _MOST_ROWS_TRIED
        seen: list[Seen] = []
        holds: list[Seen] = []
        for number, row in enumerate(page):
            if row.unread and (not tried or self._needs(metric, view, row)):
                holds.append(_held(number, row))
                seen.append(holds[-1])
            else:
                seen += self.text.take(metric, CellView(view, [row.text], number))
        if len(seen) > MOST_OCCURRENCES:
            return [Seen(Unread(f"found more than {MOST_OCCURRENCES} times"), 0, 0)]
        return holds[:1] if metric.once and holds else seen

    def _needs(self, metric: Metric, view: View, row: Row) -> bool:
        """Whether what is taken from the row hangs on an unread cell."""
        if len(row.unread) > _MOST_TRIED:
            return True
        at = row.unread[0].column
        others = {*self.rule.glyphs.characters, *_PRINTABLE}  # it may be one that the glyph set lacks
        texts = [row.text[:at] + each + row.text[at + 1 :] for each in (UNREAD, *others)]
        outcomes = [
            [_outcome(each) for each in self.text.take(metric, CellView(view, [text]))] for text in texts
        ]
        return any(outcome != outcomes[0] for outcome in outcomes) or "held" in outcomes[0]

    def _page(self, view: View) -> Page | str:
        """The rows of the picture, or why there are none; worked out once for a capture."""
        page: Page | str = view.once(f"page by {id(self)}", lambda _: _page(view, self))
        return page


def _page(view: View, way: PictureWay) -> Page | str:
    """The picture is made once for all schemas, its page once for each."""
    picture: Picture | str = view.once(f"picture {way.source}", partial(_picture_or_why, source=way.source))
    return picture if isinstance(picture, str) else _or_why(lambda: read_page(picture, way.rule))


def _picture_or_why(capture: Capture, source: Source) -> Picture | str:
    """The agent's own pictures are files that say what they are."""
    kept = capture.kind is CaptureKind.PICTURE
    return _or_why(lambda: decode(capture.octets) if kept else _picture(capture.octets, source))


def _or_why(make: Callable[[], Made]) -> Made | str:
    """What is made, or why it cannot be."""
    try:
        return make()
    except MalformedError as error:
        return f"{error.where}: {error.what}" if error.where else error.what


def _picture(octets: bytes, source: Source) -> Picture:
    """The picture of a file, or of a raw frame with or without the colours of a DAC behind it."""
    if not source.frame:
        return decode(octets)
    octets = octets[source.skip :]
    length = frame_octets(source.frame)
    palette = dac_palette(octets[length:]) if len(octets) == length + DAC_OCTETS else ()
    return picture_of(source.frame, octets[:length] if palette else octets, palette)


def _held(number: int, row: Row) -> Seen:
    """A hold at the first unread cell of a row."""
    cell, more = row.unread[0], len(row.unread) - 1
    reason = cell.reason + (f"; {more} more cells of the row are not read" if more else "")
    place = number * LARGEST_SIDE + cell.column
    return Seen(Unread(reason), place, place + 1, row.text)


def _doubt(page: Page) -> str:
    """What of a page is not read, or ""."""
    unread = [cell for row in page for cell in row.unread]
    if not unread:
        return ""
    more = len(unread) - 1
    told = f" ({more} more {'cell is' if more == 1 else 'cells are'} not read)" if more else ""
    return unread[0].reason + told


def _barred(pattern: Pattern, found: bool, doubt: str) -> str:
    told = "was found" if found else doubt or "was not found"
    return f"{pattern} must not be there, and {told}"


def _wanted(pattern: Pattern, sure: bool, doubt: str) -> str:
    return f"{pattern} was {'found' if sure else 'not found'}{f'; {doubt}' if doubt and not sure else ''}"


def _outcome(seen: Seen) -> object:
    return (seen.number, seen.unit) if isinstance(seen.number, Number) else "held"


def picture_kind(library: Library) -> Kind:
    """The kind of schema that reads pictures, with the glyph sets that its schemas may name."""

    def load(top: Table, recognise: Table, metrics: Mapping[str, Table]) -> PictureWay:
        rule, source = load_rule(top.table("picture"), library)
        if source.frame and not recognise.data.get("files"):
            recognise.fault("files", "missing", f"the names of files that are a frame of mode {source.frame}")
        text = TEXT.load(top, recognise, metrics)
        assert isinstance(text, TextWay)
        return PictureWay(rule, source, text, _patterns(recognise, "all"), _patterns(recognise, "none"))

    return Kind(
        "picture",
        (CaptureKind.FILE, CaptureKind.PICTURE),
        load,
        top=("picture", *TEXT.top),
        shown=TEXT.shown,
        patterns=True,
        own_patterns=True,
        sections=TEXT.sections,
        also=_glyphs_digest,
        draw=_drawn,
    )


def _drawn(way: Way, text: str) -> bytes:
    assert isinstance(way, PictureWay)
    if way.source.frame:
        raise SchemaError(
            "a raw frame is not drawn", next_step="octets = in hex, or a schema for a file of a picture"
        )
    return file_of(text.splitlines(), way.rule)


def _glyphs_digest(way: Way) -> str:
    return way.rule.glyphs.digest if isinstance(way, PictureWay) else ""


def _patterns(table: Table, key: str) -> tuple[Pattern, ...]:
    """The patterns under a key; what is wrong with them is told where all kinds' are."""
    found = (compile_pattern(text, named_group=False) for text in table.texts(key))
    return tuple(pattern for pattern in found if isinstance(pattern, Pattern))
