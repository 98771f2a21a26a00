"""Glyph sets: what each character looks like in a cell, and which of them a cell shows.

A cell is a whole number: its pixels row by row from the top left, the first in the highest bit, 1 for ink. The
distance of two cells is the number of pixels in which they differ (Hamming: "Error detecting and error correcting
codes", Bell System Technical Journal 29, 1950, section 4; from memory).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from readoff.errors import SchemaError
from readoff.readings.faults import Faults
from readoff.readings.table import Table, top_table

GLYPH_FILES = ".glyphs.toml"
LONGEST_GLYPH_FILE = 200_000
LARGEST_CELL = 64
MOST_GLYPHS = 512
_INK, _PAPER = "X", "."
_TOP = ("glyphs", "title", "heights", "sheets")
_SHEET = ("characters", "rows")


# A character and how many pixels a cell is off it.
Near = tuple[str, int]
_MOST_KNOWN = 4096  # cells whose nearest characters are remembered


@dataclass(frozen=True)
class Match:
    """What a cell shows: the character, "" where it is none for certain; the nearest and the nearest other one."""

    character: str
    best: Near
    next_best: Near | None


@dataclass(frozen=True)
class GlyphSet:
    """Glyphs of one cell size. glyphs: (character, cell); one character may have several, one cell only one.

    digest: SHA-256 of what it was made from. heavy: characters whose cells are turned over, see by_contrast. A blank is
    always among the glyphs. Raises SchemaError where two characters share a cell.
    """

    name: str
    width: int
    height: int
    glyphs: tuple[tuple[str, int], ...]
    digest: str = ""
    heavy: frozenset[str] = frozenset()
    _exact: dict[int, str] = field(init=False, repr=False, compare=False)
    _known: dict[int, tuple[Near, Near | None]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        exact: dict[int, str] = {0: " "}
        for character, cell in self.glyphs:
            if exact.setdefault(cell, character) != character:
                raise SchemaError(
                    f"{exact[cell]!r} and {character!r} look the same",
                    next_step="One of them has to be left out.",
                )
        object.__setattr__(self, "_exact", exact)
        object.__setattr__(self, "_known", {})

    @property
    def characters(self) -> tuple[str, ...]:
        """Every character once, the blank among them."""
        return tuple(dict.fromkeys(self._exact.values()))

    def cell_of(self, character: str) -> int:
        """The first glyph of a character. Raises KeyError for one that the set lacks."""
        for cell, known in self._exact.items():
            if known == character:
                return cell
        raise KeyError(character)

    def match(self, cell: int, allow: int = 0, apart: int = 1) -> Match:
        """The character that a cell shows: the only one within `allow` pixels, all others `apart` further off."""
        known = self._known.get(cell)
        if known is None:
            known = self._nearest(cell)
            if len(self._known) < _MOST_KNOWN:
                self._known[cell] = known
        best, next_best = known
        sure = best[1] <= allow and (
            next_best is None or (next_best[1] > allow and next_best[1] - best[1] >= apart)
        )
        return Match(best[0] if sure else "", best, next_best)

    def _nearest(self, cell: int) -> tuple[Near, Near | None]:
        """The nearest character and the nearest other one."""
        off: dict[str, int] = {}
        for glyph, character in self._exact.items():
            distance = (cell ^ glyph).bit_count()
            if distance < off.get(character, distance + 1):
                off[character] = distance
        ranked = sorted(off.items(), key=lambda item: item[1])[:2]
        return ranked[0], ranked[1] if len(ranked) > 1 else None

    def closest(self, characters: Iterable[str] | None = None) -> tuple[int, str, str]:
        """The smallest distance of two different characters (of these alone, if given), and which they are."""
        among = set(self.characters if characters is None else characters)
        cells = [(cell, character) for cell, character in self._exact.items() if character in among]
        return min(
            ((one ^ two).bit_count(), first, second)
            for at, (one, first) in enumerate(cells)
            for two, second in cells[:at]
            if first != second
        )

    @cached_property
    def by_contrast(self) -> GlyphSet:
        """The set as it looks where a cell's commonest colour counts as paper: whatever is mostly ink is turned over.

        A glyph that is half ink cannot be known in this way and is left out. Raises SchemaError where two characters
        become the same.
        """
        area = self.width * self.height
        turned, heavy = [], set()
        for character, cell in self.glyphs:
            if 2 * cell.bit_count() > area:
                heavy.add(character)
                turned.append((character, cell ^ ((1 << area) - 1)))
            elif 2 * cell.bit_count() < area:
                turned.append((character, cell))
        return GlyphSet(self.name, self.width, self.height, tuple(turned), self.digest, frozenset(heavy))

    def text(self) -> str:
        """The set in the format of a glyph file, eight glyphs to a sheet."""
        lines = [f'glyphs = "{self.name}"', f'title = "{self.name}, {self.width}x{self.height}"']
        for at in range(0, len(self.glyphs), 8):
            part = self.glyphs[at : at + 8]
            characters = "".join(
                f"\\u{ord(character):04X}" if character in '"\\' else character for character, _ in part
            )
            lines += ["", "[[sheets]]", f'characters = "{characters}"', "rows = ["]
            lines += [
                '  "' + " ".join(self._row(cell, row) for _, cell in part) + '",'
                for row in range(self.height)
            ]
            lines.append("]")
        return "\n".join(lines) + "\n"

    def _row(self, cell: int, row: int) -> str:
        bits = cell >> (self.width * (self.height - 1 - row)) & ((1 << self.width) - 1)
        return f"{bits:0{self.width}b}".replace("1", _INK).replace("0", _PAPER)


# Glyph sets by name, each in the sizes that it comes in.
Library = Mapping[str, Mapping[tuple[int, int], GlyphSet]]


def load_glyphs(files: Iterable[tuple[str, str]]) -> Library:
    """Glyph sets from (file name, TOML text) pairs. Raises SchemaError with all faults of all files at once."""
    library, told = read_glyphs(files)
    if told:
        raise SchemaError("faults in the glyph sets:\n  " + "\n  ".join(told), faults=told)
    return library


def read_glyphs(files: Iterable[tuple[str, str]]) -> tuple[Library, list[str]]:
    """Glyph sets from (file name, TOML text) pairs, and all faults of the files that are none."""
    library: dict[str, Mapping[tuple[int, int], GlyphSet]] = {}
    told: list[str] = []
    for file, text in files:
        faults = Faults(file)
        name, sizes = _load(text, faults)
        if name in library:
            faults.add("glyphs", f"{name!r} is taken", "a name of its own")
        if faults.told:
            told += faults.told
        else:
            library[name] = sizes
    return library, told


def _load(text: str, faults: Faults) -> tuple[str, dict[tuple[int, int], GlyphSet]]:
    top = top_table(text, faults, LONGEST_GLYPH_FILE)
    if top is None:
        return "", {}
    digest = hashlib.sha256(text.encode("utf-8")).hexdigest()
    top.only(_TOP)
    name = top.text("glyphs")
    top.text("title")
    drawn: dict[str, list[tuple[str, ...]]] = {}
    for sheet in top.tables("sheets"):
        for character, rows in _sheet(sheet):
            drawn.setdefault(character, []).append(rows)
    shapes = {(len(rows[0]), len(rows)) for variants in drawn.values() for rows in variants}
    if len(shapes) != 1:
        told = ", ".join(f"{width} × {height}" for width, height in sorted(shapes)) or "none"
        top.fault("sheets", f"glyphs of several sizes or none ({told})", "[[sheets]] with glyphs of one size")
    if len(drawn) > MOST_GLYPHS:
        top.fault("sheets", f"{len(drawn)} characters", f"at most {MOST_GLYPHS}")
    if faults.told:
        return name, {}
    width, height = shapes.pop()
    sizes = {}
    for tall, rule in _heights(top, height).items():
        glyphs = tuple(
            (character, cell_of_rows([rows[row] for row in rule]))
            for character, variants in drawn.items()
            for rows in variants
        )
        try:
            sizes[width, tall] = GlyphSet(name, width, tall, glyphs, digest)
        except SchemaError as error:
            top.fault("sheets", f"in {width} × {tall} {error.what}", "glyphs that differ")
    return name, sizes


def _heights(top: Table, height: int) -> dict[int, Sequence[int]]:
    """For each height the rows of the design that it takes, from the top; its own height where nothing is said."""
    if "heights" not in top.data:
        return {height: range(height)}
    table = top.table("heights")
    heights: dict[int, Sequence[int]] = {}
    for key, rows in table.data.items():
        fits = isinstance(rows, list) and all(type(row) is int and 0 <= row < height for row in rows)
        if not key.isdecimal() or not fits or len(rows) != int(key) or not 0 < int(key) <= LARGEST_CELL:
            table.fault(
                key, "rows that do not fit", f"as many numbers as the height has, 0 to {height - 1} each"
            )
        else:
            heights[int(key)] = rows
    return heights


def _sheet(table: Table) -> list[tuple[str, tuple[str, ...]]]:
    """The characters of a sheet with the rows of each."""
    table.only(_SHEET)
    characters, rows = table.text("characters"), table.texts("rows")
    parts = [row.split(" ") for row in rows]
    if not characters or not rows:
        return []
    widths = {len(part) for row in parts for part in row}
    if (
        any(len(row) != len(characters) for row in parts)
        or len(widths) != 1
        or set("".join(rows)) - set("X. ")
    ):
        right = f"rows of {len(characters)} glyphs of one width each, drawn in X and . with one blank between them"
        table.fault("rows", "the rows do not fit the characters", right)
        return []
    if max(*widths, len(rows)) > LARGEST_CELL:
        table.fault("rows", f"glyphs of {max(widths)} × {len(rows)} pixels", f"at most {LARGEST_CELL} a side")
        return []
    return [(character, tuple(row[at] for row in parts)) for at, character in enumerate(characters)]


def cell_of_rows(rows: Sequence[str]) -> int:
    """Rows drawn in X and . as one whole number."""
    return int("".join(rows).replace(_INK, "1").replace(_PAPER, "0"), 2)
