"""Which schema a capture belongs to: exact conditions, each of which can be shown."""

from __future__ import annotations

import fnmatch
import ntpath
from collections.abc import Iterator

from readoff.readings.reading import Condition, Verdict
from readoff.readings.schema import Schema
from readoff.readings.shown import Capture, Shown


def recognise(
    capture: Capture, shown: Shown, index: int, schema: Schema, program: str, *, fully: bool = False
) -> Verdict:
    """Judge one capture by one schema. fully: look at every condition even after one has failed."""
    conditions: list[Condition] = []
    for condition in _conditions(capture, shown, schema, program):
        conditions.append(condition)
        if not (condition.met or fully):
            break
    return Verdict(index, schema.name, all(condition.met for condition in conditions), tuple(conditions))


def _conditions(capture: Capture, shown: Shown, schema: Schema, program: str) -> Iterator[Condition]:
    """Every condition of the schema, the cheapest first."""
    rules = schema.recognise
    if rules.kinds:
        wanted = " or ".join(rules.kinds)
        yield Condition(
            capture.kind in rules.kinds, f"the capture is a {capture.kind}, the schema reads {wanted}"
        )
    if rules.programs:
        wanted = " or ".join(rules.programs)
        if program:
            met = any(fnmatch.fnmatchcase(_stem(program), name) for name in rules.programs)
            yield Condition(met, f"the program is {_stem(program)}, the schema is for {wanted}")
        else:
            yield Condition(True, f"the program is not known, the schema is for {wanted}")
    if rules.files and capture.kind == "file":
        name = ntpath.basename(capture.name).upper()
        met = any(fnmatch.fnmatchcase(name, wanted) for wanted in rules.files)
        yield Condition(
            met, f"the file is {name or 'without a name'}, the schema reads {' or '.join(rules.files)}"
        )
    if shown.flaw:
        yield Condition(False, shown.flaw)
        return
    for pattern in rules.none:
        found = pattern.compiled.search(shown.utf8)
        yield Condition(not found, f"{pattern.text!r} must not be there, and {_where(shown, found)}")
    for pattern in rules.all:
        found = pattern.compiled.search(shown.utf8)
        yield Condition(bool(found), f"{pattern.text!r} {_where(shown, found)}")


def _where(shown: Shown, found: object) -> str:
    if not found:
        return "was not found"
    begin, end = shown.octets_of(*found.span())  # type: ignore[attr-defined]
    return f"was found at octets {begin} to {end}"


def _stem(program: str) -> str:
    """A program's name without path and extension, in upper case."""
    return ntpath.splitext(ntpath.basename(program))[0].upper()
