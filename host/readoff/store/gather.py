"""Gathering: what other benches' stores keep comes into this one, by its raw octets, without doubling.

Everything derived is derived here. Sightings, history, notes, typed numbers and attachments come along as they were;
runs keep their numbers in a store that has none yet, and else get new ones. Gathering the same store again changes
nothing.
"""

from __future__ import annotations

import sqlite3
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from readoff.errors import StoreError
from readoff.store.arrived import arrived
from readoff.store.gather_attachments import gather_attachments
from readoff.store.keep import Incoming, Store
from readoff.store.migrations import APPLICATION_ID, MIGRATIONS
from readoff.store.sqlite import BUSY_MILLISECONDS, address_to_read, telling, writing


@dataclass
class Gathered:
    """What came of one other store. arrivals: all that it has; new: those that this one lacked.

    spoiled: (arrival's number there, what is wrong); those were left out.
    """

    path: Path
    arrivals: int = 0
    new: int = 0
    records: int = 0
    held: int = 0
    notes: int = 0
    typed: int = 0
    attachments: int = 0
    spoiled: list[tuple[int, str]] = field(default_factory=list)


def gather(store: Store, other: Path) -> Gathered:
    """Takes everything that another store keeps. The other is read, never changed.

    Raises StoreError where it is no store, a newer one, the same one, or cannot be read; what was committed before
    stays, and the rest comes when it is gathered again.
    """
    if other.exists() and other.samefile(store.path):
        raise StoreError("a store cannot be gathered into itself", where=str(other))
    source = _opened(other)
    try:
        return gather_from(store, source, other)
    finally:
        source.close()


def gather_from(store: Store, source: sqlite3.Connection, other: Path) -> Gathered:
    """The same from tables that are open already. other: where they come from, for the person.

    Into a store without runs, the runs and notes keep the numbers that they had, where the source tells them.
    """
    gathered = Gathered(other)
    _numbers(store, source, other)
    numbers: dict[int, int] = {}
    there: deque[int] = deque()
    for result in store.take_gathered(_arrivals(store, source, gathered, there)):
        numbers[there.popleft()] = result.arrival
        gathered.new += not result.again
        gathered.records += 0 if result.again else len(result.new)
        gathered.held += bool(result.held) and not result.again
    _history(store, source, other, numbers)
    gathered.notes = _notes(store, source, other)
    gathered.typed = _typed(store, source, other)
    gathered.attachments = gather_attachments(store, source, other)
    return gathered


def _numbers(store: Store, source: sqlite3.Connection, other: Path) -> None:
    """Keeps the numbers of runs for a store that has none yet, so that what was written about them stays true."""
    with telling(str(other)):
        rows = source.execute("SELECT number, id FROM numbers ORDER BY number").fetchall()
    with writing(store.db, str(store.path)):
        if not _one(store.db.conn, "SELECT count(*) FROM numbers"):
            store.db.conn.executemany("INSERT INTO numbers (number, id) VALUES (?, ?)", rows)


def _opened(path: Path) -> sqlite3.Connection:
    if not path.is_file():
        raise StoreError("there is no store", where=str(path))
    with telling(str(path)):
        source = sqlite3.connect(address_to_read(path), uri=True, timeout=BUSY_MILLISECONDS / 1000)
    try:
        with telling(str(path)):
            mark, version = (
                int(_one(source, f"PRAGMA {name}")) for name in ("application_id", "user_version")
            )
        if mark != APPLICATION_ID or not version:
            raise StoreError("this is not a store of Readoff", where=str(path))
        if version > len(MIGRATIONS):
            what = f"this store is of version {version}, newer than this program (version {len(MIGRATIONS)})"
            raise StoreError(what, where=str(path), next_step="Install a newer Readoff.")
    except BaseException:
        source.close()
        raise
    return source


def _one(source: sqlite3.Connection, sql: str) -> Any:
    return source.execute(sql).fetchone()[0]


def _arrivals(
    store: Store, source: sqlite3.Connection, gathered: Gathered, there: deque[int]
) -> Iterator[Incoming]:
    """The other's arrivals in the order in which they came, with their sightings; there gets their numbers."""
    where = str(gathered.path)
    with telling(where):
        numbers = [row[0] for row in source.execute("SELECT number FROM arrivals ORDER BY number")]
    gathered.arrivals = len(numbers)
    for done, number in enumerate(numbers):
        store.step(done, len(numbers))
        octets, spoiled = arrived(source, number)
        if spoiled:  # a spoiled copy is not passed on
            gathered.spoiled.append((number, spoiled))
            continue
        with telling(where):
            sightings = source.execute(
                "SELECT came_from, came_at FROM sightings WHERE arrival = ? ORDER BY number", [number]
            ).fetchall()
        there.append(number)
        yield Incoming(octets, f"{gathered.path} arrival {number}", tuple(sightings))
    store.step(len(numbers), len(numbers))


def _history(store: Store, source: sqlite3.Connection, other: Path, numbers: dict[int, int]) -> None:
    with telling(str(other)):
        rows = source.execute("SELECT at, id, arrival, what, event FROM history ORDER BY number").fetchall()
    with writing(store.db, str(store.path)):
        store.db.conn.executemany(
            "INSERT OR IGNORE INTO history (at, id, arrival, what, event) VALUES (?, ?, ?, ?, ?)",
            [
                (at, id, numbers[arrival], what, event)
                for at, id, arrival, what, event in rows
                if arrival in numbers
            ],
        )


_NOTE = "at, machine, label, program, what, text"


def _notes(store: Store, source: sqlite3.Connection, other: Path) -> int:
    """Brings the notes that this store lacks, and keeps what refers to what. Gives their number."""
    with telling(str(other)):
        if not _one(source, "SELECT count(*) FROM sqlite_master WHERE name = 'notes'"):
            return 0
        rows = source.execute(f"SELECT number, refers, {_NOTE} FROM notes ORDER BY number").fetchall()
    new, ours = 0, dict[int, int]()
    with writing(store.db, str(store.path)):
        for number, refers, *note in rows:
            values = [ours.get(refers), *note]
            known = store.db.execute(
                "SELECT number FROM notes WHERE refers IS ? AND (at, machine, label, program, what, text) = "
                "(?, ?, ?, ?, ?, ?) LIMIT 1",
                values,
            ).fetchone()
            if known is None:
                sql = f"INSERT INTO notes (number, refers, {_NOTE}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
                free = not store.db.execute("SELECT 1 FROM notes WHERE number >= ?", [number]).fetchone()
                kept = store.db.execute(sql, [number if free else None, *values])
                ours[number] = int(kept.lastrowid or 0)
                new += 1
            else:
                ours[number] = known[0]
    return new


_TYPED = "at, person, id, metric, value, unit, better, headline, hold"


def _typed(store: Store, source: sqlite3.Connection, other: Path) -> int:
    """Brings the numbers that persons typed there and that this store lacks. Gives how many."""
    with telling(str(other)):
        if not _one(source, "SELECT count(*) FROM sqlite_master WHERE name = 'typed'"):
            return 0
        rows = source.execute(f"SELECT {_TYPED} FROM typed ORDER BY number").fetchall()
    marks = ", ".join("?" * 9)
    new = 0
    with writing(store.db, str(store.path)):
        for row in rows:
            known = f"SELECT 1 FROM typed WHERE ({_TYPED}) = ({marks}) LIMIT 1"
            if store.db.execute(known, row).fetchone() is None:
                store.db.execute(f"INSERT INTO typed ({_TYPED}) VALUES ({marks})", row)
                new += 1
    return new
