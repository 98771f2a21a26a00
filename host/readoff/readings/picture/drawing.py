"""Text drawn in a glyph set: the pictures that reading is tried on."""

from __future__ import annotations

from collections.abc import Sequence

from readoff.readings.picture.glyphs import GlyphSet

BLACK_AND_WHITE = ((0, 0, 0), (255, 255, 255))


def draw(lines: Sequence[str], glyphs: GlyphSet, *, ink: int = 1, paper: int = 0) -> bytes:
    """Lines of equal length as indices, row by row. Raises KeyError for a character that the set lacks."""
    marks = bytes([paper, ink])
    rows: list[bytes] = []
    for line in lines:
        cells = [f"{glyphs.cell_of(character):0{glyphs.width * glyphs.height}b}" for character in line]
        for row in range(0, glyphs.width * glyphs.height, glyphs.width):
            bits = "".join(cell[row : row + glyphs.width] for cell in cells)
            rows.append(bytes(marks[bit == "1"] for bit in bits))
    return b"".join(rows)
