"""The layouts that a binary schema declares, in the contract's language, with bounds that no file can stretch.

The language bounds every declared size; here the nesting is bounded too, and an array of what may be nothing is
refused, so that parsing takes no more steps than a file has octets.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from readoff.contract import Declarations, Field, declare
from readoff.contract.language import INTEGERS
from readoff.errors import ContractError
from readoff.readings.table import Table

MOST_LAYOUTS = 100
DEEPEST = 12
MOST_FIELDS = 2000  # of a layout with all those inside it

_RIGHT = "a declaration as protocols/README.md describes it"
_WHERE = re.compile(r"(layouts|enums)[^: ]*")


def load_layouts(top: Table) -> Declarations | None:
    """The declarations of a schema; None where they are wrong, which is told."""
    raw: dict[str, Any] = {key: top.data[key] for key in ("layouts", "enums") if key in top.data}
    flaw = _too_much(raw.get("layouts"))
    if flaw:
        top.fault("layouts", *flaw)
        return None
    try:
        made = declare(raw, top.faults.file)
    except ContractError as error:
        for mistake in error.what.split("; "):
            place = _WHERE.match(mistake)
            key, what = (place.group(), mistake[place.end() :].strip(" :")) if place else ("layouts", mistake)
            top.fault(key, what, _RIGHT)
        return None
    for layout in made.layouts.values():
        for field in layout.fields:
            if field.type == "array" and not _least(field.of, made):
                top.fault(
                    f"layouts.{layout.name}",
                    f"{field.name} is an array of what may be nothing",
                    "elements of a size",
                )
                return None
    return made


def _too_much(layouts: object) -> tuple[str, str] | None:
    """What is too much about the tables of layouts, before anything goes through them; with what would be right."""
    if not isinstance(layouts, Mapping) or not layouts:
        return "no layout", "[layouts.NAME] with fields = [ … ]"
    if len(layouts) > MOST_LAYOUTS:
        return f"{len(layouts)} layouts", f"at most {MOST_LAYOUTS}"
    weights: dict[str, tuple[int, int] | None] = {}
    for name in layouts:
        fields, depth = _weigh(name, layouts, weights)
        if depth > DEEPEST:
            return f"layouts nested more than {DEEPEST} deep, or in a circle", "fewer layers"
        if fields > MOST_FIELDS:
            return f"the layout {name!r} has more than {MOST_FIELDS} fields with all inside it", "fewer"
    return None


def _weigh(
    name: str, layouts: Mapping[str, Any], weights: dict[str, tuple[int, int] | None]
) -> tuple[int, int]:
    """Fields and depth of a layout with all those inside it; None in `weights` marks one that is being weighed."""
    if name in weights:
        return weights[name] or (0, DEEPEST + 1)
    weights[name] = None
    table = layouts[name]
    entries = table.get("fields") if isinstance(table, Mapping) else None
    fields, depth = 0, 0
    for entry in entries if isinstance(entries, list) else []:
        fields += 1
        if not isinstance(entry, Mapping):
            continue
        cases = entry.get("cases")
        inner = [entry.get("layout"), entry.get("of")]
        inner += list(cases.values()) if isinstance(cases, Mapping) else []
        for other in inner:
            if isinstance(other, str) and other in layouts:
                more, deeper = _weigh(other, layouts, weights)
                fields, depth = fields + more, max(depth, deeper)
    weights[name] = (min(fields, MOST_FIELDS + 1), min(depth + 1, DEEPEST + 1))
    return weights[name] or (0, 0)


def _least(name: str, made: Declarations) -> int:
    """The fewest octets that an integer type or a layout takes."""
    if name in INTEGERS:
        return INTEGERS[name][0]
    return sum(_least_of(field, made) for field in made.layouts[name].fields)


def _least_of(field: Field, made: Declarations) -> int:
    if field.is_integer:
        return INTEGERS[field.type][0]
    if field.type == "layout":
        return _least(field.layout, made)
    if field.prefix:
        return INTEGERS[field.prefix][0]
    if field.type == "array" and isinstance(field.count, int):
        return field.count * _least(field.of, made)
    return field.size if isinstance(field.size, int) else 0
