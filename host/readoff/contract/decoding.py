"""Declared layouts as decoders that are quick: octets -> the very values that the codec's own parser gives.

The codec reads by ``construct``, which is thorough, tells the path of each mistake, and takes some 40 µs a section.
Here the same declarations become ``struct`` formats, one for each stretch of fields whose sizes are fixed. A decoder
only says Misfit where octets do not fit; whoever wants to know why asks the codec, so that there is one wording of each
mistake. A property-based test holds the two equal for any layout and any octets.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping
from typing import Any

from readoff.contract import cp437
from readoff.contract.language import INTEGERS, Declarations, Field, Layout, bit_fields

_FORMATS = {"u8": "B", "u16": "H", "u32": "I", "i8": "b", "i16": "h", "i32": "i"}

Values = dict[str, Any]
Part = Callable[[bytes, int, Values], int]
"""Decodes some fields of a layout at an offset into the values; gives the offset after them. Raises Misfit."""
Convert = Callable[[Any], Any]


class Misfit(Exception):  # noqa: N818 - an answer to the codec, which tells the person what is wrong
    """The octets do not fit the layout."""


class Decoder:
    """Decodes the layouts of one file of declarations; each is prepared when it is first asked for."""

    def __init__(self, declarations: Declarations) -> None:
        self._declarations = declarations
        self._made: dict[str, tuple[Part, ...]] = {}

    def decode(self, layout: str, octets: bytes) -> tuple[Values, int]:
        """(values of one layout, octets that it took). Raises Misfit, KeyError where there is no such layout."""
        values: Values = {}
        try:
            at = _run(self._parts(layout), octets, 0, values)
        except struct.error as error:
            raise Misfit from error
        return values, at

    def _parts(self, name: str) -> tuple[Part, ...]:
        if name not in self._made:
            self._made[name] = tuple(self._prepared(self._declarations.layouts[name]))
        return self._made[name]

    def _prepared(self, layout: Layout) -> list[Part]:
        """Fields of fixed size next to one another in one part each, all others in parts of their own."""
        parts: list[Part] = []
        fixed: list[Field] = []
        for field in layout.fields:
            if field.is_integer or (field.type in ("octets", "text") and isinstance(field.size, int)):
                fixed.append(field)
                continue
            parts += [self._fixed(fixed)] if fixed else []
            fixed = []
            parts.append(self._varying(field))
        return parts + ([self._fixed(fixed)] if fixed else [])

    # -- fields of fixed size --------------------------------------------------------------------------------

    def _fixed(self, fields: list[Field]) -> Part:
        names = tuple(field.name for field in fields)
        shape = struct.Struct("<" + "".join(_FORMATS.get(each.type, f"{each.size}s") for each in fields))
        converts = tuple((each.name, made) for each in fields if (made := self._converted(each)) is not None)
        unpack, size = shape.unpack_from, shape.size

        def part(octets: bytes, at: int, values: Values) -> int:
            values.update(zip(names, unpack(octets, at), strict=True))
            for name, convert in converts:
                values[name] = convert(values[name])
            return at + size

        return part

    def _converted(self, field: Field) -> Convert | None:
        """What makes the field's value of the number or the octets that were read, where it is not the same."""
        made: Convert | None = None
        if field.enum:
            made = _named(self._declarations.enums[field.enum].values)
        elif field.bits:
            made = _bits(field)
        elif field.scale is not None:
            made = field.scale.__mul__
        elif field.type == "text":
            made = _padded_text if isinstance(field.size, int) else cp437.decode
        return made if field.equals is None else _equal(field.equals, made)

    # -- fields whose size the octets say ----------------------------------------------------------------------

    def _varying(self, field: Field) -> Part:
        if field.type in ("octets", "text"):
            return self._octets(field)
        if field.type == "array":
            return self._array(field)
        if field.type == "layout":
            return self._nested(field)
        return self._tlv(field)

    def _octets(self, field: Field) -> Part:
        convert, length, name = self._converted(field), _length(field, field.size), field.name

        def part(octets: bytes, at: int, values: Values) -> int:
            begin, size = length(octets, at, values)
            piece = octets[begin : begin + size]
            if size < 0 or len(piece) != size:
                raise Misfit
            values[name] = convert(piece) if convert else piece
            return begin + size

        return part

    def _nested(self, field: Field) -> Part:
        parts, name = self._parts(field.layout), field.name

        def part(octets: bytes, at: int, values: Values) -> int:
            inner: Values = {}
            values[name] = inner
            return _run(parts, octets, at, inner)

        return part

    def _array(self, field: Field) -> Part:
        return self._numbers(field) if field.of in INTEGERS else self._layouts(field)

    def _numbers(self, field: Field) -> Part:
        width, letter = INTEGERS[field.of][0], _FORMATS[field.of]
        length, name, greedy = _length(field, field.count), field.name, field.count == "rest"

        def part(octets: bytes, at: int, values: Values) -> int:
            begin, count = length(octets, at, values)
            if greedy:
                count, over = divmod(count, width)
                if over:
                    raise Misfit
            if count < 0 or begin + count * width > len(octets):
                raise Misfit
            values[name] = list(struct.unpack_from(f"<{count}{letter}", octets, begin))
            return begin + count * width

        return part

    def _layouts(self, field: Field) -> Part:
        parts, name = self._parts(field.of), field.name
        length, greedy = _length(field, field.count), field.count == "rest"

        def part(octets: bytes, at: int, values: Values) -> int:
            at, count = length(octets, at, values)
            if count < 0:
                raise Misfit
            made: list[Values] = []
            while (at < len(octets)) if greedy else (len(made) < count):
                inner: Values = {}
                at = _run(parts, octets, at, inner)
                made.append(inner)
            values[name] = made
            return at

        return part

    def _tlv(self, field: Field) -> Part:
        head = struct.Struct("<" + _FORMATS[field.tag] + _FORMATS[field.length])
        cases = {tag: self._parts(layout) for tag, layout in field.cases.items()}
        name = field.name

        def part(octets: bytes, at: int, values: Values) -> int:
            made: list[list[Any]] = []
            while at < len(octets):
                tag, size = head.unpack_from(octets, at)
                at += head.size
                piece = octets[at : at + size]
                if len(piece) != size:
                    raise Misfit
                made.append([tag, _whole(cases[tag], piece) if tag in cases else piece])
                at += size
            values[name] = made
            return at

        return part


def _run(parts: tuple[Part, ...], octets: bytes, at: int, values: Values) -> int:
    for part in parts:
        at = part(octets, at, values)
    return at


def _whole(parts: tuple[Part, ...], octets: bytes) -> Values:
    values: Values = {}
    if _run(parts, octets, 0, values) != len(octets):
        raise Misfit
    return values


def _length(field: Field, told: int | str | None) -> Callable[[bytes, int, Values], tuple[int, int]]:
    """(where the content begins, how much there is): by a number before it, an earlier field, or as declared."""
    if field.prefix:
        head = struct.Struct("<" + _FORMATS[field.prefix])
        return lambda octets, at, _: (at + head.size, head.unpack_from(octets, at)[0])
    if told == "rest":
        return lambda octets, at, _: (at, len(octets) - at)
    if isinstance(told, str):
        return lambda _, at, values: (at, values[told])
    size = told or 0
    return lambda _octets, at, _values: (at, size)


def _named(values: Mapping[str, int]) -> Convert:
    names = {number: name for name, number in values.items()}
    return lambda number: names.get(number, number)


def _bits(field: Field) -> Convert:
    fields = [(name, at, (1 << width) - 1) for name, at, width in bit_fields(field)]
    rest = ~sum(mask << at for _, at, mask in fields)

    def convert(number: int) -> dict[str, int | bool]:
        out: dict[str, int | bool] = {
            name: bool(number >> at & 1) if mask == 1 else number >> at & mask for name, at, mask in fields
        }
        out["other"] = number & rest
        return out

    return convert


def _padded_text(octets: bytes) -> str:
    return cp437.decode(octets.rstrip(b"\0"))


def _equal(wanted: int | bytes, made: Convert | None) -> Convert:
    def convert(value: Any) -> Any:
        value = made(value) if made else value
        if value != wanted:
            raise Misfit
        return value

    return convert
