"""A trial of reading pictures: strings of digits are drawn, some pixels flipped, and read again.

    python -m readoff.readings.picture.trial GLYPHS.glyphs.toml [STRINGS [SEED]]

prints, for every size of the glyph set and every number of flipped pixels, how many strings were read right, held, and
read wrong. The last must be none. It has no other input and no clock: the same seed gives the same table.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from readoff.errors import ReadoffError
from readoff.readings.picture.drawing import BLACK_AND_WHITE, draw
from readoff.readings.picture.glyphs import GlyphSet, load_glyphs
from readoff.readings.picture.ink import Ink
from readoff.readings.picture.page import UNREAD, Region, Rule, read_page
from readoff.readings.picture.pixels import Picture

FLIPPED = (0, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32)
STRINGS, SEED = 10_000, 1
# Forms of the strings: digits with what stands among them.
_FORMS = ("########", "####.###", "##,###.#", "-####.##", "##:##.##", "     ###", "#.##E+##")


@dataclass(frozen=True)
class Tally:
    """What became of strings with so many pixels flipped; `wrong` are those read as something else, not held."""

    size: tuple[int, int]
    allow: int
    flipped: int
    right: int
    held: int
    wrong: int

    @property
    def strings(self) -> int:
        """How many were tried."""
        return self.right + self.held + self.wrong


def strings_of(count: int, chance: random.Random) -> list[str]:
    """Strings of eight characters in the forms above."""
    return [
        "".join(chance.choice("0123456789") if mark == "#" else mark for mark in chance.choice(_FORMS))
        for _ in range(count)
    ]


def tally(glyphs: GlyphSet, strings: Sequence[str], flipped: int, allow: int, chance: random.Random) -> Tally:
    """Draw each string, flip so many different pixels anywhere in it, read it, and count."""
    region = Region(0, 0, len(strings[0]), 1)
    rule = Rule(region, glyphs, Ink("indices", indices=frozenset({1})), allow, allow + 1)
    width, height = len(strings[0]) * glyphs.width, glyphs.height
    right = held = 0
    for string in strings:
        pixels = bytearray(draw([string], glyphs))
        for at in chance.sample(range(len(pixels)), flipped):
            pixels[at] ^= 1
        (row,) = read_page(Picture(width, height, bytes(pixels), BLACK_AND_WHITE), rule)
        held += UNREAD in row.text
        right += row.text == string
    return Tally((glyphs.width, glyphs.height), allow, flipped, right, held, len(strings) - right - held)


def trial(
    sizes: Sequence[GlyphSet], count: int = STRINGS, seed: int = SEED, flipped: Sequence[int] = FLIPPED
) -> Iterator[Tally]:
    """Every size, with none, one and two pixels of a cell allowed to be off, over every number of flipped pixels."""
    for glyphs in sizes:
        for allow in (0, 1, 2):
            chance = random.Random(seed)
            strings = strings_of(count, chance)
            for flips in flipped:
                yield tally(glyphs, strings, flips, allow, chance)


def main(arguments: Sequence[str]) -> int:
    """The command; the exit status is 1 where any string was read wrong, 2 where it cannot run."""
    try:
        path = Path(arguments[0])
        library = load_glyphs([(path.name, path.read_text("utf-8"))])
        numbers = [int(text) for text in arguments[1:]]
        count, seed = [*numbers, *(STRINGS, SEED)[len(numbers) :]]
    except (ReadoffError, OSError, ValueError, IndexError) as error:
        print(f"{type(error).__name__}: {error}\n\n{__doc__}", file=sys.stderr)
        return 2
    wrong = 0
    print(f"{count} strings of 8 characters for each line, seed {seed}")
    print("| cell | allowed off | flipped | right | held | wrong |\n| --- | --- | --- | --- | --- | --- |")
    for sizes in library.values():
        for each in trial(tuple(sizes.values()), count, seed):
            share = f"{each.held / each.strings:.2%}"
            cell = f"{each.size[0]}×{each.size[1]}"
            print(
                f"| {cell} | {each.allow} | {each.flipped} | {each.right} | {share} | {each.wrong} |",
                flush=True,
            )
            wrong += each.wrong
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
