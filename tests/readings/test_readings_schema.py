"""Schemas are checked whole: every fault is told at once, with file, line, key and what would be right."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.errors import SchemaError
from readoff.readings import load_schemas, read_run
from readoff.readings.faults import key_lines
from readoff.readings.samples import check_samples
from support.reading_texts import console, derived, load, metric, schema_text, shipped


def faults_of(*texts):
    with pytest.raises(SchemaError) as told:
        load(*texts)
    assert all(fault in str(told.value) for fault in told.value.faults)
    return told.value.faults


WRONG = """\
schema = "Mill"
titel = "A mill"
headline = ["score", "gone"]
[recognise]
all = ['^Mill', '(?=x)']
programs = ["A LONG NAME.EXE"]
[metrics.score]
pattern = '^Score: (?P<a>[0-9]+) (?P<b>x)'
unit = "point"
better = "up"
once = "yes"
[metrics.work]
formula = "score * tim"
unit = "points"
better = "neither"
"""


def test_all_faults_at_once_each_with_its_line():
    faults = faults_of(WRONG, "a = [")
    expected = [
        ("schema0.toml, line 2, titel:", "'title'"),
        ("schema0.toml, line 1, schema:", "small letter"),
        ("schema0.toml, title: missing", "title ="),
        ("schema0.toml, line 5, recognise.all: RE2 refuses", "no look-around"),
        ("schema0.toml, line 6, recognise.programs:", "8 characters"),
        ("schema0.toml, line 8, metrics.score.pattern: the pattern has 2 named groups", "(?P<number>"),
        ("schema0.toml, line 9, metrics.score.unit: 'point' is not known", "'points'"),
        ("schema0.toml, line 10, metrics.score.better: 'up'", "'higher', 'lower', 'neither'"),
        ("schema0.toml, line 11, metrics.score.once: 'yes'", "true or false"),
        ("schema0.toml, line 13, metrics.work.formula: 'tim' is not known", "one of 'score', 'work'"),
        ("schema0.toml, line 3, headline: 'gone' is not known", "'score'"),
        ("schema1.toml, the whole file: not TOML", "TOML"),
    ]
    for begins, right in expected:
        assert any(fault.startswith(begins) and right in fault for fault in faults), begins
    assert len(faults) == len(expected)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "schema: missing"),
        (schema_text(recognise="all = []"), "recognise.all: no pattern"),
        (schema_text(recognise="all = ['.*']"), "matches an empty line"),
        (schema_text(recognise="all = 'x'"), "'x'; right would be a list of texts"),
        (schema_text(recognise="all = ['x']\ncaptures = ['tape']"), "'tape' is not known"),
        (schema_text(recognise="all = ['x']\ncaptures = ['screen']\nfiles = ['A.B']"), "reads no files"),
        (schema_text(metric("score", pattern="^Score: [0-9]+")), "0 named groups"),
        (schema_text(metric("score", pattern="(?P<n>[0-9]*)")), "matches an empty line"),
        (schema_text(metric("score", pattern="(?P<n>((a{99}){99}){99})")), "RE2 refuses"),
        (schema_text(metric("score", pattern="(?P<n>(abcdefgh){200})")), "steps; right would be at most"),
        (
            schema_text(metric("score", pattern="(?P<n>" + "a" * 1000 + ")")),
            "characters; right would be at most",
        ),
        (schema_text(metric("score", pattern=r"(?P<n>a)\1")), "RE2 refuses"),
        (schema_text(metric("score", 'clock = "mm:ss"')), "seconds"),
        (schema_text(metric("score", 'clock = "ss"', unit="s")), "'mm:ss'"),
        (schema_text(metric("score", 'comma = "dot"')), "'decimal', 'thousands'"),
        (schema_text(metric("score", better="neither")), "better neither way"),
        (
            schema_text(metric("score") + derived("a", "b + 1") + derived("b", "a + 1")),
            "derived in a circle (a, b)",
        ),
        (schema_text(metric("score") + derived("a", "a + 1")), "in a circle (a)"),
        (schema_text(metric("score") + derived("a", "1 + 1")), "names no metric"),
        (schema_text(metric("score") + derived("a", "score", "once = true")), "'once' is not known"),
        (schema_text() + "[metrics.BIG]\n", "'BIG' is not a name"),
        (schema_text() + "[[samples]]\ntext = 'x'\n", "not clear"),
        (schema_text() + "[[samples]]\nrecognised = false\n", "exactly one of text and octets"),
        (schema_text() + "[[samples]]\noctets = '5'\nrecognised = false\n", "not hex"),
        (schema_text() + "[[samples]]\ntext = '€'\nrecognised = false\n", "code page 437 has no"),
        (schema_text() + "[[samples]]\ntext = 'x'\ncapture = 'screen'\nrecognised = false\n", "columns = 80"),
        (schema_text() + "[[samples]]\ntext = 'x'\nreadings = { scoer = '1' }\n", "'score'"),
        (schema_text().replace('"mill"', "0x" + "f" * 9000), "a huge number"),
        (schema_text().replace("[recognise]", "[recognised]"), "'recognise'"),
        ("x" * 70000, "at most 65536"),
        ("a = " + "[" * 30000, "not TOML"),
        ("a = '\ud800'", "not TOML"),
    ],
)
def test_each_fault_is_told(text, told):
    assert any(told in fault for fault in faults_of(text))


def test_names_must_differ():
    (fault,) = faults_of(schema_text(), schema_text())
    assert fault.startswith("schema1.toml, line 1, schema: 'mill' is taken by schema0.toml")


def test_a_good_schema():
    text = 'units = ["marks"]\n' + schema_text(
        derived("total", "score + 2 * bonus") + metric("score", unit="marks") + metric("bonus")
    )
    (schema,) = load(text)
    assert [m.name for m in schema.metrics] == ["score", "bonus", "total"]
    assert schema.headline == ("total",)
    assert len(schema.digest) == 64
    (other,) = load(text + "# a word more\n")
    assert other.digest != schema.digest


def test_catastrophic_patterns_take_linear_time():
    """Patterns that would backtrack for ever (2^4000 steps) elsewhere: to come back at all is to pass."""
    hostile = [
        r"^Mill|(?P<n>(a+)+b)",
        r"(?P<n>(a|aa)+b)",
        r"(?P<n>(a|a?)+b)",
        r"(?P<n>(.*a){12}b)",
        r"a.*(?P<n>b)|a",
        r"(?P<n>[ac]*a[ac]{80}b)",
    ]
    octets = b"Mill\r\n" + (b"a" * 4000 + b"\r\n") * 60
    for pattern in hostile:
        (schema,) = load(schema_text(metric("score", pattern=pattern)))
        readout = read_run([console(octets)], [schema])
        assert not readout.readings
        assert readout.holds


@given(st.text(max_size=200))
def test_any_text_loads_or_is_refused(text):
    try:
        load_schemas([("any.toml", text)])
    except SchemaError as error:
        assert error.faults


KEYS = st.sampled_from(["schema", "title", "units", "headline", "recognise", "metrics", "samples", "other"])
VALUES = st.recursive(
    st.one_of(st.text(max_size=5), st.integers(), st.booleans(), st.none()),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text("abz", min_size=1, max_size=3) | KEYS, inner)
    ),
    max_leaves=8,
)


def as_toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{key}" = {as_toml(item)}' for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08X}" for c in value if not 0xD800 <= ord(c) < 0xE000) + '"'
    return "1.5" if value is None else str(value)


@given(st.dictionaries(KEYS, VALUES, max_size=6))
def test_any_toml_loads_or_is_refused(data):
    text = "".join(f"{key} = {as_toml(value)}\n" for key, value in data.items())
    tomllib.loads(text)
    with pytest.raises(SchemaError):
        load_schemas([("any.toml", text)])


def test_key_lines():
    text = 'a = 1\nb = """\nc = 2\n[d]\n"""\n[e.f]\n"g" = 3\n[[h]]\ni = 4\n[[h]]\n  i = 5 # [j]\n'
    assert key_lines(text) == {
        "a": 1,
        "b": 2,
        "e.f": 6,
        "e.f.g": 7,
        "h[0]": 8,
        "h[0].i": 9,
        "h[1]": 10,
        "h[1].i": 11,
    }


def test_shipped_schemas_read_their_samples():
    for schema in shipped():
        assert check_samples(schema) == ()
        assert any(sample.recognised for sample in schema.samples)
        assert not all(sample.recognised for sample in schema.samples)


@pytest.mark.parametrize(
    ("sample", "told"),
    [
        ("text = 'Mill\nScore: 5.0'\nreadings = { score = '5' }", "score: read: 5.0; right would be 5"),
        ("text = 'Mill\nScore: 5'\nreadings = { score = ['5', '6'] }", "right would be 5, 6"),
        ("text = 'Mill'\nreadings = { score = '5' }", "read: nothing; right would be 5"),
        ("text = 'Mill\nScore: 5'\nheld = ['score']", "score is not held"),
        ("text = 'Mill\nScore: ??'\nreadings = { score = '5' }", "score is held"),
        ("text = 'Hill\nScore: 5'\nreadings = { score = '5' }", "was not found"),
        ("text = 'Mill\nScore: 5'\nrecognised = false", "was found"),
    ],
)
def test_a_sample_that_does_not_hold_is_told(sample, told):
    (schema,) = load(schema_text() + "\n[[samples]]\n" + _long_text(sample))
    faults = check_samples(schema)
    assert any(told in fault for fault in faults)
    line = schema_text().count("\n") + 2
    assert all(fault.startswith(f"schema0.toml, line {line}, samples[0]") for fault in faults)


def _long_text(sample):
    """The first text of a sample in triple quotes, since it has several lines."""
    _, text, rest = sample.split("'", 2)
    return f"text = '''{text}'''{rest}"
