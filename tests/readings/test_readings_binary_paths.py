"""Paths into parsed files lead to the very octets that a field came from."""

from hypothesis import given
from hypothesis import strategies as st

from readoff.contract import Codec, declare
from readoff.readings.binary.paths import parse_path

FIELDS = [
    {"name": "a", "type": "u8"},
    {"name": "b", "type": "text", "prefix": "u8"},
    {"name": "c", "type": "octets", "size": 3},
    {"name": "d", "type": "array", "of": "i32", "prefix": "u16"},
    {"name": "e", "type": "array", "of": "in", "count": "a"},
    {"name": "f", "type": "layout", "layout": "in"},
    {"name": "g", "type": "text", "size": "a"},
    {"name": "z", "type": "i16"},
]
INNER = [{"name": "p", "type": "text", "size": 5}, {"name": "q", "type": "octets", "prefix": "u16"}]


@given(st.data())
def test_octets_of_a_field_are_found_behind_fields_of_every_type(data):
    """What is built with a mark in its last field has it at the octets that the path leads to."""
    declared = declare({"layouts": {"l": {"fields": FIELDS}, "in": {"fields": INNER}}}, "test")
    inner = st.fixed_dictionaries({"p": st.text("abc", max_size=5), "q": st.binary(max_size=4)})
    count = data.draw(st.integers(0, 4))
    values = {
        "a": count,
        "b": data.draw(st.text("xyz", max_size=9)),
        "c": b"ccc",
        "d": data.draw(st.lists(st.integers(-5, 5), max_size=3)),
        "e": data.draw(st.lists(inner, min_size=count, max_size=count)),
        "f": data.draw(inner),
        "g": "g" * count,
        "z": -32768,
    }
    octets = Codec(declared).build("l", values)
    parsed = Codec(declared).parse("l", octets)
    (leaf,) = parse_path("z", declared, "l").leaves(declared, "l", parsed)
    assert (leaf.begin, leaf.end) == (len(octets) - 2, len(octets))
    for number, leaf in enumerate(parse_path("d[*]", declared, "l").leaves(declared, "l", parsed)):
        assert int.from_bytes(octets[leaf.begin : leaf.end], "little", signed=True) == values["d"][number]
    (leaf,) = parse_path("f.p", declared, "l").leaves(declared, "l", parsed)
    assert octets[leaf.begin : leaf.end] == values["f"]["p"].encode().ljust(5, b"\0")
    (leaf,) = parse_path("b", declared, "l").leaves(declared, "l", parsed)
    assert octets[leaf.begin : leaf.end] == values["b"].encode()
