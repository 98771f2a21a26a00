"""Taking records from files, beside bare inserts of the same octets and rows; how time and memory grow.

The bare inserts have everything made ready: rows from the store that ours left, a new file with the same tables and
indexes, the same promises to the disk, one transaction for as many arrivals. They read no file, check and understand
nothing; that is what the rest of our time goes into.
"""

from __future__ import annotations

import os
import re
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bench.rows import Row, Took, ratio_row, timed
from readoff.cli.common import load_all_schemas
from readoff.store.keep import BATCH
from support.commands import CliRunner, main
from support.real_records import write_files

ROUNDS = 3
HOST = Path(__file__).resolve().parents[2] / "host"
_TABLES = (
    *("arrivals", "sightings", "numbers", "records", "places", "runs", "captures"),
    *("snapshots", "facts", "measured", "readings", "holds", "history"),
)
_RECORD = "(SELECT MIN(p.arrival) FROM places p WHERE p.record = t.{})"
_ARRIVAL_OF = {
    "arrivals": "t.number",
    "sightings": "t.arrival",
    "places": "t.arrival",
    "holds": "t.arrival",
    "history": "t.arrival",
    "records": _RECORD.format("number"),
    "numbers": "(SELECT MIN(p.arrival) FROM places p JOIN records r ON r.number = p.record WHERE r.id = t.id)",
}


def take(folder: Path, store: Path) -> None:
    """``readoff take FOLDER``, in this process; some records have something held, hence status 1."""
    for path in store.parent.glob(f"{store.name}*"):
        path.unlink()
    result = CliRunner().invoke(main, ["take", str(folder), "--store", str(store)])
    assert result.exit_code in (0, 1) and not isinstance(result.exception, AssertionError), result.output


class BareInserts:
    """All rows of a store, in its batches, and what it takes to insert them."""

    def __init__(self, store: Path) -> None:
        source = sqlite3.connect(store)
        self._made = [
            sql
            for (sql,) in source.execute(
                "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%' "
                "ORDER BY type = 'index'"
            )
        ]
        self._batches: dict[int, dict[str, list[Any]]] = {}
        self.rows = 0
        for table in _TABLES:
            arrival = _ARRIVAL_OF.get(table, _RECORD.format("record"))
            for number, *row in source.execute(f"SELECT {arrival}, t.* FROM {table} t"):
                batch = self._batches.setdefault((number - 1) // BATCH, {})
                batch.setdefault(table, []).append(row)
                self.rows += 1
        source.close()

    def into(self, path: Path) -> None:
        """Inserts them into a new file."""
        for old in path.parent.glob(f"{path.name}*"):
            old.unlink()
        db = sqlite3.connect(path, isolation_level=None)
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            db.execute(f"PRAGMA {pragma}")
        for sql in self._made:
            db.execute(sql)
        for number in sorted(self._batches):
            db.execute("BEGIN IMMEDIATE")
            for table, rows in self._batches[number].items():
                db.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(rows[0]))})", rows)
            db.execute("COMMIT")
        db.close()


def beside_bare_inserts(folder: Path, count: int) -> Iterator[Row]:
    """So many records from files, and the bare inserts, by turns; the least of some rounds."""
    files = folder / "files"
    files.mkdir()
    octets = write_files(files, count)
    load_all_schemas(None)
    ours = bare = Took(float("inf"), float("inf"))
    store = folder / "ours.db"
    inserts: BareInserts | None = None
    for _ in range(ROUNDS):
        took, _given = timed(lambda: take(files, store))
        ours = ours.least(took)
        inserts = inserts or BareInserts(store)
        took, _given = timed(lambda inserts=inserts: inserts.into(folder / "bare.db"))
        bare = bare.least(took)
    assert inserts is not None
    what = f"take {count:,} records, {octets / 1e6:.0f} MB, {inserts.rows:,} rows"
    yield ratio_row(what, ours, bare, "bare inserts", 6, aim=", aim 4")
    yield Row(
        "for one record",
        f"{1e6 * ours.cpu / count:.0f} µs of processor",
        f"bare: {1e6 * bare.cpu / count:.0f} µs",
    )


def growth(folder: Path, few: int, many: int) -> Iterator[Row]:
    """Time and peak memory of ``readoff take`` as a process of its own."""
    seen: dict[int, tuple[Took, int]] = {}
    for count in (few, many):
        files = folder / f"files-{count}"
        files.mkdir()
        write_files(files, count)
        store = folder / f"{count}.db"
        seen[count] = _in_a_process(files, store)
        with sqlite3.connect(store) as db:
            assert db.execute("SELECT count(*) FROM records").fetchone() == (count,)
    (short, small), (long, large) = seen[few], seen[many]
    cpu = (long.cpu / short.cpu) / (many / few) * 10
    yield Row(
        f"{many:,} records beside {few:,}: time for ten times as many",
        str(long),
        str(short),
        f"{cpu:.1f}",
        "at most 11",
        cpu <= 11,
    )
    yield Row(
        f"{many:,} records beside {few:,}: peak memory",
        f"{large / 1024:.0f} MB",
        f"{small / 1024:.0f} MB",
        f"{large / small:.2f}",
        "at most 1.5",
        large / small <= 1.5,
    )


def _in_a_process(files: Path, store: Path) -> tuple[Took, int]:
    """(time, peak memory in KB) of readoff take."""
    took, used = timed(lambda: a_process(["take", str(files), "--store", str(store)]))
    assert used.status in (0, 1)
    return Took(took.wall, used.cpu), used.peak


@dataclass(frozen=True)
class Used:
    """What a process used. cpu: seconds of processor. peak: KB of memory."""

    status: int
    cpu: float
    peak: int


# What the system tells of a child's memory begins with its parent's, who is large here; so the child tells its own.
_TELLS = """
import atexit, sys
from pathlib import Path
told = Path(sys.argv.pop(1))
atexit.register(lambda: told.write_bytes(Path("/proc/self/status").read_bytes()))
from readoff.cli import main
main()
"""


def a_process(arguments: list[str]) -> Used:
    """A command of Readoff in a process of its own."""
    environment = {**os.environ, "PYTHONPATH": str(HOST)}
    with tempfile.TemporaryDirectory() as folder:
        told = Path(folder, "status")
        command = [sys.executable, "-c", _TELLS, str(told), *arguments]
        started = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)
        _, status, usage = os.wait4(started.pid, 0)
        peak = re.search(r"VmHWM:\s+([0-9]+) kB", told.read_text())
    assert peak is not None
    return Used(os.waitstatus_to_exitcode(status), usage.ru_utime + usage.ru_stime, int(peak[1]))
