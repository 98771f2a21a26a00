"""Picture schemas over files: read exactly in every format, held with the cell named where one pixel is wrong."""

import pytest

from readoff.readings import Capture, CaptureKind, as_shown, explain, load_schemas, read_run
from readoff.readings.marking import MarkKind, mark
from readoff.readings.picture.frames import frame_octets
from readoff.readings.picture.glyphs import GlyphSet
from support.drawn_pictures import (
    CHAMFER,
    FORMATS,
    GLYPH_FILE,
    PAPER,
    flipped,
    grid,
    load,
    png,
    schema_text,
    shifted,
)
from support.pictured_pace import FONT, LINES, ROWS, SCHEMAS, held, read, values
from support.reading_texts import schema_text as text_schema

# -- read exactly ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", FORMATS)
def test_a_number_is_read_from_every_format(name):
    octets = FORMATS[name](ROWS)
    readout = read(octets)
    (reading,) = readout.readings
    assert (as_shown(reading), reading.decimals, reading.line) == ("84.70 points/s", 2, "Pace: 84.70")
    assert (reading.begin, reading.end) == (0, len(octets))
    assert readout.holds == ()
    assert readout.recognised[0].recognised


@pytest.mark.parametrize("size", CHAMFER)
@pytest.mark.parametrize(
    "ink", ["indices = [15]", 'colours = ["#FFFFFF"], paper = ["#000000"]', "differs = true"]
)
def test_a_number_is_read_in_every_size_and_by_every_ink(size, ink):
    schemas = load(schema_text(cell=f"{size[0]}x{size[1]}", ink=ink))
    assert values(read(png(grid(LINES, CHAMFER[size], 20)), schemas)) == ["84.70 points/s"]


def test_a_region_within_a_larger_picture():
    wide = [[7] * 30 + row + [3] * 50 for row in ROWS]
    rows = [[2] * len(wide[0])] * 9 + wide + [[5] * len(wide[0])] * 20
    schemas = load(schema_text(region="x = 30, y = 9, columns = 20, rows = 2", ink="indices = [15]"))
    assert values(read(png(rows), schemas)) == ["84.70 points/s"]
    assert "reaches to pixel" in held(read(png(ROWS), schemas))


@pytest.mark.parametrize("colours", [b"", bytes([0, 0, 0]) + bytes([63] * 765)])
def test_a_raw_frame_is_read(colours):
    frame = bytearray(frame_octets("13h"))
    for y, row in enumerate(ROWS):
        frame[320 * y : 320 * y + len(row)] = bytes(row)
    schemas = load(
        schema_text(
            more='frame = "13h"\nskip = 7',
            ink="indices = [15]",
            recognise="all = ['^Mill ']\nfiles = ['*.RAW']",
        )
    )
    octets = b"header." + bytes(frame) + colours
    assert values(read(octets, schemas, name="SCREEN.RAW")) == ["84.70 points/s"]
    assert "has 64000 octets, not 63999" in held(read(octets[: 7 + 63999], schemas, name="SCREEN.RAW"))
    readout = read(octets, schemas, name="SCREEN.BMP")
    assert (readout.readings, readout.holds) == ((), ())


def test_derived_readings_blocks_and_tables_are_shared_with_text_schemas():
    metrics = """
[blocks.run]
begin = '^Run '
[metrics.pace]
pattern = '^Pace: (?P<number>\\S+)'
block = "run"
unit = "points/s"
better = "higher"
[metrics.double]
formula = "2 * pace"
unit = "points/s"
better = "higher"
"""
    schemas = load(schema_text(metrics, region="x = 0, y = 0, columns = 20, rows = 5"))
    lines = ["Mill 1.2", "Run 1", "Pace: 84.7", "Run 2", "Pace: 9.25"]
    rows = grid(lines, FONT, 20)
    assert values(read(png(rows), schemas)) == [
        "84.7 points/s",
        "9.25 points/s",
        "169.40 points/s",
        "18.500 points/s",
    ]
    readout = read(png(flipped(rows, (3, 20))), schemas)  # the rows of a block hang together
    assert readout.readings == ()
    assert "row 2, column 1 (pixels 0 to 7, 16 to 31)" in readout.holds[0].reason


def test_a_pixel_within_what_is_allowed_is_read():
    schemas = load(schema_text(more="allow = 1\napart = 3"))
    for place in ((50, 20), (49, 31), (55, 16), (3, 3)):
        assert values(read(png(flipped(ROWS, place)), schemas)) == ["84.70 points/s"]


# -- near misses are held --------------------------------------------------------------------------------------------

NUMBER = (50, 20)  # a pixel of the "8" of 84.70


def test_one_pixel_beyond_what_is_allowed_is_held():
    reason = held(read(png(flipped(ROWS, NUMBER))))
    assert reason == (
        "the cell in row 2, column 7 (pixels 48 to 55, 16 to 31) is no glyph of chamfer: "
        "'8' is nearest, 1 pixel off (0 allowed)"
    )
    schemas = load(schema_text(more="allow = 1\napart = 3"))
    assert "2 pixels off (1 allowed)" in held(read(png(flipped(ROWS, NUMBER, (51, 28))), schemas))


def test_any_single_wrong_pixel_of_the_number_is_held():
    for x in range(48, 88):
        for y in (16, 20, 27, 31):
            assert "row 2" in held(read(png(flipped(ROWS, (x, y)))))


def test_shifted_by_one_pixel_it_is_held():
    for rows in (shifted(ROWS), [[PAPER] * 160, *ROWS[:-1]]):
        assert held(read(png(rows))).startswith("not recognised for certain: the cell in row 1, column 1")


def test_another_font_is_held():
    lines = grid(LINES, CHAMFER[8, 14], 20) + [[PAPER] * 160] * 4
    assert "is no glyph of chamfer" in held(read(png(lines)))


def test_another_size_is_held():
    schemas = load(schema_text(more="size = '320x200'"))
    assert "has 160 × 32 pixels, the schema reads 320 × 200" in held(read(png(ROWS), schemas))
    doubled = [[index for index in row for _ in (0, 1)] for row in ROWS for _ in (0, 1)]
    assert "is no glyph of chamfer" in held(read(png(doubled)))


def test_two_glyphs_alike_are_held():
    # "M" and "N" part in 8 pixels of 8 × 16: it is exactly one of them, but the next must be 9 further off.
    assert values(read(png(ROWS), load(schema_text(more="apart = 8")))) == ["84.70 points/s"]
    assert "may be 'M' (0 pixels off) or 'N' (8 off)" in held(
        read(png(ROWS), load(schema_text(more="apart = 9")))
    )


@pytest.mark.parametrize("name", ["BMP 4", "PCX 8", "TIFF 8 LZW", "GIF", "PNG 8"])
def test_a_truncated_file_is_held_with_its_place(name):
    octets = FORMATS[name](ROWS)[:-40]
    assert f"octet {len(octets)}" in (reason := held(read(octets))) or f"{len(octets)} octets" in reason
    assert "cut short" in reason


def test_a_column_cut_off_is_held():
    schemas = load(schema_text(region="x = 0, y = 0, columns = 10, rows = 2"))
    assert "row 2, column 10 (pixels 72 to 79, 16 to 31) is the region's last" in held(
        read(png(ROWS), schemas)
    )


def test_two_schemas_that_recognise_it_are_held():
    assert "2 schemas recognise it" in held(read(png(ROWS), load(schema_text(), schema_text(name="other"))))


def test_a_decimal_comma_is_not_guessed():
    assert "comma" in held(read(png(grid(["Mill 1.2", "Pace: 84,70"], FONT, 20))))


# -- what needs an unread cell, and what does not --------------------------------------------------------------------

TWO = (
    '[metrics.pace]\npattern = \'^Pace: *(?P<number>[0-9.]+)\'\nunit = "points/s"\nbetter = "higher"\n{more}\n'
    '[metrics.sacks]\npattern = \'^Sacks: *(?P<number>[0-9]+)\'\nunit = "points"\nbetter = "higher"\noptional = true\n'
)


def page(*lines, wrong=()):
    rows = grid(lines, FONT, 20)
    for row, column in wrong:
        x, y = 8 * column, 16 * row
        rows = flipped(rows, (x, y + 3), (x + 5, y + 9))
    return png(rows)


def reader(more="", rows=4):
    return load(schema_text(TWO.format(more=more), region=f"x = 0, y = 0, columns = 20, rows = {rows}"))


def test_only_what_needs_the_cell_is_held():
    readout = read(page("Mill 1.2", "Pace: 84.7", "Sacks: 12", "", wrong=[(1, 7)]), reader())
    assert values(readout) == ["12 points"]
    assert [hold.metric for hold in readout.holds] == ["pace"]
    readout = read(page("Mill 1.2", "Pace: 84.7", "Sacks: 12", "notes", wrong=[(3, 1)]), reader())
    assert values(readout) == ["84.7 points/s", "12 points"]  # no character there makes a number of "notes"
    assert readout.holds == ()


@pytest.mark.parametrize("column", [0, 4, 5, 6, 9, 10])
def test_a_label_a_neighbour_and_a_blank_are_needed_too(column):
    readout = read(page("Mill 1.2", "Pace: 84.7", "Sacks: 12", "", wrong=[(1, column)]), reader())
    assert values(readout) == ["12 points"]
    assert [(hold.metric, f"row 2, column {column + 1} " in hold.reason) for hold in readout.holds] == [
        ("pace", True)
    ]


def test_what_is_far_from_the_number_is_not_needed():
    readout = read(page("Mill 1.2", "Pace: 84.7   fast", "", "", wrong=[(1, 15)]), reader())
    assert values(readout) == ["84.7 points/s"]


def test_what_may_stand_there_a_second_time_is_not_once():
    octets = page("Mill 1.2", "Pace: 84.7", "Pace: 99.1", "", wrong=[(2, 1)])
    assert "row 3, column 2" in held(read(octets, reader("once = true")))
    readout = read(octets, reader())
    assert values(readout) == ["84.7 points/s"]
    assert [(hold.metric, hold.occurrence) for hold in readout.holds] == [("pace", 1)]


def test_several_unread_cells_of_a_row_are_all_told():
    readout = read(page("Mill 1.2", "Pace: 84.7", "Sacks: 12", "", wrong=[(1, 0), (1, 1), (1, 7)]), reader())
    assert [(reading.metric, reading.occurrence) for reading in readout.readings] == [("sacks", 1)]
    assert [(hold.metric, hold.occurrence) for hold in readout.holds] == [("pace", 0), ("sacks", 0)]
    assert all("; 2 more cells of the row are not read" in hold.reason for hold in readout.holds)


def test_a_character_that_the_glyph_set_lacks_may_stand_there():
    lacking = GlyphSet("chamfer", 8, 16, tuple(each for each in FONT.glyphs if each[0] != "u")).text()
    metrics = (
        '[metrics.pace]\npattern = \'^Pace: (?P<number>[0-9]+) units\'\nunit = "points"\nbetter = "higher"\n'
    )
    text = schema_text(metrics, region="x = 0, y = 0, columns = 20, rows = 3", recognise="all = ['^Mill ']")
    schemas = load_schemas([(GLYPH_FILE.name, lacking), ("a.toml", text)])
    readout = read(page("Mill 1.2", "Pace: 84 units", "Pace: 99 units"), schemas)
    assert readout.readings == ()
    assert [hold.reason[12:28] for hold in readout.holds] == ["row 2, column 10", "row 3, column 10"]


def test_a_noisy_picture_is_held_without_much_trying():
    lines = ["Mill 1.2", "Pace: 84.7", *["notes"] * 30]
    spoilt = [(row, 2) for row in range(2, 32)]
    readout = read(page(*lines, wrong=spoilt[:16]), reader(rows=32))
    assert values(readout) == ["84.7 points/s"]
    readout = read(page(*lines, wrong=spoilt), reader("once = true", rows=32))
    assert readout.readings == ()
    assert "row 3, column 3" in readout.holds[0].reason


def test_recognition_that_needs_the_cell_is_held():
    reason = held(read(page("Mill 1.2", "Pace: 84.7", "", "", wrong=[(0, 2)]), reader()))
    assert reason.startswith("not recognised for certain: the cell in row 1, column 3 (pixels 16 to 23")
    barring = load(schema_text(recognise="all = ['^Mill ']\nnone = ['DEMO']"))
    assert values(read(page("Mill 1.2", "Pace: 84.7"), barring)) == ["84.7 points/s"]
    assert "row 1, column 10" in held(read(page("Mill 1.2 EEMO", "Pace: 84.7", wrong=[(0, 9)]), barring))
    readout = read(page("Mill 1.2 DEMO", "Pace: 84.7"), barring)
    assert (readout.readings, readout.holds) == ((), ())


def test_another_programs_picture_and_other_files_are_left_alone():
    for octets in (page("Hill 1.2", "Pace: 84.7"), b"Mill 1.2\r\nPace: 84.7\r\n", b"", b"BM", b"\n"):
        readout = read(octets)
        assert (readout.readings, readout.holds) == ((), ())
    readout = read_run([Capture(CaptureKind.CONSOLE, page(*LINES))], SCHEMAS)
    assert (readout.readings, readout.holds) == ((), ())
    readout = read(
        page("Mill 1.2", "Pace: 84.7", wrong=[(0, 1)]),
        load(schema_text(recognise="all=['^Mill ']\nfiles=['A.PNG']")),
    )
    assert readout.holds == ()


def test_text_schemas_read_their_files_beside_picture_schemas():
    schemas = [*SCHEMAS, *load(text_schema(name="printed"))]
    captures = [
        Capture(CaptureKind.FILE, b"Mill\r\nScore: 12\r\n", name="MILL.OUT"),
        Capture(CaptureKind.FILE, png(ROWS), name="SCREEN.PNG"),
    ]
    readout = read_run(captures, schemas)
    assert sorted((reading.metric, reading.capture) for reading in readout.readings) == [
        ("pace", 1),
        ("score", 0),
    ]
    assert readout.holds == ()


def test_why_a_picture_was_not_recognised_is_told():
    verdict = explain([Capture(CaptureKind.FILE, page("Hill", "Pace: 1"), name="A.BMP")], SCHEMAS)[0]
    assert not verdict.recognised
    assert "'^Mill ' was not found" in verdict.sentence()
    verdict = explain([Capture(CaptureKind.FILE, b"text", name="A.BMP")], SCHEMAS)[0]
    assert "the file is no picture" in verdict.sentence()


# -- marks -----------------------------------------------------------------------------------------------------------


def marks(octets, schemas):
    marked = mark(Capture(CaptureKind.FILE, octets, name="A.BMP"), schemas)
    assert all((each.begin, each.end) == (0, len(octets)) for each in marked.marks)
    return marked.lines, [(each.kind, each.row, each.text) for each in marked.marks]


def test_numbers_are_marked_in_the_rows_of_the_region():
    lines, found = marks(page("Mill 1.2", "Pace: 84.7", "Sacks: 12 of 40", ""), reader())
    assert lines == ("Mill 1.2", "Pace: 84.7", "Sacks: 12 of 40", "")
    assert found == [
        (MarkKind.UNREAD, 0, "1.2"),
        (MarkKind.READ, 1, "84.7"),
        (MarkKind.READ, 2, "12"),
        (MarkKind.UNREAD, 2, "40"),
    ]


def test_an_unread_cell_is_marked_as_held():
    octets = page("Mill 1.2", "Pace: 84.7", "Sacks: 12", "", wrong=[(1, 7)])
    marked = mark(Capture(CaptureKind.FILE, octets, name="A.BMP"), reader())
    assert [(each.kind, each.row, each.text) for each in marked.marks] == [
        (MarkKind.UNREAD, 0, "1.2"),
        (MarkKind.UNREAD, 1, "8"),
        (MarkKind.HELD, 1, "\ufffd"),
        (MarkKind.UNREAD, 1, "7"),
        (MarkKind.READ, 2, "12"),
    ]
    assert "row 2, column 8" in marked.marks[2].note


def test_a_picture_that_one_schema_does_not_know_is_shown_by_it():
    lines, found = marks(page("Hill 1.2", "Pace: 84.7"), SCHEMAS)
    assert lines == ("Hill 1.2", "Pace: 84.7")
    assert found == [(MarkKind.UNREAD, 0, "1.2"), (MarkKind.HELD, 1, "84.7")]
