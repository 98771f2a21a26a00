"""Which of many schemas recognise a capture, at the cost of one search through its text.

All patterns of all schemas go into one RE2 set, which tells in one pass which of them match somewhere. A schema is
then looked at only where each of its patterns matched and none that it bars did; its other conditions are judged one
by one, as ever. The answer is the same as that of judging every schema alone.

A set has one trap: where its automaton outgrows its memory, it may say that nothing matches. So every set holds one
pattern more that matches every text; where even that is missing from the answer, every schema is judged alone.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, overload

import re2

from readoff.readings.kinds import Doubting, Marked
from readoff.readings.reading import Verdict
from readoff.readings.recognising import base_name, doubt, recognise, recognised
from readoff.readings.schema import Schema, line_options, line_pattern
from readoff.readings.shown import CaptureKind
from readoff.readings.view import View

SET_MEMORY = 64 << 20  # octets, for the automaton of one set
_ALWAYS = ""  # matches every text
_KEPT = 4
_WILD = frozenset("*?[")  # what fnmatch takes for more than a letter


@dataclass(frozen=True)
class _Wanted:
    """A schema, its place among all, and the numbers of the patterns that must match and must not."""

    place: int
    schema: Schema
    needs: frozenset[int]
    bars: frozenset[int]


class _Unpatterned:
    """The schemas that need no pattern on the lines: found by a mark, by a name, or tried one by one."""

    def __init__(self, wanted: Sequence[_Wanted]) -> None:
        self._marked: dict[tuple[int, int], dict[bytes, list[_Wanted]]] = {}
        self._named: dict[str, list[_Wanted]] = {}
        self._others: dict[CaptureKind, list[_Wanted]] = {}
        for each in wanted:
            mark = each.schema.way.mark if isinstance(each.schema.way, Marked) else None
            rules = each.schema.recognise
            if mark:
                offset, octets = mark
                places = self._marked.setdefault((offset, offset + len(octets)), {})
                places.setdefault(octets, []).append(each)
            elif (
                rules.kinds == (CaptureKind.FILE,)
                and rules.files
                and not _WILD.intersection("".join(rules.files))
            ):
                for name in dict.fromkeys(rules.files):
                    self._named.setdefault(name, []).append(each)
            else:
                for kind in rules.kinds:
                    self._others.setdefault(kind, []).append(each)

    def candidates(self, view: View) -> list[_Wanted]:
        """Those that are worth a look."""
        capture = view.capture
        found = list(self._others.get(capture.kind, ()))
        for (begin, end), marks in self._marked.items():
            found += marks.get(capture.octets[begin:end], ())
        if self._named:
            found += self._named.get(base_name(capture.name), ())
        return found


class Recogniser:
    """Schemas, made ready to be tried all at once. memory: octets that the set's automaton may take."""

    def __init__(self, schemas: Sequence[Schema], *, memory: int = SET_MEMORY) -> None:
        self.schemas = tuple(schemas)
        self._doubting: dict[CaptureKind, list[Schema]] = {}
        for schema in self.schemas:
            for kind in schema.recognise.kinds if isinstance(schema.way, Doubting) else ():
                self._doubting.setdefault(kind, []).append(schema)
        numbers: dict[str, int] = {}

        def number(text: str) -> int:
            return numbers.setdefault(text, len(numbers))

        self._wanted = [
            _Wanted(
                place,
                schema,
                frozenset(number(each.text) for each in (*schema.recognise.all, *schema.way.hints)),
                frozenset(number(each.text) for each in schema.recognise.none),
            )
            for place, schema in enumerate(self.schemas)
        ]
        self._always = number(_ALWAYS)
        self._set = _set_of(tuple(numbers), memory)
        self._by_need: dict[int, list[_Wanted]] = {}
        self._unpatterned = _Unpatterned([each for each in self._wanted if not each.needs])
        shared = Counter(need for each in self._wanted for need in each.needs)
        for each in self._wanted:
            if each.needs:
                rarest = min(each.needs, key=lambda need: (shared[need], need))
                self._by_need.setdefault(rarest, []).append(each)

    def claims(self, view: View) -> list[Schema]:
        """The schemas that recognise a capture, in their own order."""
        matched = self.matched(view)
        if matched is None:
            return [schema for schema in self.schemas if recognised(view, schema)]
        claiming = [
            each
            for need in matched
            for each in self._by_need.get(need, ())
            if each.needs <= matched and each.bars.isdisjoint(matched) and _rest(view, each)
        ]
        claiming += [
            each
            for each in self._unpatterned.candidates(view)
            if each.bars.isdisjoint(matched) and _rest(view, each)
        ]
        claiming.sort(key=lambda each: each.place)
        return [each.schema for each in claiming]

    def doubts(self, view: View) -> list[tuple[Schema, str]]:
        """The schemas that a capture which nothing recognises may still belong to, and what they cannot make out."""
        told = ((schema, doubt(view, schema)) for schema in self._doubting.get(view.capture.kind, ()))
        return [(schema, reason) for schema, reason in told if reason]

    def matched(self, view: View) -> set[int] | None:
        """The numbers of the patterns that match somewhere; None where the set cannot tell."""
        shown = view.shown
        if self._set is None or shown.flaw or shown.too_long:
            return None
        found = set(self._set.Match(shown.utf8))
        return found if self._always in found else None


def _rest(view: View, each: _Wanted) -> bool:
    return recognised(view, each.schema, patterns_met=True)


def _set_of(texts: Sequence[str], memory: int) -> Any:
    """All patterns as one set, or None where they are too large for its memory together."""
    options = line_options()
    options.max_mem = memory
    made = re2.Set.SearchSet(options)
    try:
        for text in texts:
            made.Add(line_pattern(text))
        made.Compile()
    except re2.error:
        return None
    return made


_kept: dict[tuple[int, ...], Recogniser] = {}


def recogniser_of(schemas: Sequence[Schema]) -> Recogniser:
    """The recogniser of these very schemas; the last few are kept, for one set of schemas reads many runs."""
    key = tuple(map(id, schemas))  # they live as long as the recogniser that holds them
    known = _kept.get(key)
    if known is None:
        known = Recogniser(schemas)
        while len(_kept) >= _KEPT:
            _kept.pop(next(iter(_kept)), None)
        _kept[key] = known
    return known


class Verdicts(Sequence[Verdict]):
    """One verdict for every capture and schema, worked out when it is looked at."""

    def __init__(self, views: Sequence[View], schemas: Sequence[Schema]) -> None:
        self._views, self._schemas = tuple(views), tuple(schemas)

    def __len__(self) -> int:
        return len(self._views) * len(self._schemas)

    @overload
    def __getitem__(self, at: int) -> Verdict: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[Verdict, ...]: ...

    def __getitem__(self, at: int | slice) -> Verdict | tuple[Verdict, ...]:
        if isinstance(at, slice):
            return tuple(self[number] for number in range(len(self))[at])
        view, schema = divmod(range(len(self))[at], len(self._schemas))
        return recognise(self._views[view], self._schemas[schema])

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    def __hash__(self) -> int:
        return hash(tuple(self))

    def __repr__(self) -> str:
        return repr(tuple(self))
