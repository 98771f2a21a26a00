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

from readoff.readings.kinds import Doubting
from readoff.readings.reading import Verdict
from readoff.readings.recognising import doubt, recognise, recognised
from readoff.readings.schema import Schema, line_options, line_pattern
from readoff.readings.view import View

SET_MEMORY = 64 << 20  # octets, for the automaton of one set
_ALWAYS = ""  # matches every text
_KEPT = 4


@dataclass(frozen=True)
class _Wanted:
    """A schema, its place among all, and the numbers of the patterns that must match and must not."""

    place: int
    schema: Schema
    needs: frozenset[int]
    bars: frozenset[int]


class Recogniser:
    """Schemas, made ready to be tried all at once. memory: octets that the set's automaton may take."""

    def __init__(self, schemas: Sequence[Schema], *, memory: int = SET_MEMORY) -> None:
        self.schemas = tuple(schemas)
        self._doubting = [schema for schema in self.schemas if isinstance(schema.way, Doubting)]
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
        self._needless = [each for each in self._wanted if not each.needs]
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
        claiming += [each for each in self._needless if each.bars.isdisjoint(matched) and _rest(view, each)]
        claiming.sort(key=lambda each: each.place)
        return [each.schema for each in claiming]

    def doubts(self, view: View) -> list[tuple[Schema, str]]:
        """The schemas that a capture which nothing recognises may still belong to, and what they cannot make out."""
        told = ((schema, doubt(view, schema)) for schema in self._doubting)
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
