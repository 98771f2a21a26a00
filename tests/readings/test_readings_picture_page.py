"""Cells of a region to text: ink rules, edges, bars, and what an unread cell says."""

import pytest
from PIL import Image

from readoff.errors import MalformedError
from readoff.readings.picture.decoding import decode
from readoff.readings.picture.ink import Ink
from readoff.readings.picture.page import UNREAD, Region, Rule, read_page
from readoff.readings.picture.pixels import Picture
from support.drawn_pictures import CHAMFER, INK, PAPER, flipped, grid, image, png, saved, shifted

FONT = CHAMFER[8, 16]
BY_INDEX = Ink("indices", indices=frozenset({INK}))
WHITE, BLACK = (255, 255, 255), (0, 0, 0)


def picture_of(rows):
    return decode(png(rows))


def read(rows, ink=BY_INDEX, *, x=0, y=0, columns=0, lines=0, allow=0, glyphs=FONT):
    picture = rows if isinstance(rows, Picture) else picture_of(rows)
    columns = columns or picture.width // glyphs.width
    region = Region(x, y, columns, lines or picture.height // glyphs.height)
    return read_page(picture, Rule(region, glyphs, ink, allow, allow + 1))


def texts(rows, ink=BY_INDEX, **more):
    return [row.text for row in read(rows, ink, **more)]


@pytest.mark.parametrize(
    "ink",
    [
        BY_INDEX,
        Ink("indices", indices=frozenset({INK}), paper=frozenset({PAPER})),
        Ink("colours", colours=frozenset({WHITE})),
        Ink("colours", colours=frozenset({WHITE}), paper_colours=frozenset({BLACK})),
        Ink("brighter", threshold=254),
        Ink("brighter", threshold=0),
        Ink("differs"),
    ],
)
@pytest.mark.parametrize("size", CHAMFER)
def test_every_ink_rule_reads_the_text(ink, size):
    lines = ["Rate: 72.9 frames/s", "", "~!@#$%^&*()_+{}|<>?"]
    assert texts(grid(lines, CHAMFER[size]), ink, glyphs=CHAMFER[size]) == lines


def test_dark_on_light():
    rows = [[PAPER if index == INK else INK for index in row] for row in grid(["-40.5", "x"], FONT)]
    assert texts(rows, Ink("darker", threshold=1)) == ["-40.5", "x"]
    assert texts(rows, Ink("differs")) == ["-40.5", "x"]
    assert texts(rows, Ink("brighter", threshold=127)) == [UNREAD * 5, UNREAD * 5]


def test_brightness_is_luma():
    # ITU-R BT.601: 0.299 R + 0.587 G + 0.114 B; pure green 149.685, pure red 76.245, pure blue 29.07.
    for colour, luma in (((0, 255, 0), 149), ((255, 0, 0), 76), ((0, 0, 255), 29)):
        picture = image(grid(["5"], FONT)).convert("RGB")
        octets = picture.tobytes().replace(bytes(WHITE), bytes(colour))
        decoded = decode(saved(Image.frombytes("RGB", picture.size, octets), "BMP"))
        assert texts(decoded, Ink("brighter", threshold=luma)) == ["5"]
        assert texts(decoded, Ink("brighter", threshold=luma + 1)) == [""]


def test_one_wrong_pixel_is_told_with_its_cell():
    rows = flipped(grid(["Rate: 72.9", "Time: 10.5"], FONT), (50, 20))
    first, second = read(rows)
    assert (first.text, first.unread) == ("Rate: 72.9", ())
    assert second.text == "Time: �0.5"
    (cell,) = second.unread
    assert cell.column == 6
    assert cell.reason == (
        "the cell in row 2, column 7 (pixels 48 to 55, 16 to 31) is no glyph of chamfer: "
        "'1' is nearest, 1 pixel off (0 allowed)"
    )
    assert texts(rows, allow=1) == ["Rate: 72.9", "Time: 10.5"]
    assert texts(flipped(rows, (49, 28)), allow=1) == ["Rate: 72.9", "Time: �0.5"]


def test_a_near_tie_is_told_as_one():
    # Half the way from S to 5, which part 10 pixels: 5 off either.
    between = FONT.cell_of("S") ^ FONT.cell_of("5")
    places = [divmod(127 - at, 8)[::-1] for at in range(128) if between >> at & 1]
    rows = flipped(grid(["S"], FONT), *places[: len(places) // 2])
    (row,) = read(rows, allow=5)
    assert row.text == UNREAD
    assert "may be '5' (5 pixels off) or 'S' (5 off)" in row.unread[0].reason


def test_shifted_by_one_pixel_nothing_is_read():
    (row,) = read(shifted(grid(["12345"], FONT, 6)))
    assert not set(row.text) & set("0123456789")
    assert len(row.unread) >= 5


def test_another_font_is_not_read():
    (row,) = read(grid(["12345"], CHAMFER[8, 14], 6) + [[PAPER] * 48] * 2)
    assert not set(row.text) & set("0123456789")


def test_what_goes_on_beside_the_region_is_not_cut_off():
    rows = grid(["123456"], FONT)
    (row,) = read(rows, columns=4)
    assert row.text == "1234" + UNREAD
    assert "is the region's last, and something stands beside it" in row.unread[0].reason
    (row,) = read(rows, x=16, columns=4)
    assert row.text == UNREAD + "3456"
    assert "is the region's first, and something stands beside it" in row.unread[0].reason
    assert texts(grid(["12 456"], FONT), columns=3) == ["12"]
    assert texts(grid(["12 456"], FONT), x=24, columns=3) == ["456"]
    assert texts([row[:-20] for row in rows], columns=3) == ["123" + UNREAD]  # half a cell beside it


def test_a_colour_that_is_neither_ink_nor_paper_is_told():
    rows = grid(["12"], FONT)
    rows[3][9] = 7
    for ink in (
        Ink("indices", indices=frozenset({INK}), paper=frozenset({PAPER})),
        Ink("colours", colours=frozenset({WHITE}), paper_colours=frozenset({BLACK})),
    ):
        (row,) = read(rows, ink)
        assert row.text == "1" + UNREAD
        assert "index 7 is neither ink nor paper" in row.unread[0].reason
    decoded = decode(saved(image(rows).convert("RGB"), "BMP"))
    (row,) = read(decoded, Ink("colours", colours=frozenset({WHITE}), paper_colours=frozenset({BLACK})))
    assert "colour #777777 is neither" in row.unread[0].reason


def barred(rows, cell, colour):
    """The same with one cell filled."""
    return [
        [colour if cell * 8 <= x < cell * 8 + 8 else index for x, index in enumerate(row)] for row in rows
    ]


def test_a_bar_over_a_digit_is_no_blank():
    rows = grid(["123 5"], FONT)
    for colour in (INK, 7):
        (row,) = read(barred(rows, 2, colour), Ink("differs"))
        assert row.text == f"12{UNREAD} 5"
        assert "filled with a colour" in row.unread[0].reason
    assert texts(barred(rows, 2, PAPER), Ink("differs")) == ["12  5"]
    # A field of its own ground, with blanks in it.
    field = [[7 if index == PAPER else index for index in row] for row in grid([" 42 "], FONT)]
    both = [left + right for left, right in zip(grid(["Rate:"], FONT), field, strict=True)]
    assert texts(both, Ink("differs")) == ["Rate: 42"]
    assert texts([[7] * 40] * 16, Ink("differs")) == [""]


def test_equally_common_colours_are_no_paper():
    rows = [[INK] * 4 + [PAPER] * 4] * 16
    (row,) = read(rows, Ink("differs"))
    assert "two colours are equally common" in row.unread[0].reason


def test_two_indices_of_one_colour_are_one_ground():
    picture = picture_of(grid(["7"], FONT))
    pixels = bytes(1 if at % 3 == 0 and index == PAPER else index for at, index in enumerate(picture.pixels))
    doubled = Picture(8, 16, pixels, (BLACK, BLACK, *picture.palette[2:]))
    assert texts(doubled, Ink("differs")) == ["7"]


@pytest.mark.parametrize(
    ("picture", "ink", "told"),
    [
        (Picture(8, 16, bytes(128 * 3)), BY_INDEX, "goes by indices, but the picture has red"),
        (Picture(8, 16, bytes(128)), Ink("brighter", threshold=1), "are not known"),
        (Picture(7, 16, bytes(112)), BY_INDEX, r"reaches to pixel \(7, 15\), the picture has 7 × 16"),
        (Picture(8, 15, bytes(120)), BY_INDEX, "the picture has 8 × 15"),
    ],
)
def test_a_picture_that_does_not_fit_the_rule_is_refused(picture, ink, told):
    with pytest.raises(MalformedError, match=told):
        read_page(picture, Rule(Region(0, 0, 1, 1), FONT, ink))


def test_the_whole_picture_may_have_to_have_a_size():
    with pytest.raises(MalformedError, match="has 8 × 16 pixels, the schema reads 320 × 200"):
        read_page(Picture(8, 16, bytes(128)), Rule(Region(0, 0, 1, 1), FONT, BY_INDEX, size=(320, 200)))
