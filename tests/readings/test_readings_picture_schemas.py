"""Picture schemas as texts: faults told with their place, samples drawn and read, the guide true."""

import pytest

from readoff.errors import SchemaError
from readoff.readings import load_schemas
from readoff.readings.picture.glyphs import load_glyphs
from readoff.readings.picture.loading import TABLES
from readoff.readings.samples import check_samples
from support.drawn_pictures import (
    GLYPH_FILE,
    GLYPH_TEXT,
    load,
    schema_text,
)
from support.pictured_pace import SCHEMAS


def test_the_digest_is_of_the_glyphs_too():
    other = GLYPH_TEXT.replace("Chamfer:", "Chamfer 2:")
    (schema,) = load_schemas([(GLYPH_FILE.name, other), ("a.toml", schema_text())])
    assert schema.digest != SCHEMAS[0].digest
    assert load(schema_text())[0].digest == SCHEMAS[0].digest


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            'glyphs = "chamfer"',
            'glyphs = "chamfre"',
            "picture.glyphs: 'chamfre' is not known; right would be 'chamfer'",
        ),
        ('cell = "8x16"', 'cell = "8x15"', "picture.cell: chamfer has no glyphs of 8 × 15 pixels"),
        ('cell = "8x16"', 'cell = "8 by 16"', "picture.cell: '8 by 16'; right would be width and height"),
        ("columns = 20, rows = 2", "columns = 0, rows = 2", "picture.region: 0 × 2 cells"),
        ("columns = 20, rows = 2", "columns = 2000, rows = 2000", "picture.region: 2000 × 2000 cells"),
        ("x = 0", "x = -1", "picture.region.x: -1"),
        ("x = 0", "z = 0", "'z' is not known"),
        ("ink = { brighter = 127 }", "ink = { }", "picture.ink: nothing says what is ink"),
        ("brighter = 127", "brighter = 127, darker = 3", "brighter and darker says what is ink"),
        ("brighter = 127", "brighter = 300", "picture.ink.brighter: 300"),
        ("brighter = 127", "brighter = 127, paper = [0]", "paper beside brighter"),
        ("brighter = 127", "indices = [256]", "picture.ink.indices: a list"),
        ("brighter = 127", "indices = []", "picture.ink.indices: no index"),
        ("brighter = 127", 'colours = ["white"]', "picture.ink.colours: a list"),
        ("brighter = 127", "differs = false", "picture.ink.differs: false"),
        ("[recognise]", "allow = 1\n[recognise]", "picture.apart: missing; right would be apart = 2 or more"),
        ("[recognise]", "allow = 2\napart = 2\n[recognise]", "picture.apart: 2 with allow = 2"),
        ("[recognise]", 'frame = "14h"\n[recognise]', "picture.frame: '14h' is not known"),
        ("[recognise]", 'frame = "13h"\n[recognise]', "recognise.files: missing"),
        ("[recognise]", "skip = 7\n[recognise]", "picture.skip: 7 octets before no frame"),
        ("[recognise]", "size = 320\n[recognise]", "picture.size: 320"),
        ("all = ['^Mill ']", "all = ['(']", "recognise.all: RE2 refuses the pattern"),
        ("all = ['^Mill ']", "", "recognise.all: no pattern is given"),
        (
            "all = ['^Mill ']",
            "all = ['^Mill ']\ncaptures = ['console']",
            "recognise.captures: 'console' is not known",
        ),
        ("[picture]", "[pictures]", "'pictures' is not known; right would be 'picture'"),
    ],
)
def test_what_is_wrong_in_a_schema_is_told_with_its_place(old, new, told):
    text = schema_text()
    assert old in text
    with pytest.raises(SchemaError) as error:
        load(text.replace(old, new, 1))
    assert told in str(error.value)


SAMPLES = """
[[samples]]
text = '''
Mill 1.2
Pace: 84.70'''
readings = { pace = "84.70" }

[[samples]] # one cell is no glyph
text = '''
Mill 1.2
Pace: 8\ufffd.70'''
held = ["pace"]

[[samples]]
text = "Hill 1.2"
recognised = false
"""


@pytest.mark.parametrize(
    "ink",
    [
        "brighter = 127",
        "darker = 127",
        "indices = [0, 7]",
        "indices = [3], paper = [9]",
        'colours = ["#102030"]',
        'colours = ["#000000"], paper = ["#FF0000"]',
        "differs = true",
    ],
)
def test_samples_are_drawn_as_the_schema_sees_them(ink):
    (schema,) = load(schema_text(ink=ink, more="size = '320x200'") + SAMPLES)
    assert len(schema.samples) == 3
    assert check_samples(schema) == ()


def test_samples_that_are_not_read_as_they_say_are_told():
    wrong = SAMPLES.replace('pace = "84.70"', 'pace = "84.7"').replace("Hill", "Mill")
    (schema,) = load(schema_text() + wrong)
    told = check_samples(schema)
    assert len(told) == 2
    assert "read: 84.70; right would be 84.7" in told[0]


@pytest.mark.parametrize(
    ("text", "more", "told"),
    [
        ("Mill " + 20 * "x", "", "a text that does not fit 2 rows of 20 cells"),
        ("Mill\\n\\n\\n1", "", "a text that does not fit"),
        ("Mill \u263a", "", "chamfer has no '\u263a'"),
        ("Mill", 'frame = "13h"', "a raw frame is not drawn"),
    ],
)
def test_a_sample_that_cannot_be_drawn_is_told(text, more, told):
    sample = f'[[samples]]\ntext = "{text}"\nrecognised = false\n'
    with pytest.raises(SchemaError) as error:
        load(schema_text(more=more, recognise="all = ['^Mill ']\nfiles = ['A.BMP']") + sample)
    assert told in str(error.value)
    assert "samples[0].text" in str(error.value)


def test_faults_of_glyph_files_are_told_with_those_of_schemas():
    wrong = [("bad.glyphs.toml", "glyphs = 1"), ("a.toml", schema_text().replace('"higher"', '"up"'))]
    with pytest.raises(SchemaError) as error:
        load_schemas(wrong)
    told = str(error.value)
    assert "bad.glyphs.toml, line 1, glyphs: 1" in told
    assert "metrics.pace.better: 'up'" in told


GUIDE = (GLYPH_FILE.parents[2] / "docs" / "pictures.md").read_text("utf-8")


def test_the_example_of_the_guide_reads_its_samples():
    (schema,) = load(GUIDE.split("```toml\n")[1].partition("```")[0])
    assert check_samples(schema) == ()
    assert len(schema.samples) == 2


def test_the_glyphs_of_the_guide_load():
    tiny, heights = (GUIDE.split("```toml\n")[at].partition("```")[0] for at in (2, 3))
    sizes = load_glyphs([("tiny.glyphs.toml", tiny.replace("[[sheets]]", heights + "[[sheets]]", 1))])["tiny"]
    assert list(sizes) == [(4, 4), (4, 8)]


def test_every_key_has_its_place_in_the_guide():
    for key in {key for keys in TABLES for key in keys}:
        assert f"`{key}" in GUIDE, key
