"""Any declarations of the layout language, and octets that nearly fit them, for what holds for all of them."""

from __future__ import annotations

import string
from typing import Any

from hypothesis import strategies as st

INTEGERS = ("u8", "u16", "u32", "i8", "i16", "i32")
_SIZES = {"u8": 1, "u16": 2, "u32": 4, "i8": 1, "i16": 2, "i32": 4}
_ENUM = {"red": 1, "green": 2, "blue": 200}


@st.composite
def _integer(draw: st.DrawFn) -> dict[str, Any]:
    kind = draw(st.sampled_from(INTEGERS))
    field: dict[str, Any] = {"type": kind}
    also = draw(st.sampled_from(["", "", "enum", "bits", "scale"]))
    if also == "enum":
        field["enum"] = "colour"
    elif also == "bits":
        field["bits"] = draw(st.sampled_from([["on"], ["on", "level:3"], ["low:4", "high:4"]]))
    elif also == "scale":
        field["scale"] = draw(st.sampled_from([0.5, 10, 0.01]))
    if draw(st.integers(0, 19)) == 7:
        field["equals"] = draw(st.integers(0, 3))
    return field


@st.composite
def _sized(draw: st.DrawFn, earlier: list[str], last: bool, family: str, key: str) -> dict[str, Any]:
    """A field of octets, text or an array, in every way of saying how long it is."""
    ways = ["number", "prefix", *(["field"] if earlier else []), *(["rest"] if last else [])]
    way = draw(st.sampled_from(ways))
    field: dict[str, Any] = {"type": family}
    if way == "prefix":
        field["prefix"] = draw(st.sampled_from(["u8", "u16"]))
    else:
        number = draw(st.integers(0, 5))
        field[key] = {"number": number, "field": draw(st.sampled_from(earlier or ["-"])), "rest": "rest"}[way]
    return field


@st.composite
def _field(draw: st.DrawFn, earlier: list[str], layouts: list[str], last: bool) -> dict[str, Any]:
    kinds = ["integer", "integer", "octets", "text", "array", *(["layout"] if layouts else [])]
    kind = draw(st.sampled_from([*kinds, *(["tlv"] if last and layouts else [])]))
    if kind == "integer":
        return draw(_integer())
    if kind in ("octets", "text"):
        field = draw(_sized(earlier, last, kind, "size"))
        if kind == "octets" and isinstance(field.get("size"), int) and draw(st.integers(0, 9)) == 7:
            field["equals"] = draw(st.binary(min_size=field["size"], max_size=field["size"])).hex(" ")
        return field
    if kind == "array":
        return draw(_sized(earlier, last, kind, "count")) | {
            "of": draw(st.sampled_from([*INTEGERS, *layouts]))
        }
    if kind == "layout":
        return {"type": "layout", "layout": draw(st.sampled_from(layouts))}
    cases = draw(st.dictionaries(st.sampled_from(["0", "1", "0x2"]), st.sampled_from(layouts), max_size=3))
    tag, length = draw(st.sampled_from(["u8", "u16"])), draw(st.sampled_from(["u8", "u16", "u32"]))
    return {"type": "tlv", "tag": tag, "length": length, "cases": cases}


@st.composite
def declarations(draw: st.DrawFn) -> dict[str, Any]:
    """A table of declarations as TOML would give it: up to four layouts, the later ones made of the earlier ones."""
    layouts: dict[str, Any] = {}
    for name in draw(
        st.lists(st.sampled_from(string.ascii_lowercase[:8]), min_size=1, max_size=4, unique=True)
    ):
        fields: list[dict[str, Any]] = []
        count = draw(st.integers(1, 6))
        for number in range(count):
            plain = [
                f["name"]
                for f in fields
                if f["type"] in INTEGERS and not {"enum", "bits", "scale"} & f.keys()
            ]
            # A layout that takes the rest may be nested only at the end of another.
            closed = [each for each in layouts if not _open(layouts, each)]
            last = number == count - 1
            made = draw(_field(plain, list(layouts) if last else closed, last))
            fields.append({"name": f"f{number}", **made})
        layouts[name] = {"fields": fields}
    return {"enums": {"colour": {"values": _ENUM}}, "layouts": layouts}


def _open(layouts: dict[str, Any], name: str) -> bool:
    last = layouts[name]["fields"][-1]
    return (
        "rest" in (last.get("size"), last.get("count"))
        or last["type"] == "tlv"
        or (last.get("layout") in layouts and _open(layouts, last["layout"]))
        or (last.get("of") in layouts and _open(layouts, last["of"]))
    )


@st.composite
def octets_for(draw: st.DrawFn, most: int = 120) -> bytes:
    """Octets with many small numbers in them, so that lengths and counts often fit; often plenty of them."""
    size = draw(st.one_of(st.integers(0, most), st.just(most)))
    if draw(st.booleans()):
        return draw(st.binary(min_size=size, max_size=size))
    return bytes(draw(st.lists(st.sampled_from([0, 0, 0, 1, 2, 3, 200, 255]), min_size=size, max_size=size)))
