"""The layout language: TOML tables -> checked declarations. protocols/README.md describes it in prose.

All mistakes of a declaration are collected and told at once, each with the path of its key.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any, TypeGuard

from readoff.errors import ContractError

INTEGERS = {
    "u8": (1, False),
    "u16": (2, False),
    "u32": (4, False),
    "i8": (1, True),
    "i16": (2, True),
    "i32": (4, True),
}
_TYPES = (*INTEGERS, "octets", "text", "array", "layout", "tlv")
_KEYS = {
    "integer": {"enum", "bits", "scale", "unit", "equals"},
    "octets": {"size", "prefix", "equals"},
    "text": {"size", "prefix"},
    "array": {"of", "count", "prefix"},
    "layout": {"layout"},
    "tlv": {"tag", "length", "cases"},
}
_COMMON_KEYS = {"name", "type", "doc", "unit", "volatile"}
_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}\Z")
SIZE_LIMIT = 1 << 20  # no declared size or count may exceed the longest record


@dataclass(frozen=True)
class Field:
    """One field of a layout. ``size`` and ``count``: a number, the name of an earlier integer, or "rest"."""

    name: str
    type: str
    doc: str = ""
    unit: str = ""
    volatile: bool = False
    enum: str = ""
    bits: tuple[str, ...] = ()
    scale: Decimal | None = None
    equals: int | bytes | None = None
    size: int | str | None = None
    prefix: str = ""
    of: str = ""
    count: int | str | None = None
    layout: str = ""
    tag: str = ""
    length: str = ""
    cases: Mapping[int, str] = field(default_factory=dict)

    @property
    def is_integer(self) -> bool:
        """Whether the field is an integer of 1, 2 or 4 octets."""
        return self.type in INTEGERS


@dataclass(frozen=True)
class Layout:
    """A named sequence of fields; ``size`` is in octets where it is declared."""

    name: str
    fields: tuple[Field, ...]
    doc: str = ""
    size: int | None = None


@dataclass(frozen=True)
class Enumeration:
    """Names for the values of an integer."""

    name: str
    values: Mapping[str, int]
    doc: str = ""


@dataclass(frozen=True)
class Declarations:
    """All enumerations and layouts of one file, checked against one another."""

    where: str
    enums: Mapping[str, Enumeration]
    layouts: Mapping[str, Layout]

    def fixed_size(self, item: Field | Layout) -> int | None:
        """Size in octets of a field or layout, or None where it varies."""
        if isinstance(item, Layout):
            sizes = [self.fixed_size(each) for each in item.fields]
            return None if None in sizes else sum(size for size in sizes if size is not None)
        if item.is_integer:
            return INTEGERS[item.type][0]
        if item.type == "layout":
            return self.fixed_size(self.layouts[item.layout])
        if item.type in ("octets", "text"):
            return item.size if isinstance(item.size, int) else None
        if item.type == "array" and isinstance(item.count, int):
            each = self._element_size(item.of)
            return None if each is None else each * item.count
        return None

    def _element_size(self, of: str) -> int | None:
        return INTEGERS[of][0] if of in INTEGERS else self.fixed_size(self.layouts[of])


class _Checker:
    """Reads one table of declarations; ``mistakes`` gathers what is wrong."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.mistakes: list[str] = []

    def wrong(self, place: str, what: str) -> None:
        self.mistakes.append(f"{place}: {what}")

    def enumeration(self, name: str, table: object) -> Enumeration | None:
        place = f"enums.{name}"
        values = table.get("values") if isinstance(table, Mapping) else None
        if not isinstance(values, Mapping) or not values:
            self.wrong(place, "needs values = { name = number, … }")
            return None
        for key, value in values.items():
            if not _is_int(value) or not 0 <= value < 1 << 32:
                self.wrong(f"{place}.values.{key}", "must be a whole number from 0 to 4294967295")
        if len(set(map(str, values.values()))) != len(values):
            self.wrong(f"{place}.values", "two names have the same number")
        doc = str(table.get("doc", "")) if isinstance(table, Mapping) else ""
        return Enumeration(name, {str(k): v for k, v in values.items() if _is_int(v)}, doc)

    def layout(self, name: str, table: object) -> Layout | None:
        place = f"layouts.{name}"
        if not _NAME.match(name):
            self.wrong(place, "a name is small letters, digits and _, at most 40, a letter first")
        if not isinstance(table, Mapping) or not isinstance(table.get("fields"), list) or not table["fields"]:
            self.wrong(place, "needs fields = [ … ]")
            return None
        for key in set(table) - {"doc", "size", "fields"}:
            self.wrong(f"{place}.{key}", "is not a key of a layout (doc, size, fields)")
        fields: list[Field] = []
        for number, entry in enumerate(table["fields"]):
            made = self._field(f"{place}.fields[{number}]", entry, fields)
            if made is not None:
                fields.append(made)
        size = table.get("size")
        if size is not None and (not _is_int(size) or not 0 < size <= SIZE_LIMIT):
            self.wrong(f"{place}.size", f"must be a whole number from 1 to {SIZE_LIMIT}")
        return Layout(name, tuple(fields), str(table.get("doc", "")), size)

    def _field(self, place: str, entry: object, earlier: list[Field]) -> Field | None:
        if not isinstance(entry, Mapping):
            self.wrong(place, "must be a table with name and type")
            return None
        name, kind = entry.get("name"), entry.get("type")
        if not isinstance(name, str) or not _NAME.match(name):
            self.wrong(
                f"{place}.name", "needs a name of small letters, digits and _, at most 40, a letter first"
            )
            return None
        place = f"{place} ({name})"
        if name in {each.name for each in earlier}:
            self.wrong(f"{place}.name", "stands twice in this layout")
        if kind not in _TYPES:
            self.wrong(f"{place}.type", f"{kind!r} is not a type ({', '.join(_TYPES)})")
            return None
        family = "integer" if kind in INTEGERS else str(kind)
        for key in set(entry) - _COMMON_KEYS - _KEYS[family]:
            self.wrong(f"{place}.{key}", f"is not a key of a field of type {kind}")
        sized = self._sized(place, family, entry, earlier)
        return Field(
            name=name,
            type=str(kind),
            doc=str(entry.get("doc", "")),
            unit=str(entry.get("unit", "")),
            volatile=bool(entry.get("volatile", False)),
            enum=str(entry.get("enum", "")),
            bits=self._bits(place, str(kind), entry.get("bits", [])),
            scale=self._scale(place, entry.get("scale")),
            equals=self._equals(place, str(kind), entry.get("equals"), sized.get("size")),
            of=str(entry.get("of", "")),
            layout=str(entry.get("layout", "")),
            tag=str(entry.get("tag", "")),
            length=str(entry.get("length", "")),
            cases=self._cases(place, entry.get("cases", {})),
            **sized,
        )

    def _sized(
        self, place: str, family: str, entry: Mapping[str, Any], earlier: list[Field]
    ) -> dict[str, Any]:
        """Checks size, count and prefix; exactly one of them says how long octets, text and arrays are."""
        out: dict[str, Any] = {"prefix": str(entry.get("prefix", ""))}
        key = {"octets": "size", "text": "size", "array": "count"}.get(family)
        if key is None:
            return out
        if (key in entry) == ("prefix" in entry):
            self.wrong(
                place, f'needs either {key} (a number, an earlier field, or "rest") or prefix ("u8", "u16")'
            )
            return out
        if "prefix" in entry and entry["prefix"] not in ("u8", "u16"):
            self.wrong(f"{place}.prefix", 'must be "u8" or "u16"')
        value = entry.get(key)
        out[key] = value
        if _is_int(value) and not 0 <= value <= SIZE_LIMIT:
            self.wrong(f"{place}.{key}", f"must be from 0 to {SIZE_LIMIT}")
        elif isinstance(value, str) and value != "rest":
            source = next((each for each in earlier if each.name == value), None)
            if source is None or not source.is_integer or source.bits or source.enum or source.scale:
                self.wrong(f"{place}.{key}", f"{value!r} is not an earlier plain integer of this layout")
        elif value is not None and not _is_int(value) and not isinstance(value, str):
            self.wrong(f"{place}.{key}", 'must be a number, an earlier field, or "rest"')
        return out

    def _bits(self, place: str, kind: str, value: object) -> tuple[str, ...]:
        if not value:
            return ()
        if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
            self.wrong(f"{place}.bits", "must be a list of names, lowest bit first; name:2 takes two bits")
            return ()
        widths = [_bit_width(each) for each in value]
        if None in widths:
            self.wrong(f"{place}.bits", "a width is a number from 1 to 32, as in name:2")
        elif kind in INTEGERS and sum(w for w in widths if w) > 8 * INTEGERS[kind][0]:
            self.wrong(f"{place}.bits", f"more bits than {kind} has")
        return tuple(value)

    def _scale(self, place: str, value: object) -> Decimal | None:
        if value is None:
            return None
        try:
            scale = Decimal(str(value))
        except InvalidOperation:
            scale = Decimal(0)
        if not scale.is_finite() or scale <= 0:
            self.wrong(f"{place}.scale", "must be a positive number")
            return None
        return scale

    def _equals(self, place: str, kind: str, value: object, size: object) -> int | bytes | None:
        if value is None:
            return None
        if kind == "octets" and isinstance(value, str):
            try:
                octets = bytes.fromhex(value)
            except ValueError:
                octets = b""
            if len(octets) == size:
                return octets
            self.wrong(f"{place}.equals", "must be as many hex octets as size says")
            return None
        if kind in INTEGERS and _is_int(value):
            return int(str(value))
        self.wrong(f"{place}.equals", "must be a number, or hex octets for octets")
        return None

    def _cases(self, place: str, value: object) -> dict[int, str]:
        cases: dict[int, str] = {}
        for key, layout in value.items() if isinstance(value, Mapping) else []:
            try:
                cases[int(str(key), 0)] = str(layout)
            except ValueError:
                self.wrong(f"{place}.cases.{key}", "a tag is a number")
        return cases

    def references(self, made: Declarations) -> None:
        """Every name that is used is declared; no layout contains itself; nothing follows "rest"."""
        for layout in made.layouts.values():
            for number, each in enumerate(layout.fields):
                place = f"layouts.{layout.name}.fields[{number}] ({each.name})"
                self._field_references(place, each, made)
                open_ended = "rest" in (each.size, each.count) or each.type == "tlv"
                if open_ended and number != len(layout.fields) - 1:
                    self.wrong(place, "takes the rest, so it must be the last field")
            if _contains(layout.name, layout.name, made, set()):
                self.wrong(f"layouts.{layout.name}", "contains itself")
        if self.mistakes:
            return
        for layout in made.layouts.values():
            actual = made.fixed_size(layout)
            if layout.size is not None and actual != layout.size:
                self.wrong(f"layouts.{layout.name}.size", f"says {layout.size}, its fields make {actual}")
            for each in layout.fields:
                if each.type == "array" and each.of not in INTEGERS and not _least(each.of, made):
                    # Some octets could ask for four thousand million of them, or for as many as fit nowhere.
                    self.wrong(
                        f"layouts.{layout.name}.{each.name}", "an array of what may be nothing has no end"
                    )

    def _field_references(self, place: str, each: Field, made: Declarations) -> None:
        if each.enum and each.enum not in made.enums:
            self.wrong(f"{place}.enum", f"{each.enum!r} is not declared")
        if sum(map(bool, (each.enum, each.bits, each.scale))) > 1:
            self.wrong(place, "has more than one of enum, bits, scale")
        if each.type == "layout" and each.layout not in made.layouts:
            self.wrong(f"{place}.layout", f"{each.layout!r} is not declared")
        if each.type == "array" and each.of not in INTEGERS and each.of not in made.layouts:
            self.wrong(f"{place}.of", f"{each.of!r} is neither an integer type nor a declared layout")
        if each.type == "tlv":
            if each.tag not in ("u8", "u16") or each.length not in ("u8", "u16", "u32"):
                self.wrong(place, 'needs tag = "u8" or "u16" and length = "u8", "u16" or "u32"')
            for layout in each.cases.values():
                if layout not in made.layouts:
                    self.wrong(f"{place}.cases", f"{layout!r} is not declared")


def _contains(name: str, within: str, made: Declarations, seen: set[str]) -> bool:
    if within in seen or within not in made.layouts:
        return False
    seen.add(within)
    for each in made.layouts[within].fields:
        for inner in (each.layout, each.of, *each.cases.values()):
            if inner == name or (inner and _contains(name, inner, made, seen)):
                return True
    return False


def _least(name: str, made: Declarations) -> int:
    """The fewest octets that a layout takes, by what it declares."""
    return sum(_least_of(each, made) for each in made.layouts[name].fields)


def _least_of(each: Field, made: Declarations) -> int:
    if each.is_integer:
        return INTEGERS[each.type][0]
    if each.type == "layout":
        return _least(each.layout, made)
    if each.prefix:
        return INTEGERS[each.prefix][0]
    if each.type == "array" and isinstance(each.count, int):
        return each.count * (INTEGERS[each.of][0] if each.of in INTEGERS else _least(each.of, made))
    return each.size if isinstance(each.size, int) else 0


def _is_int(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool)


def _bit_width(entry: str) -> int | None:
    _, colon, width = entry.partition(":")
    if not colon:
        return 1
    return int(width) if width.isdigit() and 1 <= int(width) <= 32 else None


def bit_fields(entry: Field) -> list[tuple[str, int, int]]:
    """(name, lowest bit, width) of each named bit of an integer field."""
    out, at = [], 0
    for each in entry.bits:
        width = _bit_width(each) or 1
        out.append((each.partition(":")[0], at, width))
        at += width
    return out


def declare(table: Mapping[str, Any], where: str) -> Declarations:
    """Makes declarations of a parsed TOML table.

    where: the file's name, for messages. Raises ContractError naming every mistake at once.
    """
    checker = _Checker(where)
    enums, layouts = table.get("enums", {}), table.get("layouts", {})
    for key, value in (("enums", enums), ("layouts", layouts)):
        if not isinstance(value, Mapping):
            raise ContractError(f"{key} must be a table", where=where)
    made_enums = {name: enum for name, entry in enums.items() if (enum := checker.enumeration(name, entry))}
    made_layouts = {
        name: layout for name, entry in layouts.items() if (layout := checker.layout(name, entry))
    }
    made = Declarations(where, made_enums, made_layouts)
    checker.references(made)
    if checker.mistakes:
        raise ContractError("; ".join(checker.mistakes), where=where, next_step="Correct the declaration.")
    return made
