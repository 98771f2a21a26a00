"""What a re-reading changed, and which schema's edit it was. Pure."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Change:
    """One reading before and after, each as value and unit; "" where there was none, or is none any more.

    schema: that reads it now, or did; earlier: the one that read it before, where that was another. held: why it is
    not read any more, where it is held.
    """

    run: int
    id: str
    schema: str
    metric: str
    occurrence: int
    before: str
    after: str
    held: str = ""
    earlier: str = ""


@dataclass(frozen=True)
class Changes:
    """What a re-reading changed: readings as (record id, metric, occurrence, value), and the count of holds.

    edits: the same, each reading with what it was and is. schemas: those that are not as they were when the readings
    were made, or that read something for the first time.
    """

    gone: tuple[tuple[str, str, int, str], ...]
    new: tuple[tuple[str, str, int, str], ...]
    holds_before: int
    holds_after: int
    edits: tuple[Change, ...] = ()
    schemas: tuple[str, ...] = ()


@dataclass(frozen=True)
class Seen:
    """One reading as the store has it at one moment. value: with its unit."""

    run: int
    id: str
    schema: str
    digest: str
    metric: str
    occurrence: int
    value: str


@dataclass(frozen=True)
class State:
    """The readings at one moment, and what is held: (record id, metric, reason) each, "" for a whole capture."""

    readings: tuple[Seen, ...]
    holds: tuple[tuple[str, str, str], ...]


def changes_between(before: State, after: State) -> Changes:
    """Pairs each reading that is not as it was with what it was: by its schema, else by its metric alone."""
    was, now = _unlike(before.readings, after.readings), _unlike(after.readings, before.readings)
    edits = [
        *_paired(was, now, lambda each: (each.id, each.schema, each.metric, each.occurrence)),
        *_paired(was, now, lambda each: (each.id, each.metric, each.occurrence)),
    ]
    edits += [_gone(each, after.holds) for each in was]
    edits += [_change(None, each) for each in now]
    edits.sort(key=lambda each: (each.schema, each.run, each.metric, each.occurrence))
    gone, new = _values(before) - _values(after), _values(after) - _values(before)
    return Changes(
        tuple(sorted(gone)),
        tuple(sorted(new)),
        len(before.holds),
        len(after.holds),
        tuple(edits),
        _edited(before.readings, after.readings),
    )


def _unlike(these: Iterable[Seen], others: Iterable[Seen]) -> list[Seen]:
    """Readings without their like on the other side; a schema that was edited and reads the same is no change."""
    known = {replace(each, digest="") for each in others}
    return [each for each in these if replace(each, digest="") not in known]


def _paired(was: list[Seen], now: list[Seen], key: Callable[[Seen], Hashable]) -> Iterator[Change]:
    """Takes out of both lists what belongs together, in order."""
    waiting: dict[Hashable, list[Seen]] = {}
    for each in was:
        waiting.setdefault(key(each), []).append(each)
    for each in list(now):
        if earlier := waiting.get(key(each)):
            one = earlier.pop(0)
            was.remove(one)
            now.remove(each)
            yield _change(one, each)


def _change(one: Seen | None, two: Seen) -> Change:
    before = one.value if one else ""
    earlier = one.schema if one and one.schema != two.schema else ""
    return Change(two.run, two.id, two.schema, two.metric, two.occurrence, before, two.value, "", earlier)


def _gone(one: Seen, holds: Sequence[tuple[str, str, str]]) -> Change:
    reasons = [reason for ident, metric, reason in holds if ident == one.id and metric in (one.metric, "")]
    held = reasons[0] if reasons else ""
    return Change(one.run, one.id, one.schema, one.metric, one.occurrence, one.value, "", held)


def _values(state: State) -> set[tuple[str, str, int, str]]:
    return {(each.id, each.metric, each.occurrence, each.value) for each in state.readings}


def _edited(before: Iterable[Seen], after: Iterable[Seen]) -> tuple[str, ...]:
    """Schemas whose digests are not the same on both sides."""
    was, now = ({(each.schema, each.digest) for each in side} for side in (before, after))
    return tuple(sorted({schema for schema, _ in was ^ now}))
