"""Glyphs cut out of a sample picture: where the text that stands there is known, each cell is the glyph of a character.

A display adapter's own font comes to Readoff in this way, from the user's own machine.
"""

from __future__ import annotations

from collections.abc import Sequence

from readoff.errors import UsageError
from readoff.readings.picture.glyphs import MOST_GLYPHS, GlyphSet
from readoff.readings.picture.ink import Ink, Inking
from readoff.readings.picture.page import UNREAD, Region
from readoff.readings.picture.pixels import Picture, pixels


def cut_glyphs(
    picture: Picture,
    region: Region,
    cell: tuple[int, int],
    ink: Ink,
    lines: Sequence[str],
    *,
    name: str,
    allow: int = 0,
    apart: int = 1,
) -> GlyphSet:
    """The glyphs of the characters in `lines`, which stand in the region's rows, each as long as the region is wide.

    allow: pixels in which two samples of one character may differ (the first is kept). apart: in how many two
    characters must differ. Raises UsageError naming the cells where the text does not fit the region, a sample differs
    from an earlier one, a blank shows something, or two characters look alike; MalformedError where the picture cannot
    be judged by the ink rule.
    """
    if ink.how == "differs":
        raise UsageError(
            "glyphs are not cut by contrast alone", next_step="Say which indices or colours are ink."
        )
    width, height = cell
    _check_fits(picture, region, cell, lines)
    inking = Inking(ink, picture)
    found: dict[str, tuple[int, str]] = {" ": (0, "a blank")}
    for row, line in enumerate(lines):
        for column, character in enumerate(line.ljust(region.columns)):
            x, y = region.x + column * width, region.y + row * height
            place = (
                f"row {row + 1}, column {column + 1} (pixels {x} to {x + width - 1}, {y} to {y + height - 1})"
            )
            sample = inking.rectangle(x, y, width, height)
            if sample.flaw:
                raise UsageError(f"the cell is not clear: {sample.flaw}", where=place)
            _add(found, character, sample.bits, place, allow)
    glyphs = tuple((character, bits) for character, (bits, _) in found.items() if character != " ")
    _check_apart(found, apart)
    return GlyphSet(name, width, height, glyphs)


def _check_fits(picture: Picture, region: Region, cell: tuple[int, int], lines: Sequence[str]) -> None:
    """Raises UsageError where the region lies outside of the picture, or the lines outside of the region."""
    width, height = cell
    right, bottom = region.x + region.columns * width, region.y + region.rows * height
    if right > picture.width or bottom > picture.height:
        raise UsageError(
            f"the region reaches to pixel ({right - 1}, {bottom - 1}), "
            f"the picture has {picture.width} × {picture.height}"
        )
    if len(lines) != region.rows or any(len(line) > region.columns for line in lines):
        raise UsageError(
            f"the text does not fit {region.rows} rows of {region.columns} cells",
            next_step="It should have one line for each row, none longer than the row.",
        )


def _add(found: dict[str, tuple[int, str]], character: str, bits: int, place: str, allow: int) -> None:
    if character == UNREAD or len(found) >= MOST_GLYPHS:
        raise UsageError(
            f"{character!r} cannot be a glyph, or there are more than {MOST_GLYPHS}", where=place
        )
    first, where = found.setdefault(character, (bits, place))
    off = (first ^ bits).bit_count()
    allowed = 0 if character == " " else allow
    if off > allowed:
        raise UsageError(
            f"{character!r} differs in {pixels(off)} from {where} ({allowed} allowed)",
            where=place,
            next_step="Check the text, the region and the ink rule.",
        )


def _check_apart(found: dict[str, tuple[int, str]], apart: int) -> None:
    cells = list(found.items())
    for at, (character, (bits, place)) in enumerate(cells):
        for other, (others, where) in cells[:at]:
            off = (bits ^ others).bit_count()
            if off < max(apart, 1):
                raise UsageError(
                    f"{character!r} and {other!r} ({where}) differ in {pixels(off)}, {max(apart, 1)} are due",
                    where=place,
                    next_step="Ask for less, or leave one out if it never stands where you read.",
                )
