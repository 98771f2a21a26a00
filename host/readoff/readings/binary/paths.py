"""Paths to fields, "tests[*].rate": checked against the layouts when a schema is loaded, followed in what was parsed.

A parsed value does not say where it came from, so the octets of a field are found by adding up what stands before it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from readoff.contract import Declarations, Field
from readoff.contract.language import INTEGERS

_STEP = re.compile(r"([a-z][a-z0-9_]*)(?:\[(\*|[0-9]{1,6})\])?")


@dataclass(frozen=True)
class Leaf:
    """One field of a file: its value as parsed, its octets, its path with every index."""

    value: Any
    begin: int
    end: int
    path: str


@dataclass(frozen=True)
class Path:
    """A path that fits the layouts: (name, index) by name, the index None, a number or -1 for each; and its field."""

    text: str
    steps: tuple[tuple[str, int | None], ...]
    field: Field

    def leaves(self, declared: Declarations, layout: str, values: Mapping[str, Any]) -> Iterator[Leaf]:
        """The fields that the path leads to, in the order of the file; none where an index is not there."""
        yield from _follow(declared, self.steps, layout, values, 0, "")


def parse_path(text: str, declared: Declarations, layout: str) -> Path | tuple[str, str]:
    """A path to an integer or a text, or (what is wrong, what would be right)."""
    steps: list[tuple[str, int | None]] = []
    parts = text.split(".")
    inside, field = layout, None
    for number, part in enumerate(parts):
        step = _STEP.fullmatch(part)
        if not step:
            return (
                f"{part!r} in {text!r}",
                "names with points between, [*] or [0] after an array: tests[*].rate",
            )
        fields = {each.name: each for each in declared.layouts[inside].fields}
        name, index = step[1], step[2]
        field = fields.get(name)
        if field is None:
            return f"the layout {inside!r} has no field {name!r}", f"one of {', '.join(fields)}"
        if (field.type == "array") != bool(index):
            right = f"{name}[*]" if field.type == "array" else f"{name} without an index"
            return f"{part!r}, a field of type {field.type}", right
        steps.append((name, None if index is None else -1 if index == "*" else int(index)))
        inner = field.layout or (field.of if field.of in declared.layouts else "")
        if number < len(parts) - 1 and not inner:
            return (
                f"{name!r} has nothing inside it",
                f"a path that ends there: {'.'.join(parts[: number + 1])}",
            )
        inside = inner or inside
        if number == len(parts) - 1 and inner:
            return (
                f"{name!r} has fields of its own",
                f"one of them: {name}.{declared.layouts[inner].fields[0].name}",
            )
    assert field  # a text that is split has at least one part
    if sum(index == -1 for _, index in steps) > 1:
        return f"more than one [*] in {text!r}", "one [*], and numbers for the others"
    flaw = _no_number(field)
    return flaw or Path(text, tuple(steps), field)


def _no_number(field: Field) -> tuple[str, str] | None:
    if field.enum or field.bits:
        return f"{field.name!r} is an enumeration or bits", "a field that is a number"
    if not (field.is_integer or field.type == "text" or field.of in INTEGERS):
        return f"{field.name!r} is of type {field.type}", "an integer, an array of integers, or a text"
    return None


def _follow(
    declared: Declarations,
    steps: Sequence[tuple[str, int | None]],
    layout: str,
    values: Mapping[str, Any],
    offset: int,
    path: str,
) -> Iterator[Leaf]:
    name, index = steps[0]
    for field in declared.layouts[layout].fields:
        value = values[field.name]
        if field.name == name:
            break
        offset += _size(declared, field, value)
    path = f"{path}.{name}" if path else name
    if index is None:
        if field.layout:
            yield from _follow(declared, steps[1:], field.layout, value, offset, path)
        else:
            begin = offset + _prefix(field)
            yield Leaf(value, begin, offset + _size(declared, field, value), path)
        return
    offset += _prefix(field)
    for number, element in enumerate(value):
        size = _element_size(declared, field, element)
        if index in (-1, number):
            place = f"{path}[{number}]"
            if field.of in INTEGERS:
                yield Leaf(element, offset, offset + size, place)
            else:
                yield from _follow(declared, steps[1:], field.of, element, offset, place)
        offset += size


def _size(declared: Declarations, field: Field, value: Any) -> int:
    """The octets that a field took, its length prefix included. A tlv is the last of its layout: nobody asks."""
    if field.is_integer:
        return INTEGERS[field.type][0]
    if field.type == "layout":
        return _layout_size(declared, field.layout, value)
    if field.type == "array":
        return _prefix(field) + sum(_element_size(declared, field, each) for each in value)
    return _prefix(field) + (field.size if isinstance(field.size, int) else len(value))


def _layout_size(declared: Declarations, layout: str, values: Mapping[str, Any]) -> int:
    return sum(_size(declared, field, values[field.name]) for field in declared.layouts[layout].fields)


def _element_size(declared: Declarations, field: Field, element: Any) -> int:
    return INTEGERS[field.of][0] if field.of in INTEGERS else _layout_size(declared, field.of, element)


def _prefix(field: Field) -> int:
    return INTEGERS[field.prefix][0] if field.prefix else 0
