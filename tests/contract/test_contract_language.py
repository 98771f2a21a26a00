"""The layout language: every type there and back, every mistake told with its place."""

import tomllib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.contract import Codec, declare
from readoff.contract.declared import read_contract
from readoff.errors import ContractError, MalformedError

TEXT = """
[enums.colour]
values = { red = 1, green = 2 }

[layouts.point]
size = 3
fields = [ { name = "x", type = "i8" }, { name = "y", type = "i16" } ]

[layouts.everything]
fields = [
  { name = "a", type = "u8" },
  { name = "b", type = "u16" },
  { name = "c", type = "u32" },
  { name = "d", type = "i32" },
  { name = "colour", type = "u8", enum = "colour" },
  { name = "marks", type = "u8", bits = ["ready", "level:3"] },
  { name = "volts", type = "u16", scale = 0.01, unit = "V" },
  { name = "title", type = "text", size = 6 },
  { name = "size", type = "u8" },
  { name = "sized", type = "octets", size = "size" },
  { name = "word", type = "text", prefix = "u8" },
  { name = "long", type = "octets", prefix = "u16" },
  { name = "pair", type = "array", of = "u16", count = 2 },
  { name = "points", type = "array", of = "point", prefix = "u8" },
  { name = "one", type = "layout", layout = "point" },
  { name = "rest", type = "array", of = "point", count = "rest" },
]

[layouts.tagged]
fields = [ { name = "items", type = "tlv", tag = "u8", length = "u16", cases = { 1 = "point" } } ]

[layouts.opened]
fields = [ { name = "word", type = "octets", size = 2, equals = "52 4F" }, { name = "n", type = "u8", equals = 3 } ]
"""
DECLARED = declare(tomllib.loads(TEXT), "test.toml")
CODEC = Codec(DECLARED)

points = st.fixed_dictionaries({"x": st.integers(-128, 127), "y": st.integers(-32768, 32767)})
dos_text = st.binary(max_size=40).map(lambda octets: octets.decode("cp437"))
everything = st.fixed_dictionaries(
    {
        "a": st.integers(0, 255),
        "b": st.integers(0, 65535),
        "c": st.integers(0, 2**32 - 1),
        "d": st.integers(-(2**31), 2**31 - 1),
        "colour": st.sampled_from(["red", "green", 0, 3, 255]),
        "marks": st.fixed_dictionaries(
            {
                "ready": st.booleans(),
                "level": st.integers(0, 7),
                "other": st.integers(0, 15).map(lambda n: n << 4),
            }
        ),
        "volts": st.integers(0, 65535).map(lambda n: n * Decimal("0.01")),
        "title": st.binary(max_size=6).map(lambda octets: octets.rstrip(b"\0").decode("cp437")),
        "sized": st.binary(max_size=255),
        "word": dos_text,
        "long": st.binary(max_size=300),
        "pair": st.lists(st.integers(0, 65535), min_size=2, max_size=2),
        "points": st.lists(points, max_size=5),
        "one": points,
        "rest": st.lists(points, max_size=5),
    }
).map(lambda values: {**values, "size": len(values["sized"])})


@given(everything)
def test_every_type_there_and_back(values):
    octets = CODEC.build("everything", values)
    assert CODEC.parse("everything", octets) == values
    assert CODEC.build("everything", CODEC.parse("everything", octets)) == octets


@given(st.binary(max_size=200))
def test_any_octets_parse_or_say_where(octets):
    for layout in DECLARED.layouts:
        try:
            values = CODEC.parse(layout, octets)
        except MalformedError as error:
            assert error.where.startswith(layout)
        else:
            assert CODEC.parse(layout, CODEC.build(layout, values)) == values


def test_octets_against_the_bits_by_hand():
    octets = bytes.fromhex("01 0203 04050607 FFFFFFFF 02 87 7B00 4F4B00000000".replace(" ", ""))
    octets += bytes.fromhex("02 AABB 01 82 0100 CC 0100 0200 00 FF0180")
    values = CODEC.parse("everything", octets)
    assert values["b"] == 0x0302
    assert values["c"] == 0x07060504
    assert values["d"] == -1
    assert values["colour"] == "green"
    assert values["marks"] == {"ready": True, "level": 3, "other": 0x80}
    assert values["volts"] == Decimal("1.23")
    assert values["title"] == "OK"
    assert values["sized"] == b"\xaa\xbb"
    assert values["word"] == "é"
    assert values["one"] == {"x": -1, "y": -32767}


def test_tlv_keeps_unknown_tags_as_octets():
    items = CODEC.parse("tagged", bytes.fromhex("01 0300 010200 07 0200 ABCD"))["items"]
    assert items == [[1, {"x": 1, "y": 2}], [7, b"\xab\xcd"]]


@pytest.mark.parametrize(
    ("layout", "octets", "place"),
    [
        ("point", "01 02", "point.y"),
        ("point", "01 02 03 04", "point"),
        ("opened", "52 50 03", "opened.word"),
        ("opened", "52 4F 04", "opened.n"),
        ("tagged", "01 0400 01020304", "tagged.items[0].value"),
        ("tagged", "07 FFFF 00", "tagged.items[0].value"),
    ],
)
def test_malformed_octets_name_the_field(layout, octets, place):
    with pytest.raises(MalformedError) as caught:
        CODEC.parse(layout, bytes.fromhex(octets.replace(" ", "")))
    assert caught.value.where.startswith(place)


@pytest.mark.parametrize(
    ("values", "place"),
    [({"x": 1}, "point"), ({"x": 300, "y": 0}, "point.x"), ({"x": "no", "y": 0}, "point.x")],
)
def test_values_that_do_not_fit_name_the_field(values, place):
    with pytest.raises(ContractError) as caught:
        CODEC.build("point", values)
    assert caught.value.where.startswith(place)


MISTAKES = [
    ('{ name = "a", type = "u64" }', "'u64' is not a type"),
    ('{ name = "A!", type = "u8" }', "needs a name"),
    ('{ name = "a", type = "u8", colour = 1 }', "is not a key of a field of type u8"),
    ('{ name = "a", type = "u8", enum = "none" }', "'none' is not declared"),
    ('{ name = "a", type = "octets" }', "needs either size"),
    ('{ name = "a", type = "octets", size = 4294967296 }', "must be from 0 to"),
    ('{ name = "a", type = "octets", size = "b" }', "'b' is not an earlier plain integer"),
    ('{ name = "a", type = "octets", prefix = "u32" }', 'must be "u8" or "u16"'),
    ('{ name = "a", type = "octets", size = "rest" }, { name = "b", type = "u8" }', "must be the last field"),
    ('{ name = "a", type = "layout", layout = "wrong" }', "contains itself"),
    (
        '{ name = "a", type = "array", of = "what", count = 1 }',
        "neither an integer type nor a declared layout",
    ),
    ('{ name = "a", type = "u8", bits = ["x:9"] }', "more bits than u8 has"),
    ('{ name = "a", type = "u8", bits = ["x:z"] }', "a width is a number"),
    ('{ name = "a", type = "u8", scale = -1 }', "must be a positive number"),
    ('{ name = "a", type = "u8", scale = 2, enum = "colour" }', "more than one of enum, bits, scale"),
    ('{ name = "a", type = "octets", size = 2, equals = "5" }', "as many hex octets as size says"),
    ('{ name = "a", type = "u8" }, { name = "a", type = "u8" }', "stands twice"),
    ('{ name = "a", type = "tlv", tag = "u32", length = "u8" }', "needs tag"),
    ('{ name = "a", type = "tlv", tag = "u8", length = "u8", cases = { x = "wrong" } }', "a tag is a number"),
    ('"not a table"', "must be a table"),
]

# Whatever may take nothing can be asked for any number of times, and would keep a host busy for ever.
NOTHINGS = (
    '{ name = "a", type = "octets", size = 0 }',
    '{ name = "a", type = "octets", size = "rest" }',
    '{ name = "a", type = "array", of = "word", count = 0 }',
    '{ name = "a", type = "layout", layout = "nothing" }',
)


@pytest.mark.parametrize("fields", NOTHINGS)
@pytest.mark.parametrize("count", ['"n"', '"rest"'])
def test_an_array_of_what_may_be_nothing_is_refused(fields, count):
    text = f"""
    [layouts.many]
    fields = [ {{ name = "n", type = "u32" }}, {{ name = "all", type = "array", of = "each", count = {count} }} ]
    [layouts.each]
    fields = [ {fields} ]
    [layouts.word]
    fields = [ {{ name = "w", type = "text", prefix = "u8" }} ]
    [layouts.nothing]
    fields = [ {{ name = "b", type = "octets", size = 0 }} ]
    """
    with pytest.raises(ContractError, match=r"many\.all: an array of what may be nothing has no end"):
        declare(tomllib.loads(text), "test.toml")


@pytest.mark.parametrize(("fields", "told"), MISTAKES)
def test_each_mistake_is_told_with_its_place(fields, told):
    text = f"[enums.colour]\nvalues = {{ red = 1 }}\n[layouts.wrong]\nfields = [ {fields} ]"
    with pytest.raises(ContractError) as caught:
        declare(tomllib.loads(text), "mine.toml")
    assert told in caught.value.what
    assert "layouts.wrong" in caught.value.what
    assert caught.value.where == "mine.toml"


def test_all_mistakes_at_once():
    text = """
    [enums.empty]
    values = {}
    [enums.twice]
    values = { a = 1, b = 1 }
    [layouts.big]
    size = 9
    fields = [ { name = "a", type = "u7" }, { name = "b", type = "octets" } ]
    """
    with pytest.raises(ContractError) as caught:
        declare(tomllib.loads(text), "mine.toml")
    for told in ("enums.empty", "enums.twice", "'u7'", "needs either size"):
        assert told in caught.value.what


def test_a_size_that_the_fields_do_not_make():
    with pytest.raises(ContractError, match="says 5, its fields make 1"):
        declare(tomllib.loads('[layouts.a]\nsize = 5\nfields = [ { name = "x", type = "u8" } ]'), "mine.toml")


@pytest.mark.parametrize("text", ["", "this is not TOML", "layouts = 3"])
def test_a_contract_that_is_none(text):
    with pytest.raises((ContractError, KeyError)):
        read_contract(text, "mine.toml")
