"""The letters of captured screens: the font as it is served is our glyphs, and a viewer shows them point for point."""

import io
import random

import pytest
from fontTools.ttLib import TTFont
from PIL import Image

from readoff.contract.cp437 import glyphs
from readoff.page.app import Look
from support import store_samples as samples
from support.page_bench import open_sample_store, served
from support.page_cells import COLOURS
from support.page_font import BELOW, CODES, EM, HEIGHTS, LOOK, WIDTH, cells

# Moves a screen by the part of a point that it is off the viewer's own; gives its size.
ON_WHOLE_POINTS = """each => { const { left, top } = each.getBoundingClientRect();
  each.style.position = 'relative';
  each.style.left = `${Math.ceil(left) - left}px`; each.style.top = `${Math.ceil(top) - top}px`;
  return [each.clientWidth, each.clientHeight]; }"""

FAR_APART = [paper << 4 | ink for paper in (0, 1, 4, 5) for ink in (10, 11, 14, 15)]
FAR_APART += [paper << 4 | ink for paper in (2, 3, 7) for ink in (0, 1)]


def cell_of(glyph, height):
    """A glyph of the font as a cell again: the points whose middles its rectangles cover."""
    point, cell = EM // height, 0
    coordinates = list(glyph.coordinates) if glyph.numberOfContours else []
    for corner in range(0, len(coordinates), 4):
        left, low = map(min, zip(*coordinates[corner : corner + 4], strict=True))
        right, high = map(max, zip(*coordinates[corner : corner + 4], strict=True))
        for y in range(height):
            middle = EM - BELOW - y * point - point // 2
            for x in range(WIDTH):
                if left < x * point + point // 2 < right and low < middle < high:
                    cell |= 1 << (WIDTH * height - 1 - y * WIDTH - x)
    return cell


@pytest.mark.parametrize("height", HEIGHTS)
def test_the_font_is_the_glyphs_as_they_are(height):
    """The file is as tests/support/page_font.py would make it now, whatever writes the tables around the outlines."""
    font = TTFont(LOOK / f"chamfer{height}.ttf")
    names, drawn = font.getBestCmap(), cells(height)
    assert set(names) == set(map(ord, drawn))
    assert {character: cell_of(font["glyf"][names[ord(character)]], height) for character in drawn} == drawn
    assert {advance for advance, _ in font["hmtx"].metrics.values()} == {WIDTH * EM // height}


@pytest.mark.parametrize("height", HEIGHTS)
def test_every_code_has_a_glyph_of_its_own(height):
    drawn = cells(height)
    assert len(drawn) == len(set(CODES)) == 255  # 00h and 20h are the same blank
    assert len({*drawn.values()}) == 254  # and FFh looks like it
    assert {character for character, cell in drawn.items() if not cell} == {" ", "\xa0"}


@pytest.mark.parametrize("height", HEIGHTS)
@pytest.mark.parametrize(("left", "right"), ["══", "─┤", "╠╣", "╞═", "├─", "█▌", "╬╣", "┼╢"])
def test_frames_meet_at_the_edges_of_their_cells(height, left, right):
    drawn = cells(height)
    for row in range(height):
        octets = [drawn[each] >> (WIDTH * (height - 1 - row)) & 0xFF for each in (left, right)]
        assert (octets[0] & 1) == (octets[1] >> 7)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("columns", "rows", "width"), [(80, 25, 8), (80, 43, 8), (80, 50, 8), (40, 25, 16)])
def test_a_viewer_shows_the_glyphs_point_for_point(tmp_path, browse, columns, rows, width, scheme):
    """Each point of the picture that the browser makes is nearer to the colour that it must have than to the other one.

    Nearer, since frames overhang their cells by a part of a point; so the two are far apart. Codes and colours by
    chance, each code at least once.
    """
    chance = random.Random(columns * rows)
    codes = bytes([*range(256)] + [chance.randrange(256) for _ in range(columns * rows - 256)])
    attributes = bytes(chance.choice(FAR_APART) for _ in codes)
    octets = bytes(octet for pair in zip(codes, attributes, strict=True) for octet in pair)
    path = tmp_path / "bench.db"
    with open_sample_store(path) as store:
        screen = samples.screen([], columns=columns, rows=rows) | {"cells": octets}
        store.take(samples.run_record(screens=(screen,)), "line")
    height = 8 if rows > 30 else 16
    tall = height * width // 8
    with served(Look(path)) as server:
        page = browse(viewport={"width": 900, "height": 900}, color_scheme=scheme)
        page.goto(server.link + "runs/1")
        page.evaluate("document.fonts.ready.then(() => document.fonts.size)")
        shown = page.locator("pre.screen")
        size = shown.evaluate(ON_WHOLE_POINTS)
        assert size == [columns * width, rows * tall]
        picture = Image.open(io.BytesIO(shown.screenshot())).convert("RGB")
    drawn = cells(height)
    for at, (code, attribute) in enumerate(zip(codes, attributes, strict=True)):
        ink, paper = COLOURS[attribute & 15], COLOURS[attribute >> 4]
        left, top = at % columns * width, at // columns * tall
        cell = picture.crop((left, top, left + width, top + tall)).resize((8, height), Image.Resampling.BOX)
        bits = "".join("1" if _apart(each, ink) < _apart(each, paper) else "0" for each in _points(cell))
        assert int(bits, 2) == drawn[glyphs(bytes([code]))], f"{code:02X}h at {at}"


def _points(picture):
    octets = picture.tobytes()
    return zip(octets[::3], octets[1::3], octets[2::3], strict=True)


def _apart(one, other):
    return sum((a - b) ** 2 for a, b in zip(one, other, strict=True))
