"""Which pixels of a cell are ink: by index, by colour, by brightness, or by what the rest of the cell is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from readoff.errors import MalformedError
from readoff.readings.picture.pixels import RGB, Picture

_PAPER, _INK, _NEITHER = 0, 1, 2
Key = int | bytes


@dataclass(frozen=True)
class Ink:
    """An ink rule. how: "indices", "colours", "brighter", "darker" or "differs".

    indices, colours: those that count as ink. paper, paper_colours: those of the background; where they are given, a
    cell with any other is held. threshold: of the brightness, 0 to 255 (luma of ITU-R BT.601: 0.299 R + 0.587 G +
    0.114 B).
    "differs": whatever is not the cell's commonest colour (so glyphs that are mostly ink show their paper as ink).
    """

    how: str
    indices: frozenset[int] = frozenset()
    colours: frozenset[RGB] = frozenset()
    paper: frozenset[int] = frozenset()
    paper_colours: frozenset[RGB] = frozenset()
    threshold: int = 0


@dataclass(frozen=True)
class Inked:
    """A rectangle by the ink rule. bits: its pixels as one whole number, 1 for ink. flaw: why it has none, or "".

    Under "differs": ground is the commonest colour, other the only one beside it (None where there are several), and
    even says that there is none.
    """

    bits: int
    flaw: str = ""
    ground: Key | None = None
    other: Key | None = None
    even: bool = False


class Inking:
    """An ink rule at work on one picture."""

    def __init__(self, ink: Ink, picture: Picture) -> None:
        """Raises MalformedError where the picture cannot be judged by the rule at all."""
        self.ink, self.picture = ink, picture
        if ink.how == "indices" and not picture.indexed:
            raise MalformedError("the ink rule goes by indices, but the picture has red, green and blue")
        if ink.how in ("colours", "brighter", "darker") and picture.indexed and not picture.palette:
            raise MalformedError(
                "the ink rule goes by colours, but those of the picture's indices are not known"
            )
        self._classes: dict[Key, int] = {}

    def rectangle(self, x: int, y: int, width: int, height: int) -> Inked:
        """A rectangle within the picture."""
        block = self.picture.block(x, y, width, height)
        if self.ink.how == "differs":
            return self._differs(block)
        marks = (
            block.translate(self._table)
            if isinstance(block, bytes)
            else bytes(self._class(key) for key in block)
        )
        if _NEITHER in marks:
            return Inked(0, f"{_told(block[marks.index(_NEITHER)])} is neither ink nor paper")
        return Inked(_bits(marks))

    @cached_property
    def _table(self) -> bytes:
        return bytes(
            self._class(index) if not self.picture.palette or index < len(self.picture.palette) else _NEITHER
            for index in range(256)
        )

    def _class(self, key: Key) -> int:
        """Ink, paper or neither."""
        if key not in self._classes:
            self._classes[key] = self._judged(key)
        return self._classes[key]

    def _judged(self, key: Key) -> int:
        ink = self.ink
        if ink.how == "indices":
            is_ink, is_paper = key in ink.indices, key in ink.paper
        else:
            colour = self._colour(key)
            if ink.how in ("brighter", "darker"):
                luma = 299 * colour[0] + 587 * colour[1] + 114 * colour[2]
                limit = 1000 * ink.threshold
                return _INK if (luma > limit if ink.how == "brighter" else luma < limit) else _PAPER
            is_ink, is_paper = colour in ink.colours, colour in ink.paper_colours
        if is_ink:
            return _INK
        return _PAPER if is_paper or not (ink.paper or ink.paper_colours) else _NEITHER

    def _colour(self, key: Key) -> RGB:
        return self.picture.palette[key] if isinstance(key, int) else (key[0], key[1], key[2])

    def _differs(self, block: bytes | list[bytes]) -> Inked:
        keys: Sequence[Key] = block.translate(self._same) if isinstance(block, bytes) else block
        ranked = Counter(keys).most_common(3)
        if len(ranked) > 1 and ranked[0][1] == ranked[1][1]:
            return Inked(0, "two colours are equally common in it: which is paper is not known")
        ground = ranked[0][0]
        other = ranked[1][0] if len(ranked) == 2 else None
        return Inked(_bits(bytes(key != ground for key in keys)), "", ground, other, len(ranked) == 1)

    @cached_property
    def _same(self) -> bytes:
        """Indices of one colour to the first of them."""
        palette = self.picture.palette
        first: dict[RGB, int] = {}
        return bytes(
            first.setdefault(palette[index], index) if index < len(palette) else index for index in range(256)
        )


def _bits(marks: bytes) -> int:
    return int(marks.translate(_DIGITS), 2)


_DIGITS = bytes([ord("0"), ord("1"), *bytes(254)])


def _told(key: Key) -> str:
    return f"index {key}" if isinstance(key, int) else f"colour #{key.hex().upper()}"
