"""A store as large as you like, made of a small one of real records: each copy is of other machines and numbers.

Rows are copied by SQL, with new ids and numbers; the raw octets are not (a copied arrival is empty), and of a boot's
snapshots only the first keeps its facts. Enough for what reads derived rows; a check would complain.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

# A copy's numbers lie up to 1.2 % beside the first's, boot by boot and reading by reading.
_SHIFT = "(1 + ((d.run * 7919 + :copy * 104729) % 97 - 48) / 4000.0)"
_ID, _BOOT = (
    "printf('%08X', 536870912 + :copy) || substr({0}.id, 9)",
    "printf('%08X', 536870912 + :copy) || substr({0}.boot, 9)",
)


def _columns(db: sqlite3.Connection, table: str) -> list[str]:
    return [row[1] for row in db.execute(f"PRAGMA table_info({table})")]


def multiply(path: Path, readings: int) -> int:
    """Copies all rows until there are so many readings; gives their number."""
    db = sqlite3.connect(path)
    db.execute("PRAGMA synchronous = OFF")
    tables = (
        "arrivals",
        "sightings",
        "numbers",
        "records",
        "places",
        "runs",
        "captures",
        "snapshots",
        "facts",
        "readings",
    )
    steps = {
        name: 1
        + max(db.execute(f"SELECT COALESCE(MAX(number), 0) FROM {name}").fetchone()[0] for name in some)
        for name, some in {"r": ["records"], "a": ["arrivals"], "n": ["numbers"]}.items()
    }
    firsts = "f.record IN (SELECT MIN(record) FROM snapshots GROUP BY boot)"
    moved = {
        "arrivals": {
            "number": "t.number + :a",
            "sha256": "t.sha256 || :copy",
            "length": "0",
            "octets": "x''",
        },
        "sightings": {"number": "NULL", "arrival": "t.arrival + :a"},
        "numbers": {"number": "t.number + :n", "id": _ID.format("t")},
        "records": {"number": "t.number + :r", "id": _ID.format("t"), "boot": _BOOT.format("t")},
        "places": {"arrival": "t.arrival + :a", "record": "t.record + :r"},
        "runs": {"number": "t.number + :n", "record": "t.record + :r", "boot": _BOOT.format("t")},
        "captures": {"record": "t.record + :r"},
        "snapshots": {"record": "t.record + :r", "boot": _BOOT.format("t")},
        "facts": {"record": "t.record + :r"},
        "readings": {
            "number": "NULL",
            "run": "t.run + :n",
            "record": "t.record + :r",
            "approximate": f"t.approximate * {_SHIFT.replace('d.', 't.')}",
            "value": f"CAST(t.approximate * {_SHIFT.replace('d.', 't.')} AS TEXT)",
        },
    }
    for table in tables:
        columns = _columns(db, table)
        rows = firsts.replace("f.", "t.") if table == "facts" else "1"
        db.execute(f"CREATE TEMP TABLE first_{table} AS SELECT * FROM main.{table} t WHERE {rows}")
        told = ", ".join(moved[table].get(column, f"t.{column}") for column in columns)
        moved[table] = {
            "sql": f"INSERT INTO {table} ({', '.join(columns)}) SELECT {told} FROM temp.first_{table} t"
        }
    each = db.execute("SELECT count(*) FROM readings").fetchone()[0]
    copies = max(1, -(-readings // max(1, each)))
    for copy in range(1, copies):
        with db:
            values = {"copy": copy, **{name: step * copy for name, step in steps.items()}}
            for table in tables:
                db.execute(
                    moved[table]["sql"], {k: v for k, v in values.items() if f":{k}" in moved[table]["sql"]}
                )
    db.execute("ANALYZE")
    db.commit()
    db.close()
    return each * copies
