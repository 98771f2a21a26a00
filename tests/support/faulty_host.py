"""A host at the end of a line: the real receiver, desk and store; killed, full or locked when the plan says so.

Killed means: at that moment its open transaction and all of its memory are gone (the connection is closed, which rolls
back, and nothing more is said), and after a while a new host opens the same store. The killing of a whole process
by the system is a test of its own (test_faults_watch_killed.py).
"""

from __future__ import annotations

import contextlib
import sqlite3
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, cast

from readoff.arrivals.clerk import Clerk
from readoff.arrivals.desk import Desk
from readoff.arrivals.intake import TakenResult
from readoff.arrivals.told import Status
from readoff.contract.record import RecordId
from readoff.link.rates import START, HostRate
from readoff.store import Store, open_store

VANISHES = "the port vanishes"
KILLS = ("before the raw commit", "between the commits", "before the second commit", "before kept is said")
TROUBLES = (*KILLS, "disk full", "locked", VANISHES, "the clock jumps", "another watcher")


@cache
def _empty_store() -> bytes:
    """A new store's file: making one takes longer than most runs."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "empty.db"
        open_store(path).close()
        return path.read_bytes()


class Killed(BaseException):
    """The host ends here."""


@dataclass(frozen=True)
class Trouble:
    """What befalls the host when it takes its arrival number so-and-so (1 is the first of this line's life)."""

    what: str
    arrival: int


class FaultyHost:
    """Hears octets and answers; ``down`` seconds after a kill another one is up, at the start rate.

    clock, port: seconds and the divisor of its port, for who plays the time. fastest: the least divisor that its port
    may use. kills: how many so far. Other troubles: the port vanishes for so long (what is being put together stays);
    the clock jumps (the one on the wall, by years either way, and the line's own, which never goes back, by hours);
    another watcher, of the same store, takes the same record at this moment.
    """

    def __init__(
        self, path: Path, troubles: tuple[Trouble, ...] = (), down: float = 0.5, fastest: int = 1
    ) -> None:
        self.path, self.troubles, self.down = path, {each.arrival: each.what for each in troubles}, down
        self.fastest = fastest
        self.jumps = self.rivals = self.gone = 0
        self._wall = datetime(2026, 1, 1, tzinfo=UTC)
        self._ahead = 0.0
        self.clock, self.port = 0.0, START
        self.arrivals = self.kills = self.refused = 0
        self._store: Store | None = None
        self._up_at = 0.0
        self._no_port_until: float | None = None
        self._vanish = False
        if not path.exists():
            path.write_bytes(_empty_store())
        self._start()

    def hear(self, octets: bytes, now: float) -> bytes:
        """Octets from the agent, seconds of any clock; what is answered."""
        if self._no_port_until is not None:
            if now < self._no_port_until:
                return b""
            self._no_port_until = None
        now += self._ahead
        if self._store is None:
            if now < self._up_at:
                return b""
            self._start()
        out, receiver = bytearray(), self.desk.receiver
        try:
            self.desk.attend(receiver.receive(octets, now), out.extend)
            self.desk.attend(receiver.passed(now), out.extend)
        except Killed:
            self.kills += 1
            self._up_at = now - self._ahead + self.down
            self.close()
        if self._vanish:
            self._vanish, self._no_port_until = False, now - self._ahead + self.down
            self.desk.receiver.line_ended()
            self.gone += 1
            return b""
        return bytes(out)

    @property
    def divisor(self) -> int:
        """Of its port, once all that it answered is out; of a host that is not there, the last one's."""
        return self.desk.receiver.divisor

    def close(self) -> None:
        """Ends the host; what it has not committed is gone."""
        if self._store is not None:
            self._store.close()
            self._store = None

    def _start(self) -> None:
        self._store = open_store(self.path, busy=1, now=lambda: self._wall)
        self.desk = Desk(cast(Clerk, _Straight(self)), Status("line", "line"), HostRate(self.fastest))

    def take(self, octets: bytes, came_from: str) -> TakenResult:
        """Takes one arrival, with what befalls it."""
        self.arrivals += 1
        store = self._store
        assert store is not None
        what = self.troubles.get(self.arrivals, "")
        with self._befallen(store, what, octets):
            result = store.take(octets, came_from)
        if what == "before kept is said":
            raise Killed
        return result

    def known(self, id: RecordId, length: int, check: int) -> bool:
        """As the store says."""
        assert self._store is not None
        return self._store.known(id, length, check)

    def _take_by_another(self, octets: bytes) -> None:
        """A second program has the store open, and the same record came to it by a file."""
        with open_store(self.path, busy=1000) as other:
            other.take(octets, "folder/SAME.RDO")

    @contextlib.contextmanager
    def _befallen(self, store: Store, what: str, octets: bytes) -> Any:
        if what in ("before the raw commit", "before the second commit"):
            with _killed_at_commit(store, 1 if what == "before the raw commit" else 2):
                yield
        elif what == "between the commits":
            store.catch_up = _die  # type: ignore[method-assign, assignment]
            yield
        elif what == "disk full":
            pages = store.db.execute("PRAGMA page_count").fetchone()[0]
            store.db.execute(f"PRAGMA max_page_count = {pages}")
            try:
                yield
            finally:
                store.db.execute("PRAGMA max_page_count = 1073741823")
        elif what == VANISHES:
            self._vanish = True
            yield
        elif what == "the clock jumps":
            self.jumps += 1
            self._wall += timedelta(days=(-1) ** self.arrivals * 4000)
            self._ahead += 7200.0
            yield
        elif what == "another watcher":
            self.rivals += 1
            self._take_by_another(octets)
            yield
        elif what == "locked":
            other = sqlite3.connect(self.path, isolation_level=None)
            other.execute("BEGIN IMMEDIATE")
            try:
                yield
            finally:
                other.close()
        else:
            yield


@dataclass
class _Straight:
    """A clerk without threads, for the desk."""

    host: FaultyHost

    def take(self, octets: bytes, came_from: str) -> TakenResult:
        try:
            return self.host.take(octets, came_from)
        except Exception:
            self.host.refused += 1
            raise

    def known(self, id: RecordId, length: int, check: int) -> bool:
        return self.host.known(id, length, check)

    def tell(self, what: object) -> None:
        pass


def _die(*_: object) -> int:
    raise Killed


@contextlib.contextmanager
def _killed_at_commit(store: Store, number: int) -> Any:
    right: Callable[[], None] = store.db.commit
    count = 0

    def commit() -> None:
        nonlocal count
        count += 1
        if count == number:
            raise Killed
        right()

    store.db.commit = commit
    try:
        yield
    finally:
        store.db.commit = right
