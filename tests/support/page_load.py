"""Load on the page and on a line beside it: stores of many runs, viewers that follow, and when *kept* is said."""

from __future__ import annotations

import http.client
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from readoff.contract.record import parse_record
from readoff.link.sender import Sender, Spooled, Verdict
from readoff.readings import load_schemas
from readoff.store import open_store
from support import store_samples as samples
from support.agent_twin import Port
from support.study_records import STUDY as STUDY_OF_TWO

STUDY = (
    STUDY_OF_TWO.replace("as-found", "label-0000")
    .replace("zero-ws", "label-0001")
    .replace("shown_rate", "rate")
    .replace("boots = 3", "boots = 5")
)
"""Of the first two labels of a store of many."""
A_BOOT, A_LABEL = 10, 50
"""Runs of one boot, and of one label, in a store of many."""
TESTS = Path(__file__).resolve().parents[1]
BITS = 10  # of an octet on a line, 8N1


def many_runs(path: Path, runs: int) -> None:
    """A store with so many runs, in boots of ten and labels of fifty."""

    def records() -> Iterator[tuple[bytes, str]]:
        for at in range(runs):
            label, boot = f"label-{at // A_LABEL:04}", at // A_BOOT + 1
            if at % A_BOOT == 0:
                yield samples.snapshot_record(1, boot, label=label), "line"
            start = {"label": label, "repeat": 1 + at % A_BOOT, "repeats": A_BOOT}
            console = samples.printed(f"{70 + at % 13}.{at % 10}")
            yield samples.run_record(2 + at % A_BOOT, boot, console=console, start=start), "line"

    with open_store(path, load_schemas([("replay.toml", samples.SCHEMA)])) as store:
        for _ in store.take_all(records()):
            pass


@dataclass
class Sent:
    """One record on a line. sent: when its last octet had been written; kept: when the answer was read (monotonic)."""

    sent: float
    kept: float

    @property
    def took(self) -> float:
        """Seconds from the last octet to *kept*."""
        return self.kept - self.sent


def send(records: Sequence[bytes], port: Port, nonce: int, rate: int = 0) -> list[Sent]:
    """Sends records one after the other, and times each. rate: of the line in bits a second; 0 as fast as it goes."""
    spool = [Spooled(parse_record(octets).id, octets) for octets in records]
    sender = Sender(0x11223344, nonce, spool, patience=5.0)
    last, done = 0.0, list[Sent]()
    while not sender.over:
        octets = sender.to_send(time.monotonic())
        wait = min(0.05, max(0.0, sender.due - time.monotonic()))
        if octets:
            time.sleep(len(octets) * BITS / rate if rate else 0.0)
            port.write(octets)
            last = time.monotonic()
            wait = 0.0
        heard = port.read(wait)
        assert heard is not None, "the other end is gone"
        if heard:
            sender.receive(heard, time.monotonic())
        kept = sum(verdict is Verdict.KEPT for verdict in sender.verdicts.values())
        while len(done) < kept:
            done.append(Sent(last, time.monotonic()))
    return done


@contextmanager
def viewers(port: int, count: int) -> Iterator[None]:
    """So many viewers of the view of now in a process of their own, each asking again at every beat."""
    if not count:
        yield
        return
    process = subprocess.Popen(
        [sys.executable, __file__, str(port), str(count)],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, (TESTS.parent / "host", TESTS)))},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "all there\n"
        yield
    finally:
        process.kill()
        process.communicate()


def _follow(port: int, there: threading.Semaphore) -> None:
    stream = http.client.HTTPConnection("127.0.0.1", port, timeout=600)
    stream.request("GET", "/changes")
    lines = stream.getresponse()
    first = True
    asking = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    for line in iter(lines.readline, b""):
        if line.startswith(b"data:"):
            try:
                asking.request("GET", "/")
                asking.getresponse().read()
            except (http.client.HTTPException, OSError):  # kept for a while only: as a browser, on a new one
                asking.close()
                continue
            if first:
                there.release()
                first = False
            time.sleep(0.25)  # as the page's own script waits between two questions


if __name__ == "__main__":
    all_there = threading.Semaphore(0)
    for _ in range(int(sys.argv[2])):
        threading.Thread(target=_follow, args=(int(sys.argv[1]), all_there), daemon=True).start()
    for _ in range(int(sys.argv[2])):
        all_there.acquire()
    print("all there", flush=True)
    sys.stdin.read()
