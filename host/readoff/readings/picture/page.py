"""A region of a picture as rows of text: every cell a character, or an unread cell with the reason and the place."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from readoff.errors import MalformedError
from readoff.readings.picture.glyphs import GlyphSet, Match
from readoff.readings.picture.ink import Ink, Inked, Inking, Key
from readoff.readings.picture.pixels import Picture, pixels

# Stands in the text for a cell that is not read; no glyph set may have it.
UNREAD = "\ufffd"


@dataclass(frozen=True)
class Region:
    """Where the cells are: pixels of the top left corner, and how many cells."""

    x: int
    y: int
    columns: int
    rows: int


@dataclass(frozen=True)
class Rule:
    """How a picture schema reads its cells.

    allow: pixels that a cell may be off its glyph. apart: pixels that the next best must be further off. size: that
    the whole picture must have, or None.
    """

    region: Region
    glyphs: GlyphSet
    ink: Ink
    allow: int = 0
    apart: int = 1
    size: tuple[int, int] | None = None


@dataclass(frozen=True)
class UnreadCell:
    """A cell that shows no character for certain. column: in the row's text. reason: names the cell and its pixels."""

    column: int
    reason: str


@dataclass(frozen=True)
class Row:
    """One row of cells: a character for each, UNREAD where there is none, blanks at the end left out."""

    text: str
    unread: tuple[UnreadCell, ...] = ()


def read_page(picture: Picture, rule: Rule) -> tuple[Row, ...]:
    """The rows of a picture's region.

    Raises MalformedError where the picture as a whole does not fit the rule: another size, a region that reaches
    beyond it, an ink rule that cannot be applied.
    """
    region, glyphs = rule.region, rule.glyphs
    if rule.size and rule.size != (picture.width, picture.height):
        raise MalformedError(
            f"the picture has {picture.width} × {picture.height} pixels, "
            f"the schema reads {rule.size[0]} × {rule.size[1]}"
        )
    right, bottom = region.x + region.columns * glyphs.width, region.y + region.rows * glyphs.height
    if right > picture.width or bottom > picture.height:
        raise MalformedError(
            f"the region reaches to pixel ({right - 1}, {bottom - 1}), "
            f"the picture has {picture.width} × {picture.height}"
        )
    reader = _Reader(rule, Inking(rule.ink, picture))
    return tuple(reader.row(row) for row in range(region.rows))


class _Reader:
    """Reads the rows of one picture."""

    def __init__(self, rule: Rule, inking: Inking) -> None:
        self.rule, self.inking = rule, inking
        self.glyphs = rule.glyphs.by_contrast if rule.ink.how == "differs" else rule.glyphs

    def row(self, row: int) -> Row:
        """One row, from the top."""
        region, glyphs = self.rule.region, self.glyphs
        y = region.y + row * glyphs.height
        cells = [
            self.inking.rectangle(region.x + column * glyphs.width, y, glyphs.width, glyphs.height)
            for column in range(region.columns)
        ]
        matches = [
            None if cell.flaw else glyphs.match(cell.bits, self.rule.allow, self.rule.apart) for cell in cells
        ]
        if self.rule.ink.how == "differs":
            cells, matches = _uncovered(cells, matches, glyphs)
        text, unread = [], []
        for column, (cell, match) in enumerate(zip(cells, matches, strict=True)):
            character = match.character if match else ""
            text.append(character or UNREAD)
            if not character:
                unread.append(UnreadCell(column, f"{self._place(row, column)} {self._why(cell, match)}"))
        return self._at_edges(row, y, "".join(text), unread)

    def _at_edges(self, row: int, y: int, text: str, unread: list[UnreadCell]) -> Row:
        """The row with an unread cell at either end where what stands there goes on beyond the region."""
        region, glyphs = self.rule.region, self.rule.glyphs
        left, right = region.x, region.x + region.columns * glyphs.width
        room = min(glyphs.width, self.inking.picture.width - right)
        if text[-1] != " " and room and self._has_ink(right, y, room):
            reason = (
                f"{self._place(row, region.columns - 1)} is the region's last, and something stands beside it"
            )
            unread.append(UnreadCell(len(text), reason))
            text += UNREAD
        room = min(glyphs.width, left)
        if text[0] != " " and room and self._has_ink(left - room, y, room):
            reason = f"{self._place(row, 0)} is the region's first, and something stands beside it"
            unread = [UnreadCell(0, reason), *(UnreadCell(each.column + 1, each.reason) for each in unread)]
            text = UNREAD + text
        return Row(text.rstrip(" "), tuple(unread))

    def _has_ink(self, x: int, y: int, width: int) -> bool:
        beside = self.inking.rectangle(x, y, width, self.rule.glyphs.height)
        return bool(beside.bits or beside.flaw)

    def _place(self, row: int, column: int) -> str:
        region, glyphs = self.rule.region, self.rule.glyphs
        x, y = region.x + column * glyphs.width, region.y + row * glyphs.height
        return (
            f"the cell in row {row + 1}, column {column + 1} "
            f"(pixels {x} to {x + glyphs.width - 1}, {y} to {y + glyphs.height - 1})"
        )

    def _why(self, cell: Inked, match: Match | None) -> str:
        if match is None:
            return f"is not read: {cell.flaw}"
        (best, off), others = match.best, match.next_best
        if off > self.rule.allow or others is None:
            name, allow = self.rule.glyphs.name, self.rule.allow
            return f"is no glyph of {name}: {best!r} is nearest, {pixels(off)} off ({allow} allowed)"
        return f"may be {best!r} ({pixels(off)} off) or {others[0]!r} ({others[1]} off)"


def _uncovered(
    cells: list[Inked], matches: list[Match | None], glyphs: GlyphSet
) -> tuple[list[Inked], list[Match | None]]:
    """Under "differs", cells of one even colour are blanks only where that is the paper of the text beside them.

    A bar that covers a digit would else be taken for a blank. A row without any text is all blanks.
    """
    papers = [_paper(cell, match, glyphs) for cell, match in zip(cells, matches, strict=True)]
    written = {paper for paper in papers if paper is not None}
    begin = 0
    for (even, ground), run in groupby(tuple(cells), lambda cell: (cell.even, cell.ground)):
        end = begin + len(tuple(run))
        beside = {papers[at] for at in (begin - 1, end) if 0 <= at < len(cells)} - {None}
        if even and written and ground not in (beside or written):
            bar = Inked(0, "it is filled with a colour that is not the paper of the text beside it")
            cells[begin:end] = [bar] * (end - begin)
            matches[begin:end] = [None] * (end - begin)
        begin = end
    return cells, matches


def _paper(cell: Inked, match: Match | None, glyphs: GlyphSet) -> Key | None:
    """The colour behind a character, None where there is none for certain."""
    if cell.even or match is None or not match.character:
        return None
    return cell.other if match.character in glyphs.heavy else cell.ground
