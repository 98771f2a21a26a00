"""The line: payload beside octets on it, what the agent spends on an octet, the host's pace, and the way to kept."""

from __future__ import annotations

import random
import sqlite3
import statistics
import time
from collections.abc import Iterator
from pathlib import Path

from bench.rows import Row
from readoff.arrivals.intake import TakenResult
from readoff.contract.record import parse_record
from readoff.link.receiver import Receiver
from readoff.link.sender import Sender, Spooled
from support.agent_line import LineBench
from support.bare_blast import beside_a_bare_blast
from support.fault_runs import _Ear
from support.faulty_host import FaultyHost
from support.line_records import record, record_id
from support.real_records import real_records
from support.simulated_line import Desk, Faults, Line

WIRE = 11_520  # octets a second at 115,200 baud, ten bits each


class _TimedHost(FaultyHost):
    """Notes how long hearing takes, the store's part aside, and each hearing that ended in *kept*."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.hearing = self._taking = 0.0
        self.octets, self.keeping = 0, list[float]()

    def hear(self, octets: bytes, now: float) -> bytes:
        arrivals, taking, began = self.arrivals, self._taking, time.perf_counter()
        answer = super().hear(octets, now)
        took = time.perf_counter() - began
        self.octets += len(octets)
        self.hearing += took - (self._taking - taking)
        if self.arrivals > arrivals:
            self.keeping.append(took)
        return answer

    def take(self, octets: bytes, came_from: str) -> TakenResult:
        began = time.perf_counter()
        result = super().take(octets, came_from)
        self._taking += time.perf_counter() - began
        return result


def of_the_line(folder: Path, count: int) -> Iterator[Row]:
    """So many real records over a line without faults."""
    records = [octets for _, octets in real_records(count)]
    spool = [Spooled(parse_record(octets).id, octets) for octets in records]
    host, line = _TimedHost(folder / "line.db"), Line(Faults(), 1)
    line.run(Sender(1, 2, spool), _Ear(host, line), Desk(), longest=1e9)  # type: ignore[arg-type]
    host.close()
    payload = sum(map(len, records))
    assert host.arrivals == count
    efficiency = payload / line.octets_out
    yield Row(
        f"{count} records over the line: payload beside octets on the line",
        f"{payload:,}",
        f"{line.octets_out:,}",
        f"{efficiency:.3f}",
        "at least 0.97 (of long records)",
    )
    pace = host.octets / host.hearing
    yield Row(
        "receiver: octets a second",
        f"{pace:,.0f}",
        f"a line at 115,200: {WIRE:,}",
        f"{pace / WIRE:.0f}",
        "at least 4 (four ports at once)",
        pace >= 4 * WIRE,
    )
    yield from _kept(folder, records, host.keeping)
    yield _long_record()
    yield _beside_a_blast(folder)
    yield _instructions()


def _kept(folder: Path, records: list[bytes], keeping: list[float]) -> Iterator[Row]:
    """From the last octet to *kept*, beside a bare commit of the same octets with the same promise."""
    db = sqlite3.connect(folder / "commits.db", isolation_level=None)
    for sql in ("PRAGMA journal_mode = WAL", "PRAGMA synchronous = FULL", "CREATE TABLE t (octets BLOB)"):
        db.execute(sql)
    bare = []
    for octets in records:
        began = time.perf_counter()
        db.execute("BEGIN IMMEDIATE")
        db.execute("INSERT INTO t VALUES (?)", (octets,))
        db.execute("COMMIT")
        bare.append(time.perf_counter() - began)
    db.close()
    ours, theirs = statistics.median(keeping), statistics.median(bare)
    yield Row(
        "from a record's last octet to *kept*, median",
        f"{1e3 * ours:.1f} ms",
        f"bare commit: {1e3 * theirs:.1f} ms",
        f"{ours / theirs:.1f}",
        "under 100 ms",
        ours < 0.1,
    )


def _long_record() -> Row:
    octets = record(1, 65_536)
    spool = [Spooled(record_id(1), octets)]
    line, desk = Line(Faults(), 1), Desk()
    line.run(Sender(1, 2, spool), Receiver(), desk)
    efficiency = len(octets) / line.octets_out
    return Row(
        "64 KB of noise as one record: payload beside octets on the line",
        f"{len(octets):,}",
        f"{line.octets_out:,}",
        f"{efficiency:.3f}",
        "at least 0.97",
        efficiency >= 0.97,
    )


def _beside_a_blast(folder: Path) -> Row:
    """The agent under DOSBox, by DOSBox's own timer."""
    folder = folder / "dosbox"
    folder.mkdir()
    rounds = sorted(beside_a_bare_blast(folder, 5), key=lambda each: each.ratio)
    middle = rounds[len(rounds) // 2]
    return Row(
        "64 KB of records over the line under DOSBox, median of 5",
        f"{middle.sent:.2f} s",
        f"bare blast: {middle.bare:.2f} s",
        f"{middle.ratio:.3f} ({rounds[0].ratio:.3f} to {rounds[-1].ratio:.3f})",
        "at most 1.08",
        middle.ratio <= 1.08,
    )


def _instructions() -> Row:
    octets = record(1, 28)[:-4] + random.Random(3).randbytes(16_384)
    bench = LineBench({"A.RDO": octets}, paced=False)
    count = bench.bench.count_instructions()
    assert bench.offer() == 0
    each = count() / bench.octets_to_host
    return Row(
        "agent: instructions for an octet sent, counted", f"{each:.1f}", "", "", "at most 60", each <= 60
    )
