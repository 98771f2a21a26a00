"""The [picture] table of a schema: which picture, where its cells are, what is ink, which glyphs."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass

from readoff.errors import SchemaError
from readoff.readings.faults import Faults
from readoff.readings.picture.frames import MODES
from readoff.readings.picture.glyphs import GlyphSet, Library
from readoff.readings.picture.ink import Ink
from readoff.readings.picture.page import Region, Rule
from readoff.readings.picture.pixels import LARGEST_SIDE, RGB
from readoff.readings.table import Table, described

MOST_CELLS = 20_000
MOST_SKIPPED = 65_536
_KEYS = ("size", "region", "cell", "glyphs", "ink", "allow", "apart", "frame", "skip")
_REGION = ("x", "y", "columns", "rows")
_INK = ("indices", "colours", "brighter", "darker", "differs", "paper")
# The keys of each kind of table, for the guide.
TABLES = (_KEYS, _REGION, _INK)
_SIZE = re.compile(r"([1-9][0-9]{0,3})x([1-9][0-9]{0,3})")
_COLOUR = re.compile(r"#([0-9A-Fa-f]{2})([0-9A-Fa-f]{2})([0-9A-Fa-f]{2})")
_NO_GLYPHS = GlyphSet("", 8, 8, ())


@dataclass(frozen=True)
class Source:
    """What the octets of a file are. frame: the video mode of a raw frame, or "" for a file that says what it is.

    skip: octets before the frame.
    """

    frame: str = ""
    skip: int = 0


def load_rule(table: Table, library: Library) -> tuple[Rule, Source]:
    """The rule of one schema; faults go into the table."""
    table.only(_KEYS)
    glyphs = _glyphs(table, library)
    region = _region(table.table("region"))
    allow, apart = table.whole("allow", 64), table.whole("apart", 4096)
    if "apart" not in table.data:
        apart = 1
        if allow:
            table.fault("apart", "missing", f"apart = {allow + 1} or more, since allow is {allow}")
    elif apart <= allow:
        right = f"at least {allow + 1}, or {allow} wrong pixels could make one glyph of another"
        table.fault("apart", f"{apart} with allow = {allow}", right)
    source = Source(table.text("frame", needed=False), table.whole("skip", MOST_SKIPPED))
    if source.frame:
        table.choice("frame", source.frame, MODES)
    elif source.skip:
        table.fault("skip", f"{source.skip} octets before no frame", "a frame, or no skip")
    size = _size(table, "size") if "size" in table.data else None
    ink = _ink(table.table("ink"))
    if ink.how == "differs":
        try:
            _ = glyphs.by_contrast
        except SchemaError as error:
            table.fault(
                "ink", f"by contrast alone {error.what}", "another ink rule, or a set without one of them"
            )
    return Rule(region, glyphs, ink, allow, apart, size), source


def load_sample(cell: str, ink: str) -> tuple[tuple[int, int], Ink]:
    """The cell and the ink of a sample picture, each as a schema has it: "8x16", "indices = [15]".

    Raises SchemaError with all that is wrong.
    """
    faults = Faults("the sample")
    size, found = None, Ink("differs")
    try:
        data = tomllib.loads(f"ink = {{ {ink} }}")
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        faults.add("ink", f"{ink!r} is not understood ({error})", "as in a schema: brighter = 127")
        data = {}
    if data:
        table = Table({**data, "cell": cell}, "", faults)
        size, found = _size(table, "cell"), _ink(table.table("ink"))
    if size is None or faults.told:
        raise SchemaError("; ".join(faults.told) or "no cell", faults=faults.told)
    return size, found


def _glyphs(table: Table, library: Library) -> GlyphSet:
    name, cell = table.text("glyphs"), _size(table, "cell")
    if not name or not cell or not table.choice("glyphs", name, library):
        return _NO_GLYPHS
    if cell not in library[name]:
        known = ", ".join(f"{width}x{height}" for width, height in library[name])
        table.fault("cell", f"{name} has no glyphs of {cell[0]} × {cell[1]} pixels", f"one of {known}")
    return library[name].get(cell, _NO_GLYPHS)


def _size(table: Table, key: str) -> tuple[int, int] | None:
    """Width and height, written "8x16"."""
    text = table.text(key)
    found = _SIZE.fullmatch(text)
    if found:
        return int(found[1]), int(found[2])
    if text:
        table.fault(key, f"{text!r}", 'width and height in pixels: "8x16"')
    return None


def _region(table: Table) -> Region:
    table.only(_REGION)
    x, y = table.whole("x", LARGEST_SIDE), table.whole("y", LARGEST_SIDE)
    columns, rows = table.whole("columns", LARGEST_SIDE), table.whole("rows", LARGEST_SIDE)
    if not 0 < columns * rows <= MOST_CELLS:
        table.fault("", f"{columns} × {rows} cells", f"columns and rows, 1 to {MOST_CELLS} cells in all")
    return Region(x, y, columns, rows)


def _ink(table: Table) -> Ink:
    table.only(_INK)
    rules = [key for key in _INK if key in table.data and key != "paper"]
    if len(rules) != 1:
        right = "exactly one of " + ", ".join(key for key in _INK if key != "paper")
        table.fault("", f"{' and '.join(rules) or 'nothing'} says what is ink", right)
        return Ink("differs")
    how = rules[0]
    if "paper" in table.data and how not in ("indices", "colours"):
        table.fault("paper", f"paper beside {how}", "paper beside indices or colours only")
    if how == "indices":
        return Ink(how, indices=_indices(table, "indices"), paper=_indices(table, "paper"))
    if how == "colours":
        return Ink(how, colours=_colours(table, "colours"), paper_colours=_colours(table, "paper"))
    if how == "differs" and not table.flag("differs"):
        table.fault("differs", "false", "differs = true, or another rule")
    return Ink(how, threshold=0 if how == "differs" else table.whole(how, 255))


def _indices(table: Table, key: str) -> frozenset[int]:
    value = table.data.get(key, [])
    if not isinstance(value, list) or not all(type(each) is int and 0 <= each <= 255 for each in value):
        table.fault(key, described(value), "indices of the palette: [15] or [7, 15]")
        return frozenset()
    if not value and key != "paper":
        table.fault(key, "no index", "at least one: [15]")
    return frozenset(value)


def _colours(table: Table, key: str) -> frozenset[RGB]:
    texts = table.texts(key)
    found = [_COLOUR.fullmatch(text) for text in texts]
    if not all(found) or (not texts and key != "paper"):
        table.fault(key, described(list(texts)), 'colours as red, green and blue in hex: ["#FFFFFF"]')
    return frozenset((int(each[1], 16), int(each[2], 16), int(each[3], 16)) for each in found if each)
