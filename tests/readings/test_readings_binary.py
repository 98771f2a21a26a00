"""Binary schemas: numbers in the fields of files, by declared layouts; files that do not fit are held."""

import struct
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.errors import SchemaError
from readoff.readings import CaptureKind, explain, read_run
from readoff.readings.samples import as_digits
from support.reading_texts import console, file, load

SCHEMA = """
schema = "weir"
kind = "binary"
title = "A weir"
headline = ["rate"]
units = ["buckets", "buckets/s"]
layout = "result"
[recognise]
files = ["WEIR*.DAT"]
[layouts.result]
fields = [
  { name = "magic", type = "octets", size = 4, equals = "57 45 49 52" },
  { name = "version", type = "u16", equals = 2 },
  { name = "machine", type = "text", prefix = "u8" },
  { name = "buckets", type = "u32" },
  { name = "tests", type = "array", of = "test", prefix = "u8" },
  { name = "offsets", type = "array", of = "i16", count = 2 },
  { name = "total", type = "layout", layout = "test" },
]
[layouts.test]
fields = [
  { name = "ticks", type = "u16" },
  { name = "rate", type = "i16", scale = 0.25 },
  { name = "shown", type = "text", size = 8 },
]
[metrics.buckets]
field = "buckets"
unit = "buckets"
better = "neither"
once = true
exact = true
[metrics.ticks]
field = "tests[*].ticks"
unit = "ticks"
better = "lower"
[metrics.rate]
field = "tests[*].rate"
unit = "buckets/s"
better = "higher"
[metrics.shown]
field = "tests[*].shown"
unit = "buckets/s"
better = "higher"
[metrics.second]
field = "tests[1].rate"
unit = "buckets/s"
better = "higher"
optional = true
[metrics.offset]
field = "offsets[1]"
unit = ""
better = "neither"
[metrics.whole]
field = "total.rate"
unit = "buckets/s"
better = "higher"
[metrics.a_tick]
formula = "buckets / ticks"
unit = ""
better = "higher"
"""
(WEIR,) = load(SCHEMA)


def one(ticks, quarters, shown):
    return struct.pack("<Hh8s", ticks, quarters, shown)


def weir(*tests, magic=b"WEIR", version=2, machine=b"No. 7", buckets=4_000_000_000, offsets=(3, -3), end=b""):
    head = magic + struct.pack("<H", version) + bytes([len(machine)]) + machine + struct.pack("<I", buckets)
    body = bytes([len(tests)]) + b"".join(one(*test) for test in tests)
    return head + body + struct.pack("<hh", *offsets) + one(9, 9, b"9") + end


def read(octets, name="WEIR1.DAT"):
    readout = read_run([file(octets, name)], [WEIR])
    got = {}
    for reading in readout.readings:
        got.setdefault(reading.metric, []).append(as_digits(reading))
    return got, readout


TWO = [(5, 4097, b"1024.25"), (65535, -1, b"-.25")]
TWICE = {
    "ticks": ["5", "65535"],
    "rate": ["1024.25", "-0.25"],
    "shown": ["1024.25", "-0.25"],
    "second": ["-0.25"],
}


@pytest.mark.parametrize(
    ("octets", "wanted"),
    [
        (weir(*TWO), TWICE),
        (weir(*TWO, machine=b""), TWICE),
        (weir(*TWO, machine=b"\xb0" * 255), TWICE),
        (weir(*TWO, buckets=0), {**TWICE, "buckets": ["0"]}),
        (weir(*TWO, offsets=(32767, -32768)), {**TWICE, "offset": ["-32768"]}),
        (weir((1, 2, b"1,234.5")), {"ticks": ["1"], "rate": ["0.50"], "shown": ["1234.5"]}),
        (weir((1, 32767, b"12345678")), {"rate": ["8191.75"], "shown": ["12345678"]}),
        (weir(*[(n, 4 * n, b"%d" % n) for n in range(1, 256)]), {"ticks": [str(n) for n in range(1, 256)]}),
    ],
)
def test_files_that_are_read(octets, wanted):
    got, readout = read(octets)
    assert readout.holds == ()
    assert got | wanted == got
    assert got["whole"] == ["2.25"]
    assert ("second" in got) == (len(got["ticks"]) > 1)
    for reading in readout.readings:
        if not reading.derived and reading.metric != "shown":
            number = int.from_bytes(octets[reading.begin : reading.end], "little", signed=reading.value < 0)
            scale = Decimal("0.25") if reading.unit == "buckets/s" else 1
            assert number * scale == reading.value


def test_a_reading_says_where_it_comes_from():
    octets = weir(*TWO)
    _, readout = read(octets)
    rate = next(r for r in readout.readings if r.metric == "rate" and r.occurrence == 1)
    assert (rate.value, rate.quantum, rate.decimals, rate.unit) == (
        Decimal("-0.25"),
        Decimal("0.25"),
        2,
        "buckets/s",
    )
    assert octets[rate.begin : rate.end] == b"\xff\xff"
    assert rate.line == "tests[1].rate: FF FF"
    shown = next(r for r in readout.readings if r.metric == "shown")
    assert octets[shown.begin : shown.end] == b"1024.25\0"
    assert next(r for r in readout.readings if r.metric == "buckets").quantum == 0


def test_what_stands_once_belongs_to_every_repeat():
    got, _ = read(weir((2, 0, b"1"), (4, 0, b"1"), buckets=8))
    assert [Decimal(number) for number in got["a_tick"]] == [4, 2]


HELD = {metric.name for metric in WEIR.metrics if not metric.formula}


@pytest.mark.parametrize(
    ("octets", "held", "told"),
    [
        # A wrong length: cut at the end, in the middle of a test, one octet too many, a count that says too much.
        (weir(*TWO)[:-1], HELD, "total.shown: the octets end there: 8 due, 7 left"),
        (weir(*TWO)[:30], HELD, "tests"),
        (weir(*TWO, end=b"\0"), HELD, "octets are left over"),
        (weir(*TWO).replace(b"\x02\x05", b"\x03\x05"), HELD, "does not fit the layout"),
        (weir(*TWO).replace(b"\x02\x05", b"\x01\x05"), HELD, "octets are left over"),
        (weir(*TWO, machine=b"x" * 9).replace(b"\x09x", b"\xffx"), HELD, "machine"),
        # A text that is no number.
        (weir((1, 2, b"********")), {"shown"}, "did not fit"),
        (weir((1, 2, b"12,5")), {"shown"}, "decimal comma"),
        (weir((1, 2, b"")), {"shown"}, "nothing"),
        (weir((1, 2, b"12\x0034")), {"shown"}, "not a number"),
        # None of what is wanted.
        (weir(), {"ticks", "rate", "shown"}, "was not found"),
        (weir((1, 2, b"3")) + b"x" * 300_000, HELD, "at most 262144 are read"),
    ],
)
def test_near_misses(octets, held, told):
    _, readout = read(octets)
    assert {hold.metric for hold in readout.holds} - {"a_tick"} == held
    assert told in readout.holds[0].reason


@pytest.mark.parametrize(
    ("octets", "name", "told"),
    [
        (weir(*TWO, magic=b"WEIS"), "WEIR1.DAT", "magic (octet 0) must be 57 45 49 52, and is 57 45 49 53"),
        (weir(*TWO, version=3), "WEIR1.DAT", "version (octet 4) must be 02 00, and is 03 00"),
        (b"WEIR", "WEIR1.DAT", "version (octet 4) must be 02 00, and is nothing"),
    ],
)
def test_a_file_that_is_nearly_known_is_held(octets, name, told):
    got, readout = read(octets, name)
    assert got == {}
    (hold,) = readout.holds
    assert hold.reason == f"not recognised for certain: {told}"


@pytest.mark.parametrize(
    ("octets", "name"),
    [(weir(*TWO), "WEIR1.OUT"), (weir(*TWO), ""), (b"", "WEIR.DAT"), (b"anything else", "WEIR.DAT")],
)
def test_what_is_not_recognised_is_left_alone(octets, name):
    got, readout = read(octets, name)
    assert got == {}
    assert readout.holds == ()
    assert not any(verdict.recognised for verdict in readout.recognised)


def test_lengths_tell_two_sorts_of_file_apart():
    lengths = SCHEMA.replace("[recognise]", "[recognise]\nlengths = [45, 57]")
    schemas = load(lengths)
    (verdict,) = explain([file(weir(*TWO), "WEIR.DAT")], schemas)
    assert len(weir(*TWO)) == 57
    assert verdict.recognised
    assert "the file has 57 octets, the schema reads 45 or 57" in [c.text for c in verdict.conditions]
    readout = read_run([file(weir(*TWO, end=b"\0"), "WEIR.DAT")], schemas)
    assert "the file has 58 octets" in readout.holds[0].reason


def test_two_schemas_that_both_match_are_a_hold():
    schemas = load(SCHEMA, SCHEMA.replace('schema = "weir"', 'schema = "other"'))
    readout = read_run([file(weir(*TWO), "WEIR.DAT")], schemas)
    assert not readout.readings
    assert "2 schemas recognise it: weir, other" in readout.holds[0].reason


def test_the_same_octets_on_a_console_are_nobodys():
    assert not read_run([console(weir(*TWO))], [WEIR]).readings


@settings(deadline=None, max_examples=150)
@given(st.binary(max_size=120), st.sampled_from([b"", b"WEIR\x02\x00", b"WEIR\x02\x00\x00" + b"\0" * 4]))
def test_any_file_has_an_answer(octets, head):
    readout = read_run([file(head + octets, "WEIR.DAT")], [WEIR])
    for reading in readout.readings:
        assert reading.derived or 0 <= reading.begin < reading.end <= len(head + octets)


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 65535), st.integers(-32768, 32767), st.integers(0, 10**8 - 1)), max_size=6
    ),
    st.binary(max_size=40),
)
def test_every_field_is_read_from_its_own_octets(tests, machine):
    octets = weir(*[(t, q, b"%d" % s) for t, q, s in tests], machine=machine)
    got, readout = read(octets)
    assert got.get("ticks", []) == [str(t) for t, _, _ in tests]
    assert [Decimal(n) for n in got.get("rate", [])] == [Decimal(q) / 4 for _, q, _ in tests]
    assert got.get("shown", []) == [str(s) for _, _, s in tests]
    for reading in readout.readings:
        if reading.metric == "ticks":
            assert octets[reading.begin : reading.end] == struct.pack("<H", int(reading.value))


def layouts(text):
    """The schema with these layouts instead."""
    head, rest = SCHEMA.split("[layouts.result]")
    return head + text + "[metrics." + rest.split("[metrics.", 1)[1]


def layout(name, *fields):
    return f"[layouts.{name}]\nfields = [{', '.join(fields)}]\n"


def field(name, kind, **keys):
    told = "".join(
        f", {key} = {value if isinstance(value, int) else repr(value)}" for key, value in keys.items()
    )
    return f"{{ name = '{name}', type = '{kind}'{told} }}"


HUGE = 2**32
NESTED = "".join(
    layout(f"l{n}", *(field(name, "layout", layout=f"l{n + 1}") for name in "ab")) for n in range(60)
) + layout("l60", field("x", "u8"))
WIDE = layout("r", *[field("x", "layout", layout="s")] * 60) + layout("s", *[field("x", "u8")] * 60)
ENDLESS = layout("result", field("n", "u32"), field("x", "array", of="none", count="n")) + layout(
    "none", field("r", "octets", size="rest")
)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (layout("result", field("x", "octets", size=HUGE)), "from 0 to 1048576"),
        (layout("result", field("x", "array", of="u8", count=HUGE - 1)), "from 0 to 1048576"),
        (layout("result", field("x", "layout", layout="result")), "in a circle"),
        (NESTED, "nested more than 12 deep"),
        (WIDE, "more than 2000 fields"),
        (ENDLESS, "an array of what may be nothing"),
        ("[layouts.result]\nfields = 5\n", "needs fields"),
        (layout("result", field("x", "float")), "'float' is not a type"),
        ("layouts = 5\n", "no layout"),
        ("".join(layout(f"l{n}", field("x", "u8")) for n in range(101)), "101 layouts"),
    ],
)
def test_hostile_layouts_are_refused_at_once(text, told):
    with pytest.raises(SchemaError) as error:
        load(layouts(text))
    assert any(told in fault for fault in error.value.faults), error.value.faults


def test_a_length_of_4_gb_in_a_file_is_a_hold():
    text = """[layouts.result]
fields = [
  { name = "magic", type = "octets", size = 4, equals = "57 45 49 52" },
  { name = "n", type = "u32" },
  { name = "name", type = "octets", size = "n" },
  { name = "count", type = "u32" },
  { name = "tests", type = "array", of = "u16", count = "count" },
]
[metrics.rate]
field = "tests[*]"
unit = "points"
better = "higher"
"""
    schemas = load(SCHEMA.split("[layouts.result]", maxsplit=1)[0] + text)
    for octets in (struct.pack("<4sI", b"WEIR", 2**32 - 1), struct.pack("<4sIIH", b"WEIR", 0, 2**32 - 1, 7)):
        readout = read_run([file(octets + b"abc", "WEIR.DAT")], schemas)
        assert not readout.readings
        assert "does not fit the layout" in readout.holds[0].reason
    readout = read_run([file(struct.pack("<4sIIHH", b"WEIR", 0, 2, 7, 65535), "WEIR.DAT")], schemas)
    assert [as_digits(reading) for reading in readout.readings] == ["7", "65535"]


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ("ticks", "the layout 'result' has no field 'ticks'"),
        ("tests.ticks", "right would be tests[*]"),
        ("buckets[0]", "right would be buckets without an index"),
        ("tests[*]", "'tests' has fields of its own; right would be one of them: tests.ticks"),
        ("total", "'total' has fields of its own"),
        ("buckets.low", "'buckets' has nothing inside it"),
        ("tests[x].ticks", "'tests[x]' in 'tests[x].ticks'"),
        ("magic", "'magic' is of type octets"),
        ("", "field: missing"),
        ("a" * 300 + "!", "right would be names with points between"),
    ],
)
def test_faults_of_paths(path, told):
    with pytest.raises(SchemaError) as error:
        load(SCHEMA.replace('field = "buckets"', f'field = "{path}"' if path else ""))
    assert any(told in fault for fault in error.value.faults), error.value.faults


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('files = ["WEIR*.DAT"]', 'all = ["x"]', "patterns on a binary file"),
        ('files = ["WEIR*.DAT"]', "lengths = [0]", "a list of whole numbers from 1"),
        ('layout = "result"', 'layout = "resul"', "'resul' is not known; right would be 'result'"),
        ('layout = "result"', "", "layout: missing"),
        ('files = ["WEIR*.DAT"]', 'captures = ["screen"]', "'screen' is not known"),
        ("scale = 0.25", "scale = -1", "must be a positive number"),
    ],
)
def test_faults_of_schemas(old, new, told):
    with pytest.raises(SchemaError) as error:
        load(SCHEMA.replace(old, new, 1))
    assert any(told in fault for fault in error.value.faults), error.value.faults


def test_a_file_needs_a_name_or_a_fixed_value():
    text = SCHEMA.replace(', equals = "57 45 49 52"', "").replace(", equals = 2", "")
    load(text)
    with pytest.raises(SchemaError, match="nothing tells this file from others"):
        load(text.replace('files = ["WEIR*.DAT"]', ""))
    load(SCHEMA.replace('files = ["WEIR*.DAT"]', ""))


def test_only_files_are_read():
    assert {schema.recognise.kinds for schema in [WEIR]} == {(CaptureKind.FILE,)}
