"""A store as large as you like, made of a small one of real records: each copy is of other machines and numbers.

Rows are copied by SQL, with new ids and numbers; the raw octets are not (a copied arrival is empty), and of a boot's
snapshots only the first keeps its facts. Enough for what reads derived rows; a check would complain.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

# A copy's numbers lie up to 1.2 % beside the first's, boot by boot and reading by reading.
_SHIFT = "(1 + ((t.run * 7919 + :copy * 104729) % 97 - 48) / 4000.0)"
_ID = "printf('%08X', 536870912 + :copy) || substr(t.id, 9)"
_BOOT = "printf('%08X', 536870912 + :copy) || substr(t.boot, 9)"
# What is another in a copy, column by column; what is referred to comes first.
_CHANGED = {
    "arrivals": {
        "number": "t.number + :a",
        "sha256": "t.sha256 || :copy",
        "length": "0",
        "octets": "x''",
    },
    "sightings": {"number": "NULL", "arrival": "t.arrival + :a"},
    "numbers": {"number": "t.number + :n", "id": _ID},
    "records": {"number": "t.number + :r", "id": _ID, "boot": _BOOT},
    "places": {"arrival": "t.arrival + :a", "record": "t.record + :r"},
    "runs": {"number": "t.number + :n", "record": "t.record + :r", "boot": _BOOT},
    "captures": {"record": "t.record + :r"},
    "snapshots": {"record": "t.record + :r", "boot": _BOOT},
    "facts": {"record": "t.record + :r"},
    "readings": {
        "number": "NULL",
        "run": "t.run + :n",
        "record": "t.record + :r",
        "approximate": f"t.approximate * {_SHIFT}",
        "value": f"CAST(t.approximate * {_SHIFT} AS TEXT)",
    },
}
_NUMBERED = {"r": "records", "a": "arrivals", "n": "numbers"}


def _one(db: sqlite3.Connection, question: str) -> int:
    return int(db.execute(question).fetchone()[0])


def _set_aside(db: sqlite3.Connection, table: str) -> str:
    """Keeps the first rows of a table beside it; gives what copies them."""
    columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
    snapshots = "t.record IN (SELECT MIN(record) FROM snapshots GROUP BY boot)"
    rows = snapshots if table == "facts" else "1"
    db.execute(f"CREATE TEMP TABLE first_{table} AS SELECT * FROM main.{table} t WHERE {rows}")
    told = ", ".join(_CHANGED[table].get(column, f"t.{column}") for column in columns)
    return f"INSERT INTO {table} ({', '.join(columns)}) SELECT {told} FROM temp.first_{table} t"


def multiply(path: Path, readings: int) -> int:
    """Copies all rows until there are so many readings; gives their number."""
    db = sqlite3.connect(path)
    db.execute("PRAGMA synchronous = OFF")
    steps = {
        name: 1 + _one(db, f"SELECT COALESCE(MAX(number), 0) FROM {table}")
        for name, table in _NUMBERED.items()
    }
    inserts = [_set_aside(db, table) for table in _CHANGED]
    each = _one(db, "SELECT count(*) FROM readings")
    copies = max(1, -(-readings // max(1, each)))
    for copy in range(1, copies):
        with db:
            values = {"copy": copy, **{name: step * copy for name, step in steps.items()}}
            for insert in inserts:
                db.execute(insert, {name: value for name, value in values.items() if f":{name}" in insert})
    db.execute("ANALYZE")
    db.commit()
    db.close()
    return each * copies
