"""Which schema a capture belongs to: exact conditions, each of which can be shown."""

from __future__ import annotations

import fnmatch
import ntpath
from collections.abc import Callable, Iterator
from itertools import chain

from readoff.readings.kinds import Doubting, Told
from readoff.readings.reading import Condition, Verdict
from readoff.readings.schema import Recognition, Schema
from readoff.readings.shown import TEXT_KINDS, CaptureKind, Shown
from readoff.readings.view import View


def recognise(view: View, schema: Schema, *, fully: bool = False) -> Verdict:
    """Judge one capture by one schema. fully: look at every condition even after one has failed."""
    conditions: list[Condition] = []
    for met, tell in chain(
        _by_name(view, schema.recognise), _by_pattern(view, schema.recognise), schema.way.further(view)
    ):
        conditions.append(Condition(met, tell()))
        if not (met or fully):
            break
    return Verdict(view.index, schema.name, all(condition.met for condition in conditions), tuple(conditions))


def recognised(view: View, schema: Schema, *, patterns_met: bool = False) -> bool:
    """The same answer without its reasons. patterns_met: the schema's patterns have been looked at already."""
    rules = schema.recognise
    if view.capture.kind not in rules.kinds:
        return False
    if (rules.programs or rules.files) and not all(met for met, _ in _by_name(view, rules)):
        return False
    if not (patterns_met or all(met for met, _ in _by_pattern(view, rules))):
        return False
    return all(met for met, _ in schema.way.further(view))


def doubt(view: View, schema: Schema) -> str:
    """Why a capture that nothing recognises may still be this schema's: what could not be made out in it; or ""."""
    if not isinstance(schema.way, Doubting) or not all(met for met, _ in _by_name(view, schema.recognise)):
        return ""
    return schema.way.doubt(view)


def _by_name(view: View, rules: Recognition) -> Iterator[Told]:
    """What can be told without a look at the octets."""
    kind = view.capture.kind
    if kind not in rules.kinds or len(rules.kinds) < len(TEXT_KINDS):
        wanted = " or ".join(rules.kinds)
        yield kind in rules.kinds, lambda: f"the capture is of the kind {kind}, the schema reads {wanted}"
    if rules.programs:
        programs = " or ".join(rules.programs)
        if view.program:
            stem = _stem(view.program)
            met = any(fnmatch.fnmatchcase(stem, name) for name in rules.programs)
            yield met, lambda: f"the program is {stem}, the schema is for {programs}"
        else:
            yield True, lambda: f"the program is not known, the schema is for {programs}"
    if rules.files and kind is CaptureKind.FILE:
        name = base_name(view.capture.name)
        met = any(fnmatch.fnmatchcase(name, wanted) for wanted in rules.files)
        yield (
            met,
            lambda: f"the file is {name or 'without a name'}, the schema reads {' or '.join(rules.files)}",
        )


def _by_pattern(view: View, rules: Recognition) -> Iterator[Told]:
    if not (rules.all or rules.none):
        return
    shown = view.shown
    if shown.flaw:
        yield False, lambda: shown.flaw
        return
    for pattern in rules.none:
        found = pattern.compiled.search(shown.utf8)
        yield not found, _telling(f"{pattern} must not be there, and ", shown, found)
    for pattern in rules.all:
        found = pattern.compiled.search(shown.utf8)
        yield bool(found), _telling(f"{pattern} ", shown, found)


def _telling(before: str, shown: Shown, found: object) -> Callable[[], str]:
    return lambda: before + _where(shown, found)


def _where(shown: Shown, found: object) -> str:
    if not found:
        return "was not found"
    begin, end = shown.octets_of(*found.span())  # type: ignore[attr-defined]
    return f"was found at octets {begin} to {end}"


def base_name(name: str) -> str:
    """A file's name without its path, in upper case."""
    return ntpath.basename(name).upper()


def _stem(program: str) -> str:
    """A program's name without path and extension, in upper case."""
    return ntpath.splitext(ntpath.basename(program))[0].upper()
