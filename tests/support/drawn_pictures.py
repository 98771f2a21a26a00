"""Pictures drawn for the tests of picture reading, in our own glyphs, as files of every format."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable, Sequence
from pathlib import Path

from PIL import Image

from readoff.readings import Schema, load_schemas
from readoff.readings.picture.drawing import draw
from readoff.readings.picture.glyphs import GlyphSet, load_glyphs

GLYPH_FILE = Path(__file__).resolve().parents[2] / "protocols" / "glyphs" / "chamfer.glyphs.toml"
GLYPH_TEXT = GLYPH_FILE.read_text("utf-8")
CHAMFER = load_glyphs([(GLYPH_FILE.name, GLYPH_TEXT)])["chamfer"]
# A palette of sixteen: 0 black, 15 white, and greys of no meaning between.
PALETTE = [(17 * grey, 17 * grey, 17 * grey) for grey in range(16)]
PAPER, INK = 0, 15


def grid(lines: Sequence[str], glyphs: GlyphSet, columns: int = 0) -> list[list[int]]:
    """Lines as rows of indices, INK on PAPER; `columns` wide, or as wide as the longest."""
    columns = columns or max(map(len, lines))
    pixels = draw([line.ljust(columns) for line in lines], glyphs, ink=INK, paper=PAPER)
    width = columns * glyphs.width
    return [list(pixels[at : at + width]) for at in range(0, len(pixels), width)]


def flipped(rows: list[list[int]], *places: tuple[int, int]) -> list[list[int]]:
    """The same with the pixels at (x, y) turned from ink to paper or the other way."""
    changed = [list(row) for row in rows]
    for x, y in places:
        changed[y][x] = PAPER if changed[y][x] == INK else INK
    return changed


def shifted(rows: list[list[int]], by: int = 1) -> list[list[int]]:
    """The same moved to the right."""
    return [[PAPER] * by + row[:-by] for row in rows]


def image(rows: list[list[int]]) -> Image.Image:
    """Rows as Pillow's picture with our palette."""
    made = Image.new("P", (len(rows[0]), len(rows)))
    made.putpalette([part for colour in PALETTE for part in colour])
    made.putdata([index for row in rows for index in row])
    return made


def saved(picture: Image.Image, form: str, **more: object) -> bytes:
    """A picture as Pillow writes it."""
    out = io.BytesIO()
    picture.save(out, form, **more)
    return out.getvalue()


def png(rows: list[list[int]]) -> bytes:
    """Rows as a PNG with a palette."""
    return saved(image(rows), "PNG")


def bmp4(rows: list[list[int]]) -> bytes:
    """A BMP of 4 bits a pixel, bottom up, by its description (BITMAPINFOHEADER; from memory)."""
    width, height = len(rows[0]), len(rows)
    stride = (width * 4 + 31) // 32 * 4
    body = b""
    for row in reversed(rows):
        even = row + [0] * (width % 2)
        packed = bytes(high << 4 | low for high, low in zip(even[::2], even[1::2], strict=True))
        body += packed.ljust(stride, b"\0")
    colours = b"".join(bytes([blue, green, red, 0]) for red, green, blue in PALETTE)
    start = 14 + 40 + len(colours)
    head = struct.pack("<2sIHHI", b"BM", start + len(body), 0, 0, start)
    info = struct.pack("<IiiHHIIiiII", 40, width, height, 1, 4, 0, len(body), 0, 0, 16, 0)
    return head + info + colours + body


def bmp_runs(rows: list[list[int]]) -> bytes:
    """A BMP of 8 bits a pixel in runs of one (RLE8: count and index; 0 0 ends a row, 0 1 the picture; from memory)."""
    body = (
        b"".join(b"".join(bytes([1, index]) for index in row) + b"\0\0" for row in reversed(rows)) + b"\0\1"
    )
    colours = b"".join(bytes([blue, green, red, 0]) for red, green, blue in PALETTE)
    start = 14 + 40 + len(colours)
    head = struct.pack("<2sIHHI", b"BM", start + len(body), 0, 0, start)
    info = struct.pack("<IiiHHIIiiII", 40, len(rows[0]), len(rows), 1, 8, 1, len(body), 0, 0, 16, 0)
    return head + info + colours + body


def pcx4(rows: list[list[int]]) -> bytes:
    """A PCX of four planes of one bit, the usual one for 16 colours, by its description (from memory)."""
    width, height = len(rows[0]), len(rows)
    stride = (width + 15) // 16 * 2
    head = struct.pack("<BBBBHHHHHH", 10, 5, 1, 1, 0, 0, width - 1, height - 1, 72, 72)
    head += bytes(part for colour in PALETTE for part in colour) + struct.pack("<BBHH", 0, 4, stride, 1)
    body = b""
    for row in rows:
        for plane in range(4):
            bits = "".join(str(index >> plane & 1) for index in row).ljust(stride * 8, "0")
            body += b"".join(
                bytes([0xC1, octet]) if octet >= 0xC0 else bytes([octet])
                for octet in int(bits, 2).to_bytes(stride, "big")
            )
    return head.ljust(128, b"\0") + body


def _two_colours(rows: list[list[int]]) -> Image.Image:
    return image(rows).convert("L").point(lambda grey: 255 if grey > 127 else 0).convert("1")


def _eight_bits(rows: list[list[int]]) -> Image.Image:
    """Eight bits a pixel, but a palette of black and white only."""
    made = Image.new("P", (len(rows[0]), len(rows)))
    made.putpalette([0, 0, 0, 255, 255, 255])
    made.putdata([int(index > 7) for row in rows for index in row])
    return made


# Every format, by its name, from rows of indices. Those of two colours keep black and white only.
FORMATS: dict[str, Callable[[list[list[int]]], bytes]] = {
    "BMP 1": lambda rows: saved(_two_colours(rows), "BMP"),
    "BMP 4": bmp4,
    "BMP 8 runs": bmp_runs,
    "BMP 8 black and white": lambda rows: saved(_eight_bits(rows), "BMP"),
    "BMP 8": lambda rows: saved(image(rows), "BMP"),
    "BMP 24": lambda rows: saved(image(rows).convert("RGB"), "BMP"),
    "PCX 1": lambda rows: saved(_two_colours(rows), "PCX"),
    "PCX 4 planes": pcx4,
    "PCX 8": lambda rows: saved(image(rows), "PCX"),
    "PCX 24": lambda rows: saved(image(rows).convert("RGB"), "PCX"),
    "TIFF 1": lambda rows: saved(_two_colours(rows), "TIFF", compression="group4"),
    "TIFF 8": lambda rows: saved(image(rows), "TIFF"),
    "TIFF 8 LZW": lambda rows: saved(image(rows), "TIFF", compression="tiff_lzw"),
    "TIFF 24 PackBits": lambda rows: saved(image(rows).convert("RGB"), "TIFF", compression="packbits"),
    "GIF": lambda rows: saved(image(rows), "GIF"),
    "PNG 1": lambda rows: saved(_two_colours(rows), "PNG"),
    "PNG 8": png,
    "PNG 24": lambda rows: saved(image(rows).convert("RGB"), "PNG"),
}


def schema_text(
    metrics: str = "",
    *,
    name: str = "mill_screen",
    cell: str = "8x16",
    ink: str = "brighter = 127",
    region: str = "x = 0, y = 0, columns = 20, rows = 2",
    more: str = "",
    recognise: str = "all = ['^Mill ']",
) -> str:
    """A picture schema with one metric, `pace`, unless told otherwise."""
    metrics = metrics or (
        '[metrics.pace]\npattern = \'^Pace: *(?P<number>\\S+)\'\nunit = "points/s"\nbetter = "higher"\nonce = true\n'
    )
    return (
        f'schema = "{name}"\nkind = "picture"\ntitle = "A mill"\nheadline = ["pace"]\nunits = ["points/s"]\n'
        f'[picture]\nregion = {{ {region} }}\ncell = "{cell}"\nglyphs = "chamfer"\nink = {{ {ink} }}\n{more}\n'
        f"[recognise]\n{recognise}\n{metrics}"
    )


def load(*texts: str) -> list[Schema]:
    """Schemas of these texts, with our own glyphs."""
    files = [(f"schema{number}.toml", text) for number, text in enumerate(texts)]
    return load_schemas([(GLYPH_FILE.name, GLYPH_TEXT), *files])
