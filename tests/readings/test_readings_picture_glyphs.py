"""Glyph sets: the shipped one, matching that never takes one glyph for another, and cutting glyphs out of a sample."""

import string
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.errors import MalformedError, SchemaError, UsageError
from readoff.readings.picture.cutting import cut_glyphs
from readoff.readings.picture.decoding import decode
from readoff.readings.picture.glyphs import GlyphSet, load_glyphs
from readoff.readings.picture.ink import Ink
from readoff.readings.picture.page import Region
from readoff.readings.picture.pixels import Picture
from support.drawn_pictures import CHAMFER, GLYPH_TEXT, flipped, grid, png

PRINTABLE = [chr(code) for code in range(0x20, 0x7F)]
WHITE = Ink("brighter", threshold=127)


@pytest.mark.parametrize("size", [(8, 8), (8, 14), (8, 16)])
def test_the_shipped_glyphs_are_all_of_ascii_and_far_apart(size):
    glyphs = CHAMFER[size]
    assert sorted(glyphs.characters) == PRINTABLE
    assert glyphs.closest()[0] >= 4
    assert glyphs.closest(string.digits)[0] == {8: 8, 14: 15, 16: 16}[size[1]]
    assert (glyphs.width, glyphs.height) == size


@pytest.mark.parametrize("size", [(8, 8), (8, 14), (8, 16)])
def test_every_glyph_is_itself(size):
    for character in PRINTABLE:
        cell = CHAMFER[size].cell_of(character)
        assert CHAMFER[size].match(cell).character == character
        assert CHAMFER[size].match(cell).best == (character, 0)


@pytest.mark.parametrize("allow", [0, 1, 2])
def test_no_glyph_becomes_another_by_fewer_pixels_than_part_them(allow):
    """Along the straight way from one glyph to another, the worst errors, from digits to every character."""
    glyphs = CHAMFER[8, 8]
    cells = {character: glyphs.cell_of(character) for character in PRINTABLE}
    safe = {
        one: min((cells[one] ^ cells[two]).bit_count() for two in PRINTABLE if two != one) - allow
        for one in PRINTABLE
    }
    taken = set()
    for one, two in product("0123456789.-", PRINTABLE):
        cell, between = cells[one], cells[one] ^ cells[two]
        for wrong, bit in enumerate([1 << at for at in range(64) if between >> at & 1], 1):
            cell ^= bit
            match = glyphs.match(cell, allow, allow + 1).character
            if wrong < safe[one]:
                assert match in ("", one)
            taken.add((one, match))
    assert ("0", "8") in taken  # as many wrong pixels as part them do make one of the other


@settings(max_examples=200)
@given(st.sampled_from(PRINTABLE), st.sets(st.integers(0, 63), max_size=8), st.integers(0, 3))
def test_a_match_is_the_only_one_within_what_is_allowed(character, places, allow):
    glyphs = CHAMFER[8, 8]
    cell = glyphs.cell_of(character)
    for place in places:
        cell ^= 1 << place
    off = {each: (glyphs.cell_of(each) ^ cell).bit_count() for each in PRINTABLE}
    near = [each for each in PRINTABLE if off[each] <= allow]
    match = glyphs.match(cell, allow, allow + 1)
    if match.character:
        assert near == [match.character]
        assert all(off[each] >= off[match.character] + allow + 1 for each in PRINTABLE if each not in near)
    if len(places) <= allow:
        assert match.character in ("", character)


def test_a_near_tie_is_no_match():
    glyphs = GlyphSet("two", 4, 2, (("a", 0b11110000), ("b", 0b11001100)))
    assert glyphs.match(0b11111000, 1, 2).character == "a"
    assert glyphs.match(0b11011000, 2, 1).character == ""  # two off either
    assert glyphs.match(0b11110000, 0, 5).character == ""  # b is 4 pixels further off only
    assert glyphs.match(0).character == " "


def test_one_character_may_have_several_glyphs():
    glyphs = GlyphSet("two", 4, 1, (("a", 0b1111), ("a", 0b1110), ("b", 0b1000)))
    assert glyphs.match(0b1110).character == glyphs.match(0b1111).character == "a"
    assert glyphs.match(0b1110, 0, 3).next_best == ("b", 2)


def test_two_characters_that_look_the_same_are_refused():
    with pytest.raises(SchemaError, match="'a' and 'b' look the same"):
        GlyphSet("two", 2, 1, (("a", 1), ("b", 1)))
    with pytest.raises(SchemaError, match="look the same"):
        GlyphSet("blank", 2, 1, (("a", 0),))
    same = 'glyphs = "t"\ntitle = "t"\n[[sheets]]\ncharacters = "ab"\nrows = ["X. X.", "XX XX"]\n'
    with pytest.raises(SchemaError, match=r"t.glyphs.toml, sheets: in 2 × 2 'a' and 'b' look the same"):
        load_glyphs([("t.glyphs.toml", same)])


def test_the_file_of_a_set_gives_the_set():
    glyphs = CHAMFER[8, 14]
    (again,) = load_glyphs([("x", glyphs.text())])["chamfer"].values()
    assert again.glyphs == glyphs.glyphs


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ("glyphs", "not TOML"),
        ('glyphs = "x"', "title: missing"),
        ('glyphs = "x"\ntitle = "x"\n', "sheets: glyphs of several sizes or none"),
        (GLYPH_TEXT.replace('"XX.X.XX. XXXXX', '"XX.X.XX XXXXX', 1), "rows do not fit the characters"),
        (GLYPH_TEXT.replace("XX.X.XX.", "XX.O.XX.", 1), "rows do not fit the characters"),
        (GLYPH_TEXT.replace("8 = [0,", "9 = [0,", 1), "heights.9: rows that do not fit"),
        (GLYPH_TEXT.replace("8 = [0,", "8 = [8,", 1), "heights.8: rows that do not fit"),
        (GLYPH_TEXT.replace("8 = [0,", "8 = [true,", 1), "heights.8: rows that do not fit"),
        (GLYPH_TEXT.replace("[heights]", "[height]", 1), "'height' is not known; right would be 'heights'"),
        ("x" * 200_001, "at most 200000"),
    ],
)
def test_a_wrong_file_is_told_with_its_place(wrong, told):
    with pytest.raises(SchemaError) as error:
        load_glyphs([("f.glyphs.toml", wrong)])
    assert told in str(error.value)
    assert all(fault.startswith("f.glyphs.toml") for fault in error.value.faults)


def test_a_name_is_for_one_set():
    with pytest.raises(SchemaError, match="'chamfer' is taken"):
        load_glyphs([("a", GLYPH_TEXT), ("b", GLYPH_TEXT)])


# -- cutting ---------------------------------------------------------------------------------------------------------

LINES = ["0123456789", "SPEED .,-:", "0SPEED 419"]
REGION = Region(0, 0, 10, 3)


def cut(picture, region=REGION, ink=WHITE, lines=LINES, **more):
    return cut_glyphs(picture, region, (8, 14), ink, lines, name="mine", **more)


def test_glyphs_cut_from_a_sample_are_those_that_were_drawn():
    found = cut(decode(png(grid(LINES, CHAMFER[8, 14]))))
    assert found.characters[0] == " "
    assert set(found.characters) == set("".join(LINES))
    for character in found.characters:
        assert found.cell_of(character) == CHAMFER[8, 14].cell_of(character)
    (again,) = load_glyphs([("mine.glyphs.toml", found.text())])["mine"].values()
    assert again.glyphs == found.glyphs


def test_samples_that_differ_are_refused_beyond_what_is_allowed():
    rows = grid(LINES, CHAMFER[8, 14])
    picture = decode(png(flipped(rows, (3, 2 * 14 + 5))))  # in the second "0"
    with pytest.raises(UsageError) as told:
        cut(picture)
    assert told.value.where == "row 3, column 1 (pixels 0 to 7, 28 to 41)"
    assert (
        "'0' differs in 1 pixel from row 1, column 1 (pixels 0 to 7, 0 to 13) (0 allowed)" in told.value.what
    )
    assert cut(picture, allow=1).cell_of("0") == CHAMFER[8, 14].cell_of("0")


def test_a_wrong_text_is_refused():
    picture = decode(png(grid(LINES, CHAMFER[8, 14])))
    with pytest.raises(UsageError, match="'1' differs in"):
        cut(picture, lines=["0123456789", "SPEED .,-:", "1SPEED 419"])
    with pytest.raises(UsageError, match=r"' ' differs in .* pixels from a blank"):
        cut(picture, lines=["012345678 ", "SPEED .,-:", "0SPEED 41 "], allow=3)
    with pytest.raises(UsageError, match="'o' and '0'"):
        cut(picture, lines=["0123456789", "SPEED .,-:", "oSPEED 419"])
    for lines in (LINES[:2], [*LINES, ""], ["0123456789X", *LINES[1:]]):
        with pytest.raises(UsageError, match="the text does not fit"):
            cut(picture, lines=lines)
    with pytest.raises(UsageError, match=r"reaches to pixel \(80, 41\)"):
        cut(picture, Region(1, 0, 10, 3))


def test_glyphs_too_alike_are_refused():
    rows = grid(["OQ"], CHAMFER[8, 14])
    assert set(cut(decode(png(rows)), Region(0, 0, 2, 1), lines=["OQ"]).characters) == set(" OQ")
    with pytest.raises(UsageError, match=r"'Q' and 'O' .* differ in [0-9]+ pixels, 20 are due"):
        cut(decode(png(rows)), Region(0, 0, 2, 1), lines=["OQ"], apart=20)


def test_a_cell_that_is_not_clear_is_refused():
    ink = Ink("colours", colours=frozenset({(255, 255, 255)}), paper_colours=frozenset({(0, 0, 0)}))
    rows = grid(LINES, CHAMFER[8, 14])
    rows[0][0] = 7
    with pytest.raises(UsageError, match="neither ink nor paper"):
        cut(decode(png(rows)), ink=ink)
    with pytest.raises(MalformedError, match="goes by indices"):
        cut(Picture(1, 1, b"\0\0\0"), Region(0, 0, 0, 0), Ink("indices"), [])
    with pytest.raises(UsageError, match="not cut by contrast alone"):
        cut(decode(png(rows)), ink=Ink("differs"))


def test_by_contrast_heavy_glyphs_are_turned_over():
    glyphs = GlyphSet("three", 2, 2, (("light", 0b0001), ("heavy", 0b1101), ("half", 0b0011)))
    assert glyphs.by_contrast.glyphs == (("light", 0b0001), ("heavy", 0b0010))
    assert glyphs.by_contrast.heavy == {"heavy"}
    with pytest.raises(SchemaError, match="' ' and 'full' look the same"):
        _ = GlyphSet("block", 2, 2, (("full", 0b1111),)).by_contrast
