"""Screen schemas: numbers by row and column, by label, by colour, on screens of every usual size."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.errors import SchemaError
from readoff.readings import Capture, CaptureKind, explain, load_schemas, read_run
from readoff.readings.recogniser import Recogniser
from readoff.readings.samples import as_digits, check_samples
from readoff.readings.screen.cells import COLOURS, colour_named
from readoff.readings.view import View
from support.reading_texts import console, load

SIZES = [(80, 25), (80, 43), (80, 50), (40, 25), (40, 50)]


def picture(*placed, columns=80, rows=25):
    """A screen on which (row, column, text[, attribute]) are written; rows and columns from 1."""
    cells = bytearray(b" \x07" * columns * rows)
    for row, column, text, *attribute in placed:
        at = 2 * ((row - 1) * columns + column - 1)
        octets = text.encode("cp437")
        cells[at : at + 2 * len(octets) : 2] = octets
        if attribute:
            cells[at + 1 : at + 2 * len(octets) : 2] = bytes(attribute) * len(octets)
    return Capture(CaptureKind.SCREEN, bytes(cells), columns)


def schema(*metrics, recognise='texts = [{ text = "Weir 2.0", row = 1, column = 5 }]'):
    tables = "".join(
        f'[metrics.m{n}]\nunit = "points"\nbetter = "higher"\n{keys}\n' for n, keys in enumerate(metrics)
    )
    return f'schema = "weir"\nkind = "screen"\ntitle = "A weir"\nheadline = ["m0"]\n[recognise]\n{recognise}\n{tables}'


def read(keys, *placed, columns=80, rows=25, **kwargs):
    capture = picture((1, 5, "Weir 2.0"), *placed, columns=columns, rows=rows)
    readout = read_run([capture], load(schema(keys, **kwargs)))
    for reading in readout.readings:
        text = capture.octets[reading.begin : reading.end : 2].decode("cp437")
        assert as_digits(reading).replace("-", "") in text.replace(",", "")
    return [as_digits(reading) for reading in readout.readings], [hold.reason for hold in readout.holds]


PLACE = "row = 3\ncolumn = 20"
FIELD = "row = 3\ncolumn = 20\nwidth = 8"
LABEL = 'label = "Speed"'
BELOW = 'label = "Speed"\nside = "below"'
COLOUR = 'colour = "yellow on blue"'


@pytest.mark.parametrize(("columns", "rows"), SIZES)
@pytest.mark.parametrize(
    ("keys", "placed", "number"),
    [
        (PLACE, [(3, 20, "12.50")], "12.50"),
        (PLACE, [(3, 10, "Speed:"), (3, 20, "1,234.5 KB")], "1234.5"),
        (PLACE, [(3, 19, "│12.50│")], "12.50"),
        (FIELD, [(3, 22, "12.50")], "12.50"),
        (FIELD, [(3, 20, "12345.75")], "12345.75"),
        (LABEL, [(7, 3, "Speed 12.50")], "12.50"),
        (LABEL, [(7, 3, "Speed: 12.50")], "12.50"),
        (LABEL, [(7, 3, "Speed ....... 12.50")], "12.50"),
        (LABEL, [(7, 3, "Speed = -3")], "-3"),
        (LABEL, [(7, 3, "│Speed              12.50│")], "12.50"),
        (LABEL, [(7, 3, "Speed 12.50"), (9, 3, "Speeds 1 Topspeed 2 speed 3")], "12.50"),
        (BELOW, [(7, 8, "Speed"), (8, 9, "12.50")], "12.50"),
        (BELOW, [(7, 8, "Speed"), (8, 4, "1012.50")], "1012.50"),
        (BELOW, [(7, 8, "Speed  Loss"), (8, 8, "═════  ════"), (9, 8, "12.50  9.25")], "12.50"),
        (BELOW + "\nrow = 7", [(4, 8, "Speed"), (7, 8, "Speed"), (8, 8, "12.50")], "12.50"),
        (COLOUR, [(7, 8, "1 2 3"), (8, 3, "12.50", 0x1E)], "12.50"),
        (COLOUR, [(8, 3, "  12.50  ", 0x1E)], "12.50"),
        ("colour = 0x70\nrow = 8", [(6, 3, "99", 0x70), (8, 3, "12.50", 0x70)], "12.50"),
        (LABEL + "\n" + COLOUR, [(7, 3, "Speed 12.50", 0x1E)], "12.50"),
        (PLACE + "\n" + COLOUR, [(3, 20, "12.50", 0x1E)], "12.50"),
    ],
)
def test_numbers_that_are_read(keys, placed, number, columns, rows):
    assert read(keys, *placed, columns=columns, rows=rows) == ([number], [])


@pytest.mark.parametrize(
    ("keys", "placed", "told"),
    [
        # Off by one cell, in each direction; gone.
        (PLACE, [(3, 21, "12.50")], "there is nothing at row 3, column 20"),
        (PLACE, [(3, 19, "12.50")], "begins before it"),
        (PLACE, [(4, 20, "12.50")], "there is nothing at row 3, column 20"),
        # Wider than its field.
        (FIELD, [(3, 20, "123456.75")], "the number goes on"),
        (FIELD, [(3, 19, "123456.7")], "what stands before belongs to it"),
        (FIELD, [(3, 19, "-12345.7")], "what stands before belongs to it"),
        (FIELD, [(3, 20, "12.50 KB")], "not a number"),
        ("row = 30\ncolumn = 20", [(3, 20, "12.50")], "outside of 80 columns and 25 rows"),
        # The label: twice, renamed, alone, with a word after it.
        (LABEL, [(7, 3, "Speed 12.50"), (9, 3, "Speed 13.50")], "stands there 2 times"),
        (LABEL, [(7, 3, "Speeds 12.50")], "the label 'Speed' is not there"),
        (LABEL, [(7, 3, "Speed")], "there is nothing beside 'Speed'"),
        (LABEL, [(7, 3, "Speed now 12.50")], "'now' is not a number"),
        (LABEL, [(7, 3, "Speed <12.50")], "bound"),
        (LABEL, [(7, 3, "Speed ********")], "did not fit"),
        (LABEL, [(7, 3, "Speed 12,50")], "decimal comma"),
        # Below: nothing, two, beside it only.
        (BELOW, [(7, 8, "Speed"), (8, 14, "12.50")], "there is nothing below"),
        (BELOW, [(7, 8, "Speed"), (8, 8, "12 50")], "2 things stand below"),
        (BELOW, [(7, 8, "Speed"), (9, 8, "12.50")], "there is nothing below"),
        (BELOW, [(25, 8, "Speed")], "there is nothing below"),
        # The colour: another, two of them, half of the number, cut into a number of another colour.
        (COLOUR, [(8, 3, "12.50", 0x1F)], "nothing stands there in yellow on blue"),
        (COLOUR, [(8, 3, "12.50", 0x1E), (9, 3, "13.50", 0x1E)], "2 things stand there"),
        (COLOUR, [(8, 3, "12", 0x1E), (8, 5, ".50", 0x1F)], "the number goes on"),
        (LABEL + "\n" + COLOUR, [(7, 3, "Speed 12.50")], "is light grey on black, not yellow on blue"),
        (PLACE + "\n" + COLOUR, [(3, 20, "12.", 0x1E), (3, 23, "50", 0x9E)], "is yellow on light blue, not"),
    ],
)
def test_near_misses(keys, placed, told):
    got, (reason,) = read(keys, *placed)
    assert got == []
    assert told in reason


def test_an_optional_label_may_be_absent():
    assert read(LABEL + "\noptional = true") == ([], [])
    assert read(COLOUR + "\noptional = true") == ([], [])
    assert read(LABEL + "\noptional = true", (7, 3, "Speed"))[1] == ["there is nothing beside 'Speed'"]


@pytest.mark.parametrize(
    ("recognise", "placed", "columns", "rows", "told"),
    [
        ('texts = [{ text = "Weir", row = 2 }]', [], 80, 25, "'Weir' does not stand there, row 2"),
        (
            'texts = [{ text = "Weir", row = 1, column = 6 }]',
            [],
            80,
            25,
            "does not stand there, row 1, column 6",
        ),
        ('texts = [{ text = "weir" }]', [], 80, 25, "'weir' does not stand there"),
        ('texts = [{ text = "Weir", column = 4 }]', [], 80, 25, "does not stand there, column 4"),
        (
            'sizes = ["80x25"]\ntexts = [{ text = "Weir" }]',
            [],
            80,
            43,
            "the screen is 80x43, the schema reads 80x25",
        ),
        ('sizes = ["80x25", "80x50"]\ntexts = [{ text = "Weir" }]', [], 40, 25, "the screen is 40x25"),
        ('all = ["^Weir"]', [], 80, 25, "'^Weir' was not found"),
        ('none = ["Stopped"]\ntexts = [{ text = "Weir" }]', [(9, 9, "Stopped")], 80, 25, "must not be there"),
    ],
)
def test_screens_that_are_not_recognised(recognise, placed, columns, rows, told):
    schemas = load(schema("row = 3\ncolumn = 20", recognise=recognise))
    capture = picture((1, 5, "Weir 2.0"), (3, 20, "12.50"), *placed, columns=columns, rows=rows)
    readout = read_run([capture], schemas)
    assert (readout.readings, readout.holds) == ((), ())
    (verdict,) = readout.recognised
    assert told in verdict.sentence()


def test_every_condition_is_explained():
    schemas = load(
        schema(PLACE, recognise='sizes = ["80x25"]\ntexts = [{ text = "Weir" }, { text = "Mill" }]')
    )
    (verdict,) = explain([picture((1, 5, "Weir 2.0"))], schemas)
    assert [(condition.met, condition.text) for condition in verdict.conditions] == [
        (True, "the capture is of the kind screen, the schema reads screen"),
        (True, "the screen is 80x25, the schema reads 80x25"),
        (True, "'Weir' stands in row 1, column 5"),
        (False, "'Mill' does not stand there"),
    ]


def test_a_console_is_no_screen():
    readout = read_run([console(b"    Weir 2.0\r\n\r\n                   12.50")], load(schema(PLACE)))
    assert readout.readings == readout.holds == ()


@pytest.mark.parametrize("cut", [1, 2, 159, 161])
def test_half_a_screen_is_not_recognised(cut):
    whole = picture((1, 5, "Weir 2.0"), (3, 20, "12.50"))
    part = Capture(whole.kind, whole.octets[:-cut], 80)
    readout = read_run([part], load(schema(PLACE)))
    assert not readout.readings
    assert "are not whole rows" in readout.recognised[0].sentence()


def test_a_screen_that_two_schemas_know_is_held():
    text = schema(PLACE)
    schemas = load(text, text.replace('schema = "weir"', 'schema = "other"'))
    readout = read_run([picture((1, 5, "Weir 2.0"), (3, 20, "12.50"))], schemas)
    assert not readout.readings
    assert "2 schemas recognise it: weir, other" in readout.holds[0].reason


@settings(deadline=None, max_examples=60)
@given(
    st.binary(max_size=400),
    st.sampled_from([0, 1, 20, 40]),
    st.sampled_from([PLACE, FIELD, LABEL, BELOW, COLOUR]),
)
def test_any_octets_have_an_answer(octets, columns, keys):
    schemas = load(schema(keys, recognise='texts = [{ text = "W" }]'))
    capture = Capture(CaptureKind.SCREEN, b"W\x07" + octets, columns)
    readout = read_run([capture], schemas)
    assert len(readout.readings) + len(readout.holds) <= 1


@given(st.integers(0, 255))
def test_every_attribute_has_a_name_that_means_it(attribute):
    text = schema(f'colour = "{colour_named(attribute)}"\nlabel = "Speed"')
    (made,) = load(text)
    assert made.way.places["m0"].attribute == attribute
    assert set(colour_named(attribute).split(" on ")) <= set(COLOURS)


def test_a_screen_of_full_rows_is_found_among_many():
    """Rows that run together are one line of text; the texts of a screen schema are found in it all the same."""
    schemas = [*load(schema(PLACE)), *load(schema(PLACE, recognise='texts = [{ text = "Mill" }]'))]
    full = [(row, 1, "x" * 80) for row in range(2, 25)]
    capture = picture(*full, (1, 5, "Weir 2.0"), (1, 80, "x"), (3, 19, " 12.50 "))
    claims = Recogniser(schemas).claims(View(capture))
    assert claims == [schemas[0]]


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("row = 3", "either row and column, or label, or colour alone"),
        ("row = 3\ncolumn = 4\nlabel = 'x'", "either row and column, or label, or colour alone"),
        ("column = 4", "m0.row: missing"),
        ("row = 0\ncolumn = 4", "a number from 1"),
        ("row = 3\ncolumn = -1", "a whole number from 0 to 255"),
        ("row = 3\ncolumn = true", "a whole number from 0 to 255"),
        ("label = 'x'\nside = 'above'", "'above' is not known"),
        ("colour = 'pink on blue'", "yellow on blue"),
        ("colour = 256", "yellow on blue"),
        ("label = 'x'\npattern = 'x'", "'pattern' is not known"),
    ],
)
def test_faults_of_places(keys, told):
    with pytest.raises(SchemaError) as error:
        load(schema(keys))
    assert any(told in fault for fault in error.value.faults)


@pytest.mark.parametrize(
    ("recognise", "told"),
    [
        ("", "nothing tells this screen from others"),
        ('texts = [{ text = " x" }]', "no blanks at the ends"),
        ('texts = [{ texts = "x" }]', "'texts' is not known; right would be 'text'"),
        ('texts = [{ text = "x", row = 0 }]', "a number from 1"),
        ('sizes = ["80*25"]\ntexts = [{ text = "x" }]', '"80x25": columns, x, rows'),
        ('captures = ["console"]\ntexts = [{ text = "x" }]', "'console' is not known"),
        ('files = ["*.OUT"]\ntexts = [{ text = "x" }]', "the schema reads no files"),
    ],
)
def test_faults_of_recognition(recognise, told):
    with pytest.raises(SchemaError) as error:
        load(schema(PLACE, recognise=recognise))
    assert any(told in fault for fault in error.value.faults)


def test_samples_may_have_rows_and_colours():
    sample = """
[[samples]]
capture = "screen"
columns = 40
rows = 25
text = '''
    Weir 2.0
x 12.50
'''
colours = [{ row = 2, column = 3, width = 5, colour = "yellow on blue" }]
readings = { m0 = "12.50" }
"""
    (made,) = load_schemas([("weir.toml", schema(COLOUR) + sample)])
    assert len(made.samples[0].capture.octets) == 2000
    assert check_samples(made) == ()
    for wrong in ("column = 37", "column = 0", "row = 26"):
        key = wrong.split()[0]
        text = sample.replace(f"{key} = {2 if key == 'row' else 3}", wrong)
        with pytest.raises(SchemaError, match="no part of the screen"):
            load(schema(COLOUR) + text)


@pytest.mark.parametrize(
    ("keys", "placed", "got", "told"),
    [
        (LABEL, [(7, 3, "Speed: 12.50 ms")], ["0.01250"], ""),
        (LABEL, [(7, 3, "Speed: 12.50  sec │")], ["12.50"], ""),
        (BELOW, [(7, 8, "Speed"), (8, 8, "2 min")], ["120"], ""),
        (FIELD, [(3, 20, "12.5 ms")], ["0.0125"], ""),
        (COLOUR, [(8, 3, "12.50 ms", 0x1E)], ["0.01250"], ""),
        (COLOUR, [(8, 3, "12.50", 0x1E), (8, 9, "ms")], ["0.01250"], ""),
        (LABEL, [(7, 3, "Speed: 12.50")], [], "no unit stands beside"),
        (LABEL, [(7, 3, "Speed: 12.50   ms")], [], "no unit stands beside"),
        (LABEL, [(7, 3, "Speed: 12.50 KB")], [], "cannot be turned into"),
        (FIELD, [(3, 20, "1 2 ms")], [], "a number and a unit were expected"),
    ],
)
def test_units_beside_numbers(keys, placed, got, told):
    capture = picture((1, 5, "Weir 2.0"), *placed)
    text = schema(keys + "\nunit_beside = true").replace('unit = "points"', 'unit = "s"')
    readout = read_run([capture], load(text))
    assert [as_digits(reading) for reading in readout.readings] == got
    assert [told in hold.reason for hold in readout.holds] == [True] * (not got)
