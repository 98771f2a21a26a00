"""Declared layouts as ``construct`` objects: octets -> plain values and back.

Values: integers as int (Decimal where a scale is declared; the name where an enumeration is declared, or the
number where it has no name; a dict of bools and ints where bits are), octets as bytes, text as str, arrays as
lists, layouts as dicts, tlv as a list of (tag, dict or bytes).

Octets are decoded by decoding.py, which is quick; what does not fit is parsed again by ``construct``, which tells why
and where. (Interpreted, never ``compile()``d: compiled construct accepts truncated data.) A test holds both equal.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import construct as c

from readoff.contract import cp437
from readoff.contract.decoding import Decoder, Misfit
from readoff.contract.language import INTEGERS, Declarations, Field, bit_fields
from readoff.errors import ContractError, MalformedError

_INTEGER = {
    "u8": c.Int8ul,
    "u16": c.Int16ul,
    "u32": c.Int32ul,
    "i8": c.Int8sl,
    "i16": c.Int16sl,
    "i32": c.Int32sl,
}


# What construct says, for people.
_ENDS_EARLY = re.compile(r"stream read less than specified amount, expected (\d+), found (\d+)")
_DIFFERS = re.compile(r"parsing expected (.+) but parsed (.+)")


class _UntilEnd(c.Subconstruct):  # type: ignore[misc]
    """An array that goes on to the end of the octets; unlike GreedyRange it hides no error."""

    def _parse(self, stream: Any, context: Any, path: str) -> list[Any]:
        out: list[Any] = []
        start, end = stream.tell(), stream.seek(0, io.SEEK_END)
        stream.seek(start)
        while stream.tell() < end:
            out.append(self.subcon._parsereport(stream, context, f"{path}[{len(out)}]"))
        return out

    def _build(self, obj: Any, stream: Any, context: Any, path: str) -> Any:
        for number, each in enumerate(obj):
            self.subcon._build(each, stream, context, f"{path}[{number}]")
        return obj


class _Text(c.Adapter):  # type: ignore[misc]
    """Octets as code page 437 text; of fixed size: NULs at the end are padding."""

    def __init__(self, subcon: Any, size: int | None) -> None:
        super().__init__(subcon)
        self.size = size

    def _decode(self, obj: bytes, context: Any, path: str) -> str:
        return cp437.decode(obj.rstrip(b"\0") if self.size is not None else obj)

    def _encode(self, obj: str, context: Any, path: str) -> bytes:
        octets = cp437.encode(obj)
        if self.size is None:
            return octets
        if len(octets) > self.size:
            raise c.StringError(f"text is longer than {self.size} octets", path=path)
        return octets.ljust(self.size, b"\0")


class _Named(c.Adapter):  # type: ignore[misc]
    """Numbers by their declared names; a number without a name stays a number."""

    def __init__(self, subcon: Any, values: Mapping[str, int]) -> None:
        super().__init__(subcon)
        self.by_name = dict(values)
        self.by_number = {number: name for name, number in values.items()}

    def _decode(self, obj: int, context: Any, path: str) -> str | int:
        return self.by_number.get(obj, obj)

    def _encode(self, obj: str | int, context: Any, path: str) -> int:
        if isinstance(obj, int):
            return obj
        if obj not in self.by_name:
            raise c.MappingError(f"{obj!r} is not one of {', '.join(self.by_name)}", path=path)
        return self.by_name[obj]


class _Bits(c.Adapter):  # type: ignore[misc]
    """An integer as named bits; bits without a name are kept under "other"."""

    def __init__(self, subcon: Any, field: Field) -> None:
        super().__init__(subcon)
        self.fields = bit_fields(field)

    def _decode(self, obj: int, context: Any, path: str) -> dict[str, int | bool]:
        out: dict[str, int | bool] = {}
        for name, at, width in self.fields:
            value = obj >> at & (1 << width) - 1
            out[name] = bool(value) if width == 1 else value
            obj &= ~((1 << width) - 1 << at)
        out["other"] = obj
        return out

    def _encode(self, obj: Mapping[str, int | bool], context: Any, path: str) -> int:
        number = int(obj.get("other", 0))
        for name, at, width in self.fields:
            value = int(obj.get(name, 0))
            if not 0 <= value < 1 << width:
                raise c.IntegerError(f"{name} does not fit {width} bits", path=path)
            number |= value << at
        return number


class _Scaled(c.Adapter):  # type: ignore[misc]
    """An integer times a declared scale, as an exact Decimal."""

    def __init__(self, subcon: Any, scale: Decimal) -> None:
        super().__init__(subcon)
        self.scale = scale

    def _decode(self, obj: int, context: Any, path: str) -> Decimal:
        return obj * self.scale

    def _encode(self, obj: Decimal, context: Any, path: str) -> int:
        number = Decimal(obj) / self.scale
        if number != number.to_integral_value():
            raise c.IntegerError(f"{obj} is not a multiple of {self.scale}", path=path)
        return int(number)


class Codec:
    """Parses and builds the layouts of one file of declarations."""

    def __init__(self, declarations: Declarations) -> None:
        self.declarations = declarations
        self._made: dict[str, Any] = {}
        self._decoder = Decoder(declarations)

    def parse(self, layout: str, octets: bytes, *, where: str = "") -> dict[str, Any]:
        """All of ``octets`` as one layout.

        Raises MalformedError (too short, too long, a fixed value that differs) with the path of the field,
        ContractError when there is no such layout.
        """
        values, took = self._decoded(layout, octets)
        if values is None or took != len(octets):
            return self.parse_slowly(layout, octets, where=where)
        return values

    def parse_prefix(self, layout: str, octets: bytes, *, where: str = "") -> dict[str, Any]:
        """Like parse, but octets after the layout are left alone (a later version may have added fields)."""
        values, _ = self._decoded(layout, octets)
        if values is None:
            return self.parse_slowly(layout, octets, where=where, whole=False)
        return values

    def _decoded(self, layout: str, octets: bytes) -> tuple[dict[str, Any] | None, int]:
        if layout not in self.declarations.layouts:
            raise ContractError(f"there is no layout {layout!r}", where=self.declarations.where)
        try:
            return self._decoder.decode(layout, octets)
        except Misfit:
            return None, 0

    def parse_slowly(
        self, layout: str, octets: bytes, *, where: str = "", whole: bool = True
    ) -> dict[str, Any]:
        """By ``construct`` alone: what parse does (or parse_prefix, without whole) where it has a mistake to tell."""
        made = self._layout(layout)
        try:
            if whole:
                return dict(_plain(c.Struct("it" / made, c.Terminated).parse(octets)["it"]))
            return dict(_plain(made.parse(octets)))
        except c.ConstructError as error:
            raise MalformedError(_reason(error), where=_place(where, layout, error)) from error

    def build(self, layout: str, values: Mapping[str, Any]) -> bytes:
        """The octets of one layout. Raises ContractError with the path of the field that does not fit."""
        try:
            return bytes(self._layout(layout).build(dict(values)))
        except (c.ConstructError, KeyError, TypeError, ValueError) as error:
            raise ContractError(f"cannot build: {_reason(error)}", where=_place("", layout, error)) from error

    def _layout(self, name: str) -> Any:
        if name not in self._made:
            if name not in self.declarations.layouts:
                raise ContractError(f"there is no layout {name!r}", where=self.declarations.where)
            fields = [each.name / self._field(each) for each in self.declarations.layouts[name].fields]
            self._made[name] = c.Struct(*fields)
        return self._made[name]

    def _field(self, field: Field) -> Any:
        if field.is_integer:
            return self._integer(field)
        if field.type in ("octets", "text"):
            made = self._octets(field)
            if field.type == "text":
                return _Text(made, field.size if isinstance(field.size, int) else None)
            return c.Const(field.equals, made) if field.equals is not None else made
        if field.type == "array":
            return self._array(field)
        if field.type == "layout":
            return self._layout(field.layout)
        return _UntilEnd(self._tlv(field))

    def _integer(self, field: Field) -> Any:
        made = _INTEGER[field.type]
        if field.enum:
            made = _Named(made, self.declarations.enums[field.enum].values)
        elif field.bits:
            made = _Bits(made, field)
        elif field.scale is not None:
            made = _Scaled(made, field.scale)
        return c.Const(field.equals, made) if field.equals is not None else made

    def _octets(self, field: Field) -> Any:
        if field.prefix:
            return c.Prefixed(_INTEGER[field.prefix], c.GreedyBytes)
        if field.size == "rest":
            return c.GreedyBytes
        return c.Bytes(_size_of(field.size))

    def _array(self, field: Field) -> Any:
        element = _INTEGER[field.of] if field.of in INTEGERS else self._layout(field.of)
        if field.prefix:
            return c.PrefixedArray(_INTEGER[field.prefix], element)
        if field.count == "rest":
            return _UntilEnd(element)
        return c.Array(_size_of(field.count), element)

    def _tlv(self, field: Field) -> Any:
        length = _INTEGER[field.length]
        cases = {
            tag: c.Prefixed(length, c.FocusedSeq("it", "it" / self._layout(name), c.Terminated))
            for tag, name in field.cases.items()
        }
        unknown = c.Prefixed(length, c.GreedyBytes)
        return c.Sequence("tag" / _INTEGER[field.tag], "value" / c.Switch(c.this.tag, cases, default=unknown))


def _size_of(size: int | str | None) -> Any:
    return size if isinstance(size, int) else (lambda context: getattr(context, str(size)))


def _plain(value: Any) -> Any:
    """Containers without construct's own bookkeeping."""
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items() if not str(key).startswith("_")}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    return value


def _reason(error: Exception) -> str:
    if isinstance(error, c.TerminatedError):
        return "octets are left over"
    text = str(error).strip().splitlines() or [type(error).__name__]
    if short := _ENDS_EARLY.fullmatch(text[-1]):
        return f"the octets end there: {short[1]} due, {short[2]} left"
    if other := _DIFFERS.fullmatch(text[-1]):
        return f"{other[1]} is due, {other[2]} is there"
    return text[-1]


def _place(where: str, layout: str, error: Exception) -> str:
    path = getattr(error, "path", None) or ""
    names = [part.strip() for part in path.replace("(parsing)", "").replace("(building)", "").split("->")]
    steps = [name for name in names if name and name != "it"]
    return ".".join([*([where] if where else []), layout, *steps])
