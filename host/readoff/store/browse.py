"""Looking through a store that somebody else writes: a connection that cannot write, and lists a page at a time."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from readoff.errors import StoreError, UsageError
from readoff.store.find import RUNS, RunRow, query
from readoff.store.keep import Store
from readoff.store.migrations import APPLICATION_ID, MIGRATIONS, version_of
from readoff.store.sqlite import address_to_read, telling, writable

if TYPE_CHECKING:
    from readoff.readings import Schema


def open_to_read(path: Path, schemas: Callable[[], Sequence[Schema]] = tuple, *, busy: int = 2000) -> Store:
    """A store on a connection that can only read; it may be used by one thread at a time, whichever.

    schemas: for who wants to know what a metric means. busy: milliseconds to wait for a lock.
    Raises StoreError when there is no store, or it is of another version:
    nothing is brought up to date here.
    """
    from sqlite_utils import Database  # noqa: PLC0415 - costs 0.4 s, and --help does not need it

    if not path.is_file():
        raise StoreError("there is no store", where=str(path), next_step="Take or watch something first.")
    with telling(str(path)):
        # Reading a write-ahead log needs its shared memory beside it, so the file is opened to be written where it
        # can be, and query_only then refuses every statement that would.
        address = f"{path.resolve().as_uri()}?mode=rw" if writable(path) else address_to_read(path)
        conn = sqlite3.connect(address, uri=True, timeout=busy / 1000, check_same_thread=False)
        conn.isolation_level = None
        try:
            conn.execute("PRAGMA query_only = ON")
            db = Database(conn, execute_plugins=False)
            refuse_other_versions(db, path)
        except BaseException:
            conn.close()
            raise
    return Store(db, path, schemas, lambda: datetime.now(UTC))


def refuse_other_versions(db: Any, path: Path) -> None:
    """Raises StoreError where a file is no store, or of another version than this program's."""
    if int(db.execute("PRAGMA application_id").fetchone()[0]) != APPLICATION_ID:
        raise StoreError("this is not a store of Readoff", where=str(path))
    if (version := version_of(db)) != len(MIGRATIONS):
        raise StoreError(
            f"this store is of version {version}, this program reads version {len(MIGRATIONS)}",
            where=str(path),
            next_step="Install a newer Readoff."
            if version > len(MIGRATIONS)
            else "Bring it, or a copy that may be written, up to date with: readoff runs --store FILE",
        )


def data_version(store: Store) -> int:
    """A number that changes when another connection has committed something."""
    with telling(str(store.path)):
        return int(store.db.execute("PRAGMA data_version").fetchone()[0])


@dataclass(frozen=True)
class RunPage:
    """Some of the runs that fit, newest first. total: how many fit in all; begin: how many come before these."""

    runs: tuple[RunRow, ...]
    total: int
    begin: int


def run_page(
    store: Store,
    *,
    words: str = "",
    label: str = "",
    state: str = "",
    begin: int = 0,
    limit: int = 50,
) -> RunPage:
    """Runs by number, the newest first.

    words: each must occur in the label, program, path, arguments or record id, in whatever case. label, state:
    exactly. begin: how many to pass over; limit: how many to give.
    """
    rules, values = ["1"], list[Any]()
    for word in words.split():
        told = "%" + word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
        columns = ("u.label", "u.program", "u.path", "u.arguments", "r.id")
        rules.append("(" + " OR ".join(f"{each} LIKE ? ESCAPE '\\'" for each in columns) + ")")
        values += [told] * len(columns)
    for rule, value in (("u.label = ?", label), ("u.state = ?", state)):
        if value:
            rules.append(rule)
            values.append(value)
    where = " WHERE " + " AND ".join(rules)
    count = f"SELECT count(*) AS n FROM runs u JOIN records r ON r.number = u.record{where}"
    if where == " WHERE 1":
        count = "SELECT count(*) AS n FROM runs"
    total = int(query(store, count, values)[0]["n"])
    rows = query(
        store,
        RUNS + where + " ORDER BY u.number DESC LIMIT ? OFFSET ?",
        [*values, limit, begin],
    )
    return RunPage(tuple(RunRow(**row) for row in rows), total, begin)


# One step through the index for each label, however many runs carry it.
_LABELS = """
WITH RECURSIVE known (label) AS (
  SELECT min(label) FROM runs WHERE label > ''
  UNION ALL
  SELECT (SELECT min(label) FROM runs WHERE label > known.label) FROM known WHERE label IS NOT NULL
)
SELECT label FROM known WHERE label IS NOT NULL
"""


def run_labels(store: Store) -> list[str]:
    """The labels that runs carry, in alphabetical order, the empty one left out."""
    return [row["label"] for row in query(store, _LABELS, [])]


def arrival_octets(store: Store, number: int, begin: int, length: int) -> tuple[bytes, int]:
    """(some octets of an arrival, how many it has). Raises UsageError when there is no such arrival."""
    rows = query(
        store,
        "SELECT substr(octets, ?, ?) AS octets, length FROM arrivals WHERE number = ?",
        [begin + 1, length, number],
    )
    if not rows:
        raise UsageError(f"there is no arrival {number}", where=str(store.path))
    return bytes(rows[0]["octets"]), int(rows[0]["length"])
