"""What became of each arrival of a batch, as the store has it afterwards."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from readoff.arrivals.intake import Held, TakenResult
from readoff.contract.record import RecordId
from readoff.errors import StoreError

_AT_ONCE = 500  # values in one question

_PLACED = (
    "SELECT p.arrival, r.id, r.standing, (SELECT MIN(arrival) FROM places WHERE record = r.number) "
    "FROM places p JOIN records r ON r.number = p.record WHERE p.arrival IN ({}) ORDER BY p.arrival, p.begin"
)
_EVENTS = "SELECT arrival, id, what FROM history WHERE arrival IN ({}) ORDER BY number"
_HELD = "SELECT arrival, begin, length, reason FROM holds WHERE arrival IN ({}) ORDER BY number"


def rows_of(db: sqlite3.Connection, sql: str, values: Sequence[int | str]) -> list[tuple[Any, ...]]:
    """Rows for any of these values, as many at a time as an older SQLite allows. sql: with a place for them."""
    rows: list[tuple[Any, ...]] = []
    for at in range(0, len(values), _AT_ONCE):
        some = values[at : at + _AT_ONCE]
        rows += db.execute(sql.format(", ".join("?" * len(some))), some).fetchall()
    return rows


def results(db: sqlite3.Connection, kept: Sequence[tuple[int, bool]]) -> list[TakenResult]:
    """What became of a batch: one question each for all of its arrivals. kept: (number, whether it came again) of each.

    Raises sqlite3.Error, and StoreError where the store is damaged.
    """
    numbers = list(dict.fromkeys(number for number, _ in kept))
    placed, events, held = dict[int, list[Any]](), dict[int, dict[str, str]](), dict[int, list[Held]]()
    for arrival, *place in rows_of(db, _PLACED, numbers):
        placed.setdefault(arrival, []).append(place)
    for arrival, ident, what in rows_of(db, _EVENTS, numbers):
        events.setdefault(arrival, {})[ident] = what
    for arrival, *told in rows_of(db, _HELD, numbers):
        held.setdefault(arrival, []).append(Held(*told))
    return [
        _result(number, again, placed.get(number, ()), events.get(number, {}), held.get(number, ()))
        for number, again in kept
    ]


def _result(
    arrival: int,
    again: bool,
    placed: Sequence[tuple[str, str, int]],
    events: Mapping[str, str],
    held: Sequence[Held],
) -> TakenResult:
    """placed: (id, standing, first arrival that brought it) of each record. events: what came of which, besides."""
    new: list[RecordId] = []
    known: list[RecordId] = []
    replaced: list[RecordId] = []
    for ident, standing, first in placed:
        event = events.get(ident, "")
        if again or first < arrival or event == "set aside":
            known.append(_record_id(ident))
        elif event == "replaced":
            replaced.append(_record_id(ident))
        elif standing != "held":
            new.append(_record_id(ident))
    return TakenResult(arrival, again, _once(new), _once(known), _once(replaced), tuple(held))


def _once(ids: Iterable[RecordId]) -> tuple[RecordId, ...]:
    return tuple(dict.fromkeys(ids))


def _record_id(text: str) -> RecordId:
    try:
        serial, nonce, ordinal = text.split("-")
        return RecordId(int(serial, 16), int(nonce, 16), int(ordinal, 16))
    except ValueError as error:
        raise StoreError(f"{text!r} is no record's id", next_step="Look with: readoff store check") from error
