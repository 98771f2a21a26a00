"""Sound octets and tables, spoiled by a random.Random: what fuzz targets begin with."""

from __future__ import annotations

from random import Random
from typing import Any

from support.strange_toml import changed, places

_STRANGE: tuple[Any, ...] = (
    *(
        "",
        "a",
        "u8",
        "u16",
        "i32",
        "rest",
        "octets",
        "text",
        "array",
        "layout",
        "tlv",
        "x * y",
        "(?P<number>.*)",
    ),
    *(
        "tests[*].a",
        "80x25",
        "\x00",
        "♥",
        "x" * 5000,
        "(" * 200,
        "9" * 400,
        "(a{1,500}){1,500}",
        "1/0",
        "2^(2^99)",
    ),
    *(0, 1, -1, 7, 255, 256, 65536, 2**31, 2**40, -(2**63), True, False, 0.0, -0.5, 1e-320, 1e308),
    *(
        float("inf"),
        float("nan"),
        [],
        {},
        [[]],
        ["a", 1, {}],
        {"a": {}},
        {"fields": []},
        {"name": "z", "type": "u8"},
    ),
)


def spoiled(draw: Random, octets: bytes, most: int = 8) -> bytes:
    """Octets with up to ``most`` changes: flipped, overwritten with edges, lost, doubled, moved, cut, noise put in."""
    out = bytearray(octets)
    for _ in range(draw.randint(0, most)):
        at = draw.randrange(len(out) + 1)
        size = min(draw.choice((1, 1, 2, 4, 30)), len(out) - at)
        way = draw.randrange(7)
        if way == 0 and size:
            out[at] ^= 1 << draw.randrange(8)
        elif way == 1:
            out[at : at + size] = draw.choice((b"\0", b"\xff", b"\x7f", b"\x01", b"\x80")) * size
        elif way == 2:
            del out[at : at + size]
        elif way == 3:
            out[at:at] = out[at : at + size] * draw.choice((1, 1, 2, 50))
        elif way == 4:
            begin = draw.randrange(len(out) + 1)
            out[at : at + size] = out[begin : begin + size]
        elif way == 5:
            out[at:at] = draw.randbytes(draw.choice((1, 2, 40)))
        elif draw.randrange(4) == 0:
            del out[at:]
    return bytes(out)


def strange(draw: Random, table: dict[str, Any], most: int = 3) -> dict[str, Any]:
    """A table with up to ``most`` of its places holding something else: strange, or from another place of it."""
    for _ in range(draw.randint(0, most)):
        known = list(places(table))
        if not known:
            break
        new = draw.choice(_STRANGE) if draw.randrange(3) else _at(table, draw.choice(known))
        table = changed(table, draw.choice(known), new)
    return table


def _at(table: Any, path: tuple[str | int, ...]) -> Any:
    for key in path:
        table = table[key]
    return table
