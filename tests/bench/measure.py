"""All benchmarks by one command: ratios measured side by side in one run, and a table of them.

    python tests/bench/measure.py                 some minutes
    python tests/bench/measure.py --full          200,000 records too: a quarter of an hour, 3 GB of disk
    python tests/bench/measure.py --only compare  one part (ingest, growth, compare, line, page)
    python tests/bench/measure.py --write         also writes docs/benchmarks.md

Ends with status 1 when a bar is missed. The tests assert on counts; these figures say how long.
"""

from __future__ import annotations

import argparse
import os
import platform
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS.parent / "host"), str(TESTS)]

from bench.bench_ingest import beside_bare_inserts, growth  # noqa: E402 - the path comes first
from bench.bench_line import of_the_line  # noqa: E402
from bench.bench_page import of_the_page  # noqa: E402
from bench.bench_questions import on_a_large_store  # noqa: E402
from bench.rows import Row  # noqa: E402

DOCS = TESTS.parent / "docs" / "benchmarks.md"
_HEAD = ("what", "ours", "beside", "ratio", "asked for", "")


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--full", action="store_true", help="200,000 records for the growth of time and memory"
    )
    parser.add_argument("--only", action="append", choices=("ingest", "growth", "compare", "line", "page"))
    parser.add_argument("--records", type=int, default=20_000)
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--runs", type=int, default=100_000, help="of the store that the page shows")
    parser.add_argument("--write", action="store_true", help="write docs/benchmarks.md")
    parser.add_argument("--in", dest="folder", type=Path, help="where to work; without it a temporary folder")
    options = parser.parse_args()
    many = 200_000 if options.full else 20_000
    parts: dict[str, Callable[[Path], Iterator[Row]]] = {
        "ingest": lambda folder: beside_bare_inserts(folder, options.records),
        "growth": lambda folder: growth(folder, many // 100 if options.full else 2_000, many),
        "compare": lambda folder: on_a_large_store(folder, options.readings),
        "line": lambda folder: of_the_line(folder, 200),
        "page": lambda folder: of_the_page(folder, options.runs),
    }
    rows: list[Row] = []
    for name in options.only or parts:
        with tempfile.TemporaryDirectory(dir=options.folder) as folder:
            for row in parts[name](Path(folder)):
                print(
                    " | ".join((row.what, row.ours, row.beside, row.ratio, row.bar, _verdict(row))),
                    flush=True,
                )
                rows.append(row)
    if options.write:
        DOCS.write_text(_page(rows), encoding="utf-8")
    return 1 if any(row.held is False for row in rows) else 0


def _verdict(row: Row) -> str:
    return {True: "held", False: "MISSED", None: ""}[row.held]


def _page(rows: list[Row]) -> str:
    cells = [_HEAD, ("---",) * len(_HEAD)]
    cells += [(row.what, row.ours, row.beside, row.ratio, row.bar, _verdict(row)) for row in rows]
    table = "\n".join(f"| {' | '.join(each)} |" for each in cells)
    machine = (
        f"{os.cpu_count()} processor cores, {platform.system()}, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}; load when it ended: {os.getloadavg()[0]:.1f}"
    )
    return f"{_TOP.format(machine=machine)}\n{table}\n{_FOOT}"


_TOP = """\
# Benchmarks

Made by `python tests/bench/measure.py --write` ([DEVELOPERS.md](../DEVELOPERS.md)). Both sides of a ratio were
measured in the same run, by turns, and of several rounds the shortest counts. The ratio is of processor time, since
others may work on the machine; by the clock it stands in brackets. Measured on: {machine}.
"""
_FOOT = """
What was measured:

- **Records**: made by READOFF.COM in the test machine (snapshots and runs of our sample programs on five machines),
  then varied: other agents, boots, labels, clocks, and other numbers in what was printed and shown. Half are snapshots.
- **Bare inserts**: the rows and octets that our store ends with, ready in memory, into the same tables and indexes with
  the same promises to the disk and as many transactions.
- **The large store**: 4,000 such records; the derived rows copied by SQL as other machines' with other numbers.
- **Bare aggregate**: count, mean of the logarithm, least and greatest of each boot, metric and program of both labels.
- **From the last octet to kept**: the call that gets the last octets of a record, until *kept* is ready to be sent: two
  commits with a sync each, and the reading of the record between them.
- **The page**: `readoff watch --page` in a process of its own, a line at 115,200 bits a second, viewers that ask again
  at every change in another; by turns with and without them, by the clock on the wall. First views: of a page just
  started.
- **Bare blast**: a program gives the port the records' octets and nothing else, polled. Beside it `READOFF SEND`, with
  all of its talk, frames and checks, from its start to its end; both are run by the agent, by turns, and timed by
  DOSBox's own timer.
- **Instructions** are counted in the test machine, with all else that the agent does for an octet.
"""

if __name__ == "__main__":
    sys.exit(main())
