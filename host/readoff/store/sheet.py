"""Rows that wait to be written: many with one statement, where one by one each would cost as much as ten.

They are seen by nobody until they are written, and that is the caller's to mind. Whoever uses it has the store's write
lock, so that numbers can be given away here.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from typing import Any

# The order of writing: what is referred to comes first.
_ORDER = (
    "numbers",
    "records",
    "places",
    "runs",
    "captures",
    "snapshots",
    "facts",
    "measured",
    "readings",
    "holds",
    "history",
)
# A row of history that is there already is the same; all others are new.
_OR = {"history": " OR IGNORE"}
_LAST_NUMBER = {
    "records": "SELECT COALESCE(MAX(number), 0) FROM records",
    # Never one that was given away before.
    "numbers": "SELECT COALESCE((SELECT seq FROM sqlite_sequence WHERE name = 'numbers'), 0)",
}
MOST_ROWS = 50_000
"""Rows after which it is time to write."""

Row = tuple[Any, ...]
Mark = tuple[dict[str, int], dict[str, int]]


class Sheet:
    """Rows for the derived tables of one store."""

    def __init__(self, conn: sqlite3.Connection) -> None:
        self._conn = conn
        self._columns: dict[str, tuple[str, ...]] = {}
        self._rows: dict[str, list[Row]] = {table: [] for table in _ORDER}
        self._last: dict[str, int] = {}

    def __len__(self) -> int:
        return sum(map(len, self._rows.values()))

    def number(self, table: str) -> int:
        """A number for a new row of records or numbers."""
        if table not in self._last:
            self._last[table] = int(self._conn.execute(_LAST_NUMBER[table]).fetchone()[0])
        self._last[table] += 1
        return self._last[table]

    def add(self, table: str, row: Mapping[str, Any]) -> None:
        """One row; all rows of a table have the same columns in the same order. Names are ours, never from outside."""
        self.extend(table, tuple(row), (tuple(row.values()),))

    def extend(self, table: str, columns: tuple[str, ...], rows: Iterable[Row]) -> None:
        """Rows of one table."""
        known = self._columns.setdefault(table, columns)
        assert known == columns, table
        self._rows[table].extend(rows)

    def mark(self) -> Mark:
        """Where the rows of each table end now."""
        return {table: len(rows) for table, rows in self._rows.items()}, dict(self._last)

    def back(self, mark: Mark) -> None:
        """Forgets what came after a mark, numbers included; nothing may have been written since."""
        for table, length in mark[0].items():
            del self._rows[table][length:]
        self._last = mark[1]

    def write(self) -> None:
        """Writes all of them. Raises sqlite3.Error."""
        for table in _ORDER:
            rows = self._rows[table]
            if rows:
                columns = self._columns[table]
                sql = f"INSERT{_OR.get(table, '')} INTO {table} ({', '.join(columns)}) VALUES "
                self._conn.executemany(f"{sql}({', '.join('?' * len(columns))})", rows)
                self._rows[table] = []

    def forget(self) -> None:
        """Begins anew, after the transaction went back."""
        for rows in self._rows.values():
            rows.clear()
        self._last = {}
