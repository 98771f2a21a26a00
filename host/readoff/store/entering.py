"""Typing a number that is held: what it is about, what it means, and what must be true of it before it is kept.

Whoever asks a person (a command, the page) shows what is held, asks for the number twice, and names the doubt; the
rules are here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from readoff.errors import UsageError
from readoff.readings.marking import MarkKind, mark
from readoff.readings.neighbours import Doubt, doubt
from readoff.readings.numbers import Style, Unread, read_number
from readoff.readings.wordless import wordless
from readoff.store import find
from readoff.store.captures import Taken
from readoff.store.find import HeldRow, RunInFull
from readoff.store.keep import Store
from readoff.store.typed import Entry, TypedRow, add_typed, held_capture, neighbours, typed

BETTER = ("higher", "lower", "neither")
_LONGEST = 100


@dataclass(frozen=True)
class Asked:
    """What is held, and of which run. captures: the one that is held, or all of the run where it is not one."""

    row: HeldRow
    full: RunInFull
    captures: Sequence[Taken]


@dataclass(frozen=True)
class Meaning:
    """What a number is of. headline: whether a comparison asks for it unless told otherwise."""

    metric: str
    unit: str
    better: str
    headline: bool = False


@dataclass(frozen=True)
class Neighbourly:
    """A number beside its neighbours. others: how many there are; doubt: what looks like a slip, or None."""

    others: int
    doubt: Doubt | None


def asked(store: Store, hold: int) -> Asked:
    """What is held under a number. Raises UsageError where nothing is, or nothing that a number can be typed for."""
    row = find.held_row(store, hold)
    if row is None:
        raise UsageError(
            f"nothing is held under the number {hold}",
            where=str(store.path),
            next_step="List it with: readoff held",
        )
    if not may_be_typed(row):
        raise UsageError(f"{hold} is no number of a run, so none can be typed for it: {row.reason}")
    full = find.run_in_full(store, row.id)
    position = held_capture(store, row.number)
    return Asked(row, full, [each for each in full.captures if position in (None, each.position)])


def may_be_typed(row: HeldRow) -> bool:
    """Whether what is held is a number, or a capture with numbers in it."""
    return row.run is not None and row.kind in ("metric", "capture")


def lines_held(store: Store, taken: Taken, program: str) -> tuple[Sequence[str], set[int]]:
    """(lines of a capture, the rows among them in which something is held); no lines where it is no text."""
    if wordless(taken.capture):
        return (), set()
    marked = mark(taken.capture, store.schemas, program=program)
    return marked.lines, {each.row for each in marked.marks if each.kind is MarkKind.HELD}


def meanings(store: Store, what: Asked, metric: str) -> list[Meaning]:
    """What a metric means by the schemas, and by what was read from this program before; likeliest first.

    Where a schema holds it, which its reason then begins with, no other one is asked: it may mean something else by
    the same name.
    """
    full = what.full
    own = [each for each in store.schemas if what.row.reason.startswith(f"{each.name}: ")]
    known = [
        Meaning(each.name, each.unit, each.better, each.name in schema.headline)
        for schema in own or store.schemas
        for each in schema.metrics
        if each.name == metric
    ]
    read = find.readings(store, program=full.run.program)
    known += [Meaning(metric, e.unit, e.better, e.headline) for e in read if e.metric == metric]
    return list(dict.fromkeys(known))


def meant(known: Sequence[Meaning], asked_for: Meaning) -> Meaning:
    """A meaning as a person gave it, with what is known of it: whether it is a headline.

    Raises UsageError where the metric has no name, or which way is better is not said.
    """
    if not asked_for.metric or len(asked_for.metric) > _LONGEST or len(asked_for.unit) > _LONGEST:
        raise UsageError(f"a metric needs a name, of at most {_LONGEST} characters, and so may its unit")
    if asked_for.better not in BETTER:
        raise UsageError(f"which way is better: {', '.join(BETTER)}?")
    return replace(asked_for, headline=any(each.headline for each in known if each.unit == asked_for.unit))


def number_typed(text: str) -> str:
    """A number as a person typed it, as plain decimal text. Raises UsageError where it is none."""
    number = read_number(text, Style())
    if isinstance(number, Unread):
        raise UsageError(number.reason, next_step="Digits with a decimal point, please.")
    return format(number.value, "f")


def agreed(first: str, second: str) -> str:
    """The number that was typed twice, character for character. Raises UsageError where the two differ."""
    value = number_typed(first)
    if first != second:
        raise UsageError(f"the two do not agree: {first!r} and {second!r}", next_step="Look again.")
    return value


def beside_neighbours(store: Store, full: RunInFull, meaning: Meaning, value: str) -> Neighbourly:
    """A number held against those of the run's series."""
    others: Sequence[Decimal] = neighbours(store, full.run, meaning.metric, meaning.unit)
    return Neighbourly(len(others), doubt(value, others) if others else None)


def keep_typed(
    store: Store, what: Asked, meaning: Meaning, value: str, person: str, at: datetime
) -> TypedRow:
    """Keeps a number that was typed. Raises UsageError where nobody says who typed it, StoreError."""
    name = " ".join(person.split())[:_LONGEST]
    if not name:
        raise UsageError("who types it is not said")
    entry = Entry(
        what.row.id,
        meaning.metric,
        value,
        meaning.unit,
        meaning.better,
        meaning.headline,
        what.row.reason,
        name,
    )
    number = add_typed(store, entry, at)
    return next(each for each in typed(store, id=what.row.id) if each.number == number)
