"""The guide to schemas is true: its examples load and read their samples, and what it says of numbers holds."""

import re
from pathlib import Path

import pytest

from readoff.errors import SchemaError
from readoff.readings import load_schemas, read_run
from readoff.readings.loading import TABLES
from readoff.readings.samples import check_samples
from support.reading_texts import console, load, metric, schema_text

DOCS = Path(__file__).resolve().parents[2] / "docs"
GUIDE = "\n".join(
    (DOCS / name).read_text("utf-8")
    for name in ("schemas.md", "schemas-screens-files.md", "schemas-reference.md")
)
EXAMPLE = re.search(r"```toml\n(.*?)```", GUIDE, re.DOTALL).group(1)


EXAMPLES = re.findall(r"```toml\n(schema = \"(\w+)\".*?)```", GUIDE, re.DOTALL)


@pytest.mark.parametrize(("text", "name"), EXAMPLES, ids=[name for _, name in EXAMPLES])
def test_each_example_reads_its_samples(text, name):
    (schema,) = load_schemas([(f"{name}.toml", text)])
    assert check_samples(schema) == ()
    assert len(schema.samples) >= 2


def test_the_output_shown_above_an_example_is_its_first_sample():
    shown = re.findall(r"```\n([^`]*)```(?:(?!```).)*```toml\n(schema = .*?)```", GUIDE, re.DOTALL)
    texts = [(output, re.search(r"text = '''\n(.*?)'''", example, re.DOTALL)) for output, example in shown]
    assert len(texts) >= 3
    for output, sample in texts:
        assert sample is None or sample.group(1) == output


def test_the_examples_leave_one_another_alone():
    schemas = load_schemas([(f"{name}.toml", text) for text, name in EXAMPLES if name != "replay_checked"])
    for schema in schemas:
        for sample in schema.samples:
            readout = read_run([sample.capture], schemas, program=sample.program)
            assert [v.schema for v in readout.recognised if v.recognised] == [schema.name] * sample.recognised


def test_the_faults_shown_are_those_that_are_told():
    wrong = EXAMPLE.replace('better = "neither"', 'better = "up"').replace("sacks / time", "sacks / tim")
    with pytest.raises(SchemaError) as told:
        load_schemas([("mill.toml", wrong)])
    shown = GUIDE.rpartition("```\nmill.toml")[2].partition("```")[0].strip().splitlines()
    assert list(told.value.faults) == ["mill.toml" + shown[0], shown[1]]


def test_every_key_has_its_place_in_the_guide():
    for key in {key for keys in TABLES for key in keys} - {"metrics", "samples", "blocks", "tables"}:
        assert re.search(rf"`\[?{key}( = (true|false))?\]?`", GUIDE), key
    for key in ("metrics", "blocks", "tables"):
        assert f"`[{key}.NAME]`" in GUIDE
    assert "`[[samples]]`" in GUIDE


@pytest.mark.parametrize("text", ["<0.1", "****", "OVERFLOW", "5.", "12O", "1,234", "72,9", "12:34"])
def test_what_the_guide_says_is_held_is_held(text):
    assert f"`{text}`" in GUIDE
    readout = read_run(
        [console(b"Mill\nScore: " + text.encode())], load(schema_text(metric("score", unit="s")))
    )
    assert readout.readings == ()
    assert len(readout.holds) == 1
