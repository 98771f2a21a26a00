"""A schema with anything at all in any of its places loads or is refused with its faults; nothing else happens."""

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.errors import SchemaError
from readoff.readings import load_schemas
from readoff.readings.samples import check_samples
from support.reading_texts import load, metric, schema_text
from support.strange_toml import as_document, changed, places

DOCS = Path(__file__).resolve().parents[2] / "docs"
EXAMPLES = [
    tomllib.loads(text)
    for name in ("schemas.md", "schemas-screens-files.md")
    for text in re.findall(r"```toml\n(schema = .*?)```", (DOCS / name).read_text("utf-8"), re.DOTALL)
]
STRANGE = st.one_of(
    st.sampled_from(
        ["", "pass", "speeds", "u8", "u32", "rest", "x * y", "(?P<n>x)", "tests[*].a", "80x25", "\x00", "♥"]
    ),
    st.integers(-(2**40), 2**40),
    st.booleans(),
    st.floats(allow_nan=True),
    st.just([]),
    st.just({}),
    st.lists(st.sampled_from(["a", 1, {}, []]), max_size=3),
    st.dictionaries(
        st.sampled_from(["a", "b", "fields", "text"]), st.sampled_from(["x", 1, [], {}]), max_size=2
    ),
    st.text(max_size=5),
)


@pytest.mark.parametrize("example", EXAMPLES, ids=[example["schema"] for example in EXAMPLES])
def test_the_examples_mean_the_same_on_one_line(example):
    (schema,) = load_schemas([("x.toml", as_document(example))])
    assert check_samples(schema) == ()


@settings(max_examples=600, deadline=None)
@given(st.sampled_from(EXAMPLES), st.data())
def test_anything_anywhere(example, data):
    path = data.draw(st.sampled_from(sorted(places(example), key=str)))
    wrong = changed(example, path, data.draw(STRANGE))
    try:
        (schema,) = load_schemas([("x.toml", as_document(wrong))])
    except SchemaError as error:
        assert error.faults
        assert all(fault.startswith("x.toml") for fault in error.faults)
        assert all(len(fault) < 1000 for fault in error.faults)
    else:
        check_samples(schema)


def test_too_many_rules_are_refused():
    text = schema_text(metric("score")).replace("[recognise]", f"rules = {['score > 0'] * 51!r}\n[recognise]")
    with pytest.raises(SchemaError, match="51 rules; right would be at most 50"):
        load(text)


def test_a_block_that_begins_everywhere_is_held_and_not_cut_short():
    text = schema_text(metric("score", 'block = "b"')).replace(
        "[recognise]", "[blocks.b]\nbegin = 'x'\n[recognise]"
    )
    from readoff.readings import read_run
    from support.reading_texts import console

    (schema,) = load(text)
    lines = b"Mill\r\n" + b"x" * 900 + b"\r\nScore: 1\r\n" + b"x" * 900 + b"\r\nScore: 2\r\n"
    readout = read_run([console(lines)], [schema])
    assert readout.readings == ()
    assert "found more than 1000 times" in readout.holds[0].reason


def test_a_fault_quotes_no_more_than_a_person_reads():
    long = "x" * 30_000
    with pytest.raises(SchemaError) as caught:
        load(
            schema_text(metric("score", unit=long)), schema_text(metric("score", f"{long} = 1"), name="other")
        )
    assert len(caught.value.faults) >= 2
    assert all(fault.startswith("schema") and len(fault) < 1000 for fault in caught.value.faults)
