"""``compare`` and ``runs`` on a large store, beside bare SQL over the same rows; exports in bounded memory."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from bench.bench_ingest import a_process, take
from bench.large_store import multiply
from bench.rows import Row, Took, ratio_row, timed
from readoff.reports import compare_labels
from readoff.store import find, open_store
from support.real_records import write_files

LABELS = ("zero-ws", "cache-on")
ROUNDS = 3
# What a comparison rests on at least: the readings of both labels' complete runs, boot by boot.
_AGGREGATE = """
SELECT u.label, u.program, u.arguments, d.metric, d.unit, u.boot, count(*), avg(ln(d.approximate)),
  min(d.approximate), max(d.approximate)
FROM readings d JOIN runs u ON u.number = d.run WHERE u.label IN (?, ?) AND u.state = 'complete'
GROUP BY 1, 2, 3, 4, 5, 6
"""


def on_a_large_store(folder: Path, readings: int) -> Iterator[Row]:
    """compare and runs, by turns with bare SQL."""
    files, path = folder / "files", folder / "large.db"
    files.mkdir()
    write_files(files, 4000)
    take(files, path)
    count = multiply(path, readings)
    with open_store(path) as store:
        yield _comparison(store, path, count)
        yield _runs(store, path)
    yield from _exports(folder, path, count)


def _least(ours: Any, bare: Any) -> tuple[Took, Took, Any]:
    most = Took(float("inf"), float("inf"))
    least, other, given = most, most, None
    for _ in range(ROUNDS):
        took, _rows = timed(bare)
        other = other.least(took)
        took, given = timed(ours)
        least = least.least(took)
    return least, other, given


def _comparison(store: Any, path: Path, count: int) -> Row:
    db = sqlite3.connect(path)
    rows = sum(row[6] for row in db.execute(_AGGREGATE, LABELS))
    ours, bare, result = _least(
        lambda: compare_labels(store, *LABELS), lambda: db.execute(_AGGREGATE, LABELS).fetchall()
    )
    db.close()
    theirs = f"{rows:,} of them theirs, {len(result.findings)} findings"
    what = f"compare two labels in a store of {count:,} readings ({theirs})"
    return ratio_row(what, ours, bare, "bare aggregate of the same rows", 3)


def _runs(store: Any, path: Path) -> Row:
    db = sqlite3.connect(path)
    ours, bare, rows = _least(lambda: find.runs(store), lambda: db.execute(find.RUNS).fetchall())
    db.close()
    return ratio_row(f"list {len(rows):,} runs", ours, bare, "the same question, bare", 3)


def _exports(folder: Path, path: Path, count: int) -> Iterator[Row]:
    """Peak memory of commands that put out the whole store, beside that of a small one."""
    small = folder / "small.db"
    take(folder / "files", small)
    for name, arguments in (
        ("export to CSV", ["export", "{out}"]),
        ("export to Parquet", ["export", "{out}", "--parquet"]),
        ("runs --json", ["runs", "--json"]),
    ):
        few, many = (_peak(folder, store, arguments) for store in (small, path))
        yield Row(
            f"peak memory of {name}, {count:,} readings beside a small store",
            f"{many / 1024:.0f} MB",
            f"{few / 1024:.0f} MB",
            f"{many / few:.2f}",
            "at most 1.5",
            many / few <= 1.5,
        )


def _peak(folder: Path, store: Path, arguments: list[str]) -> int:
    out = folder / f"out-{len(list(folder.iterdir()))}"
    used = a_process([*(each.format(out=out) for each in arguments), "--store", str(store)])
    assert used.status == 0, arguments
    return used.peak
