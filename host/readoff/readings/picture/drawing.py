"""Text drawn in a glyph set: the pictures that schemas carry as samples, and that reading is tried on."""

from __future__ import annotations

import io
from collections.abc import Sequence

from readoff.errors import SchemaError
from readoff.readings.picture.glyphs import GlyphSet
from readoff.readings.picture.ink import Ink
from readoff.readings.picture.page import UNREAD, Rule
from readoff.readings.picture.pixels import RGB

BLACK, WHITE = (0, 0, 0), (255, 255, 255)
BLACK_AND_WHITE = (BLACK, WHITE)


def draw(lines: Sequence[str], glyphs: GlyphSet, *, ink: int = 1, paper: int = 0) -> bytes:
    """Lines of equal length as indices, row by row; UNREAD is drawn as stripes, which are no glyph.

    Raises KeyError for a character that the set lacks.
    """
    marks = bytes([paper, ink])
    rows: list[bytes] = []
    for line in lines:
        cells = [_cell(character, glyphs) for character in line]
        for row in range(0, glyphs.width * glyphs.height, glyphs.width):
            bits = "".join(cell[row : row + glyphs.width] for cell in cells)
            rows.append(bytes(marks[bit == "1"] for bit in bits))
    return b"".join(rows)


def _cell(character: str, glyphs: GlyphSet) -> str:
    area = glyphs.width * glyphs.height
    return ("100" * area)[:area] if character == UNREAD else f"{glyphs.cell_of(character):0{area}b}"


def file_of(lines: Sequence[str], rule: Rule) -> bytes:
    """A BMP of the size that a rule wants, with the lines in its region. Raises SchemaError where they do not fit."""
    from PIL import Image  # noqa: PLC0415 - loaded where a picture is drawn

    region, glyphs = rule.region, rule.glyphs
    if len(lines) > region.rows or any(len(line) > region.columns for line in lines):
        raise SchemaError(f"a text that does not fit {region.rows} rows of {region.columns} cells")
    lacking = set("".join(lines)) - {*glyphs.characters, UNREAD}
    if lacking:
        raise SchemaError(f"{glyphs.name} has no {min(lacking)!r}")
    ink, paper, palette = _colours(rule.ink)
    filled = [line.ljust(region.columns) for line in [*lines, *[""] * (region.rows - len(lines))]]
    written = region.columns * glyphs.width, region.rows * glyphs.height
    picture = Image.new("P", rule.size or (region.x + written[0], region.y + written[1]), paper)
    picture.putpalette([part for colour in palette for part in colour])
    picture.paste(
        Image.frombytes("P", written, draw(filled, glyphs, ink=ink, paper=paper)), (region.x, region.y)
    )
    out = io.BytesIO()
    picture.save(out, "BMP")
    return out.getvalue()


def _colours(ink: Ink) -> tuple[int, int, Sequence[RGB]]:
    """Indices of ink and paper, and a palette, as an ink rule wants them."""
    if ink.how == "indices":
        papers = sorted(ink.paper or set(range(256)) - ink.indices)
        if not papers:
            raise SchemaError("there is no paper where all indices are ink")
        return min(ink.indices), papers[0], _GREYS
    if ink.how == "colours":
        colours = sorted(ink.paper_colours or set(BLACK_AND_WHITE) - ink.colours)
        if not colours:
            raise SchemaError("there is no paper where black and white are ink")
        return 1, 0, (colours[0], min(ink.colours))
    return 1, 0, (WHITE, BLACK) if ink.how == "darker" else BLACK_AND_WHITE


_GREYS = tuple((grey, grey, grey) for grey in range(256))
