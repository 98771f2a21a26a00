"""The font in which the page shows what an old machine showed: our own glyphs as outlines, a cell for every code.

python tests/support/page_font.py    makes chamfer8.ttf and chamfer16.ttf of the page (PYTHONPATH: host and tests)

A cell is 8 points wide and 8 or 16 high, and one em high. A point is a square, and points beside each other one
rectangle, so that nothing shows between them. What runs on into the next cell (frames and blocks) overhangs a little: a
viewer that rounds cells to its own points shows no gaps.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from readoff import resources
from readoff.contract.cp437 import glyphs
from readoff.readings.picture.glyphs import load_glyphs

LOOK = Path(__file__).resolve().parents[2] / "host" / "readoff" / "page" / "look"
FILES = (resources.protocols() / "glyphs" / "chamfer.glyphs.toml", LOOK / "chamfer437.glyphs.toml")
HEIGHTS = (8, 16)
WIDTH = 8
EM = 1024
BELOW = EM // 8
"""How much of a cell is below the base line: the last row of the design, of eight."""
OVER = EM // 96
"""How far a frame overhangs its cell, in units of the font."""
CODES = glyphs(bytes(range(256)))
_RUNS_ON = {*CODES[0xB3:0xE0], "\u2320", "\u2321"}

Rectangle = tuple[int, int, int, int]


def cells(height: int) -> dict[str, int]:
    """Every character of code page 437 with its cell of this height; blanks are 0."""
    library = load_glyphs([(each.name, each.read_text("utf-8")) for each in FILES])
    drawn = {char: cell for sizes in library.values() for char, cell in sizes[WIDTH, height].glyphs}
    return {character: 0 if character in " \xa0" else drawn[character] for character in CODES}


def rectangles(cell: int, height: int) -> Iterator[Rectangle]:
    """A cell's ink as rectangles (left, top, right, bottom) in points: runs of a row, the same ones below joined."""
    open_runs: dict[tuple[int, int], int] = {}
    for y in range(height + 1):
        row = cell >> (WIDTH * (height - 1 - y)) & 0xFF if y < height else 0
        runs = set(_runs(f"{row:08b}"))
        for run in [each for each in open_runs if each not in runs]:
            yield run[0], open_runs.pop(run), run[1], y
        for run in runs:
            open_runs.setdefault(run, y)


def _runs(row: str) -> Iterator[tuple[int, int]]:
    at = 0
    while (begin := row.find("1", at)) >= 0:
        at = (row + "0").find("0", begin)
        yield begin, at


def outline(character: str, cell: int, height: int) -> Iterator[Rectangle]:
    """The rectangles of a character in units of the font (left, bottom, right, top), the base line two points up."""
    point = EM // height
    over = OVER if character in _RUNS_ON else 0
    for left, top, right, bottom in rectangles(cell, height):
        yield (
            left * point - over * (left == 0),
            EM - BELOW - bottom * point - over * (bottom == height),
            right * point + over * (right == WIDTH),
            EM - BELOW - top * point + over * (top == 0),
        )


def font(height: int) -> bytes:
    """The font of cells of this height, as a TrueType file."""
    import io

    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.ttGlyphPen import TTGlyphPen

    drawn = cells(height)
    names = {character: f"c{ord(character):04X}" for character in drawn}
    shapes = {".notdef": TTGlyphPen(None).glyph()}
    for character, cell in drawn.items():
        pen = TTGlyphPen(None)
        for left, low, right, high in outline(character, cell, height):
            pen.moveTo((left, low))
            for corner in ((left, high), (right, high), (right, low)):
                pen.lineTo(corner)
            pen.closePath()
        shapes[names[character]] = pen.glyph()
    advance = WIDTH * EM // height
    builder = FontBuilder(EM, isTTF=True)
    builder.font.recalcTimestamp = False
    builder.setupGlyphOrder(list(shapes))
    builder.setupCharacterMap({ord(character): name for character, name in names.items()})
    builder.setupGlyf(shapes)
    lefts = builder.font["glyf"]
    builder.setupHorizontalMetrics({name: (advance, getattr(lefts[name], "xMin", 0)) for name in shapes})
    builder.setupHorizontalHeader(ascent=EM - BELOW, descent=-BELOW)
    builder.setupNameTable({"familyName": f"Chamfer {WIDTH}x{height}", "styleName": "Regular"})
    builder.setupOS2(
        sTypoAscender=EM - BELOW,
        sTypoDescender=-BELOW,
        sTypoLineGap=0,
        usWinAscent=EM - BELOW + OVER,
        usWinDescent=BELOW + OVER,
    )
    builder.setupPost(isFixedPitch=1)
    written = io.BytesIO()
    builder.save(written)
    return written.getvalue()


def main() -> None:
    """Makes the files anew."""
    for height in HEIGHTS:
        (LOOK / f"chamfer{height}.ttf").write_bytes(font(height))


if __name__ == "__main__":
    main()
