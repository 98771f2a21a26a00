"""What a store has of some boots, as rows and octets to be carried to another store; and such rows as tables again.

Out: arrivals, when and where they were sighted (without the folders of this computer), their history, notes, typed
numbers, attachments, and the numbers of the runs. In: nothing is believed; rows must fit the tables of a store.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from readoff.errors import MalformedError
from readoff.store.attachments import Attachment
from readoff.store.find import query
from readoff.store.keep import Store
from readoff.store.migrations import MIGRATIONS
from readoff.store.sqlite import telling

Rows = dict[str, list[dict[str, Any]]]
"""Table -> rows by column."""

# What is carried of each table. Octets go beside the rows, as files.
COLUMNS = {
    "arrivals": ("number", "sha256", "length"),
    "sightings": ("number", "arrival", "came_from", "came_at"),
    "numbers": ("number", "id"),
    "history": ("number", "at", "id", "arrival", "what", "event"),
    "notes": ("number", "at", "machine", "label", "program", "what", "refers", "text"),
    "typed": ("number", "at", "person", "id", "metric", "value", "unit", "better", "headline", "hold"),
    "photographs": ("sha256", "kind", "width", "height"),
    "attachments": ("number", "at", "person", "label", "id", "refers", "text", "sha256"),
}
# A run's number is asked for in up to seven digits; the next one must have room, too.
MOST_NUMBER = 9_000_000
_ID = re.compile(r"[0-9A-F]{8}-[0-9A-F]{8}-[0-9A-F]{4}")


@dataclass(frozen=True)
class Carried:
    """rows: by table. arrivals: number -> octets. photographs: SHA-256 -> octets."""

    rows: Rows
    arrivals: Mapping[int, bytes]
    photographs: Mapping[str, bytes]


def carry(
    store: Store, boots: Collection[str], machine: str, labels: Collection[str], shown: Sequence[Attachment]
) -> Carried:
    """Everything that the store has of some boots, the notes on a machine's labels, and some attachments.

    Raises StoreError.
    """
    these = f"boot IN ({_marks(boots)})"
    of_boots = f"SELECT p.arrival FROM places p JOIN records r ON r.number = p.record WHERE r.{these}"
    ids = f"SELECT id FROM records WHERE {these}"
    names = {name: ", ".join(columns) for name, columns in COLUMNS.items()}

    def rows(name: str, rule: str, values: Collection[Any]) -> list[dict[str, Any]]:
        order = "sha256" if name == "photographs" else "number"
        return query(store, f"SELECT {names[name]} FROM {name} WHERE {rule} ORDER BY {order}", list(values))

    sums = list(dict.fromkeys(each.sha256 for each in shown if each.sha256))
    numbers = [each.number for each in shown]
    found: Rows = {
        "arrivals": rows("arrivals", f"number IN ({of_boots})", boots),
        "sightings": rows("sightings", f"arrival IN ({of_boots})", boots),
        "numbers": rows("numbers", f"id IN ({ids})", boots),
        "history": rows("history", f"arrival IN ({of_boots}) AND id IN ({ids})", [*boots, *boots]),
        "notes": rows("notes", f"machine = ? AND label IN ({_marks(labels)})", [machine, *labels]),
        "typed": rows("typed", f"id IN ({ids})", boots),
        "photographs": rows("photographs", f"sha256 IN ({_marks(sums)})", sums),
        "attachments": rows("attachments", f"number IN ({_marks(numbers)})", numbers),
    }
    for row in found["sightings"]:
        row["came_from"] = without_folders(row["came_from"])
    return Carried(
        found,
        {row["number"]: _octets(store, "arrivals", "number", row) for row in found["arrivals"]},
        {row["sha256"]: _octets(store, "photographs", "sha256", row) for row in found["photographs"]},
    )


def _marks(values: Collection[object]) -> str:
    """A place in SQL for each value."""
    return ", ".join("?" * len(values))


def _octets(store: Store, table: str, key: str, row: Mapping[str, Any]) -> bytes:
    """The octets of a row, which are in none."""
    return bytes(query(store, f"SELECT octets FROM {table} WHERE {key} = ?", [row[key]])[0]["octets"])


def without_folders(came_from: str) -> str:
    """Where something came from, without the folders of the computer that it came to."""
    place, colon, inside = came_from.partition(": ")
    return re.split(r"[/\\]", place)[-1] + colon + inside


def as_tables(carried: Carried, where: str) -> sqlite3.Connection:
    """Rows from outside as the tables of a store, in memory. where: for errors.

    Raises MalformedError where they do not fit: another table or column, a value of another type, octets that miss.
    """
    from sqlite_utils import Database  # noqa: PLC0415 - costs 0.4 s

    conn = sqlite3.connect(":memory:", isolation_level=None)
    db = Database(conn, execute_plugins=False)
    for step in MIGRATIONS:
        step(db)
    with telling(where):
        conn.execute("BEGIN")
    try:
        for table, columns in COLUMNS.items():
            for row in carried.rows.get(table, ()):
                _insert(conn, table, columns, _checked(table, row, where), carried)
        conn.commit()
    except (sqlite3.Error, OverflowError) as error:
        conn.close()
        raise MalformedError(f"its rows do not fit the tables of a store ({error})", where=where) from error
    except MalformedError:
        conn.close()
        raise
    return conn


def _checked(table: str, row: Any, where: str) -> dict[str, Any]:
    if not isinstance(row, dict) or set(row) != set(COLUMNS[table]):
        raise MalformedError(f"a row of {table} has other columns than it should", where=where)
    number, ident = row.get("number"), row.get("id")
    if table in ("numbers", "notes") and not (type(number) is int and 0 < number < MOST_NUMBER):
        raise MalformedError(f"a row of {table} has the number {str(number)[:20]}", where=where)
    if table in ("numbers", "typed", "history") and not (isinstance(ident, str) and _ID.fullmatch(ident)):
        raise MalformedError(f"a row of {table} has no record's id", where=where)
    return row


def _insert(
    conn: sqlite3.Connection, table: str, columns: Sequence[str], row: Mapping[str, Any], carried: Carried
) -> None:
    values = [row[name] for name in columns]
    names = list(columns)
    if table in ("arrivals", "photographs"):
        octets = (
            carried.arrivals.get(row["number"])
            if table == "arrivals"
            else carried.photographs.get(row["sha256"])
        )
        names.append("octets")
        values.append(octets)
    conn.execute(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})", values)
