"""Keeping: raw octets first, in a transaction of their own; what they say second, in another.

Between the two lies the promise "kept". A program that dies there leaves an arrival in ``pending``, and the next
one that opens the store reads it. Arrivals are always read in the order of their numbers, whoever reads them, so
two programs on one store come to the same result as one.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from readoff.arrivals.intake import Held, TakenResult
from readoff.contract.record import RecordId
from readoff.errors import StoreError
from readoff.names import printable
from readoff.store.arrived import arrived
from readoff.store.became import results, rows_of
from readoff.store.changes import Changes, Seen, State, changes_between
from readoff.store.derive import Arrival, Deriving
from readoff.store.migrations import APPLICATION_ID, DERIVED, MIGRATIONS, migrate, version_of
from readoff.store.sqlite import BUSY_MILLISECONDS, choose_journal, connect, telling, writing

if TYPE_CHECKING:
    from sqlite_utils import Database

    from readoff.readings import Schema

BATCH = 250  # arrivals kept, or read, in one transaction
BATCH_OCTETS = 16 << 20

_KNOWN = "SELECT sha256, number FROM arrivals WHERE sha256 IN ({})"
_PENDING = "FROM pending p JOIN arrivals a ON a.number = p.arrival"  # a damaged store may lack one
_NOT_KEPT = "; the octets are NOT kept"

_Row = tuple[int, str, int, bytes]  # of arrivals: number, SHA-256, length, octets
Clock = Callable[[], datetime]
Schemas = Sequence["Schema"] | Callable[[], Sequence["Schema"]]


def _utc_now() -> datetime:
    return datetime.now(UTC)


def open_store(
    path: str | Path,
    schemas: Schemas = (),
    *,
    create: bool = True,
    now: Clock = _utc_now,
    busy: int = BUSY_MILLISECONDS,
) -> Store:
    """Opens a store, brings an older one up to date, and reads what an earlier program had not come to.

    schemas: what captures are read by, or where to get it when it is needed. create: whether to make a new
    store where there is no file. now: the host's clock, with a zone. busy: milliseconds to wait for another
    program's write.
    Raises StoreError when there is no such file, it is no store, a newer one, locked, or cannot be written;
    the file is then untouched.
    """
    path = Path(path)
    if path.is_dir():
        raise StoreError(
            "this is a folder, not a store", where=str(path), next_step="Name a file with --store."
        )
    if not path.exists() and not create:
        raise StoreError("there is no store", where=str(path), next_step="Take or watch something first.")
    if path.exists() and not path.stat().st_size and not create:
        raise StoreError("the file is empty, so it is no store", where=str(path))
    _refuse_other_files(path)
    db = connect(path, busy=busy)
    try:
        with telling(str(path)):
            _refuse_other_stores(db, path)
            choose_journal(db, path)
            migrate(db, str(path))
        store = Store(db, path, schemas, now)
        store.catch_up()
    except BaseException:
        db.close()
        raise
    return store


def _refuse_other_files(path: Path) -> None:
    """A file that does not begin as SQLite's files do ("The SQLite database file format", 1.3)."""
    if path.exists() and path.stat().st_size:
        try:
            with path.open("rb") as file:
                start = file.read(16)
        except OSError as error:
            raise StoreError(f"the store cannot be read ({error.strerror})", where=str(path)) from error
        if start != b"SQLite format 3\0":
            raise StoreError(
                "this is not a store of Readoff", where=str(path), next_step="Name another file with --store."
            )


def _refuse_other_stores(db: Database, path: Path) -> None:
    mark = int(db.execute("PRAGMA application_id").fetchone()[0])
    version = version_of(db)
    tables = int(db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
    if mark != APPLICATION_ID and (mark or version or tables):
        raise StoreError(
            "this is a database, but not a store of Readoff",
            where=str(path),
            next_step="Name another file with --store.",
        )
    if version > len(MIGRATIONS):
        raise StoreError(
            f"this store is of version {version}, newer than this program (version {len(MIGRATIONS)}); it is untouched",
            where=str(path),
            next_step="Install a newer Readoff.",
        )


@dataclass(frozen=True)
class Incoming:
    """Octets on their way into the store.

    sightings: (came from, came at in ISO, UTC) of each time that they came to another store; without, they come now.
    """

    octets: bytes
    came_from: str
    sightings: tuple[tuple[str, str], ...] = ()


class Store:
    """One open store. All calls come from the thread that opened it."""

    def __init__(self, db: Database, path: Path, schemas: Schemas, now: Clock) -> None:
        self.db, self.path, self._now = db, path, now
        self._conn: sqlite3.Connection = db.conn
        self._schemas = schemas
        self.step: Callable[[int, int], None] = lambda done, of: None
        """Called in long work with how many arrivals are done, and of how many."""

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Closes the file; the store cannot be used after it."""
        self.db.close()

    @property
    def schemas(self) -> Sequence[Schema]:
        """What captures are read by; fetched at the first use. Raises SchemaError."""
        if callable(self._schemas):
            self._schemas = self._schemas()
        return self._schemas

    # -- taking ----------------------------------------------------------------------------------------------

    def take(self, octets: bytes, came_from: str) -> TakenResult:
        """Commits the raw octets, then reads them. Idempotent: the same octets twice are one arrival.

        came_from: a file's path or a line's name, for the person. Never fails because of what the octets are.
        Raises StoreError when they could not be committed: then nothing of them counts as kept.
        """
        return self._take_batch([Incoming(octets, came_from)])[0]

    def take_all(self, arrivals: Iterable[tuple[bytes, str]]) -> Iterator[TakenResult]:
        """Like take for many, with two transactions a batch instead of two an arrival."""
        for batch in _batches(Incoming(octets, came_from) for octets, came_from in arrivals):
            yield from self._take_batch(batch)

    def take_gathered(self, arrivals: Iterable[Incoming]) -> Iterator[TakenResult]:
        """Like take_all, of arrivals that came to another store first: when each was sighted there is kept."""
        for batch in _batches(arrivals):
            yield from self._take_batch(batch)

    def _take_batch(self, batch: Sequence[Incoming]) -> list[TakenResult]:
        kept = self._keep(batch)
        try:
            self.catch_up()
            with telling(str(self.path)):
                return results(self._conn, kept)
        except StoreError as error:
            # The octets are safe; whoever opens the store next, or takes the next arrival, reads them.
            late = f"kept, but not read yet: {error.sentence()}"
            return [
                TakenResult(number, again=again, held=() if again else (Held(0, len(each.octets), late),))
                for (number, again), each in zip(kept, batch, strict=True)
            ]

    def _keep(self, batch: Sequence[Incoming]) -> list[tuple[int, bool]]:
        """(arrival's number, whether the same octets had come before) of each, committed when this returns."""
        at = self._now().astimezone(UTC).isoformat(timespec="seconds")
        digests = [hashlib.sha256(each.octets).hexdigest() for each in batch]
        with writing(self.db, str(self.path), _NOT_KEPT):
            numbers = dict(rows_of(self._conn, _KNOWN, list(dict.fromkeys(digests))))
            (last,) = self._conn.execute("SELECT COALESCE(MAX(number), 0) FROM arrivals").fetchone()
            kept, new, sightings = list[tuple[int, bool]](), list[_Row](), list[Any]()
            self._heal(
                (numbers[d], d, len(a.octets), a.octets)
                for d, a in zip(digests, batch, strict=True)
                if d in numbers
            )
            for digest, each in zip(digests, batch, strict=True):
                again = digest in numbers
                if not again:
                    numbers[digest] = last + len(new) + 1
                    new.append((numbers[digest], digest, len(each.octets), each.octets))
                number = numbers[digest]
                seen = each.sightings or ((each.came_from, at),)
                known = self._sightings_of(number, sightings) if again and each.sightings else set()
                sightings += [
                    (number, printable(where), when) for where, when in seen if (where, when) not in known
                ]
                kept.append((number, again))
            self._keep_rows(new, sightings)
        return kept

    def _heal(self, known: Iterable[_Row]) -> None:
        """Octets that were spoiled in the store since they came are put right when they come again."""
        self._conn.executemany(
            "UPDATE arrivals SET length = ?3, octets = ?4 WHERE number = ?1 AND sha256 = ?2 "
            "AND (octets <> ?4 OR length <> ?3)",
            known,
        )

    def _keep_rows(self, new: Sequence[_Row], sightings: Sequence[Any]) -> None:
        many = self._conn.executemany
        many("INSERT INTO arrivals (number, sha256, length, octets) VALUES (?, ?, ?, ?)", new)
        many("INSERT INTO sightings (arrival, came_from, came_at) VALUES (?, ?, ?)", sightings)
        many("INSERT INTO pending (arrival) VALUES (?)", [(number,) for number, *_ in new])

    def _sightings_of(self, number: int, waiting: Sequence[tuple[int, str, str]]) -> set[tuple[str, str]]:
        """(came from, came at) of what is known of an arrival; waiting: what is not written yet."""
        sql = "SELECT came_from, came_at FROM sightings WHERE arrival = ?"
        return {
            *self._conn.execute(sql, (number,)),
            *(tuple(rest) for each, *rest in waiting if each == number),
        }

    def known(self, id: RecordId, length: int, check: int) -> bool:
        """Whether octets of this record, this long and with these last four octets, are committed.

        Only copies that a check vouches for to their last octet count: one that was damaged on the way may end
        in the same four octets, and the original must not be deleted for it. Raises StoreError.
        """
        with telling(str(self.path)):
            row = self.db.execute(
                "SELECT 1 FROM records WHERE id = ? AND length = ? AND tail = ? AND verified = length",
                [str(id), length, check],
            ).fetchone()
        return row is not None

    # -- reading what came -----------------------------------------------------------------------------------

    def catch_up(self) -> int:
        """Reads every arrival that is not read yet, oldest first; gives their number. Raises StoreError."""
        done = 0
        while self._any_pending():
            with writing(self.db, str(self.path)):
                numbers = self._next_pending()
                Deriving(self.db, self.schemas).arrivals(map(self._arrival, numbers))
                # They were the oldest, and nobody else writes meanwhile.
                self._conn.execute("DELETE FROM pending WHERE arrival <= ?", (numbers[-1] if numbers else 0,))
            done += len(numbers)
        return done

    def _any_pending(self) -> bool:
        with telling(str(self.path)):
            return self._conn.execute(f"SELECT 1 {_PENDING} LIMIT 1").fetchone() is not None

    def _next_pending(self) -> list[int]:
        """The oldest arrivals that are not read yet: of as many as fit one transaction, at least one."""
        rows = self._conn.execute(f"SELECT p.arrival {_PENDING} ORDER BY p.arrival LIMIT ?", (BATCH,))
        return [number for (number,) in rows]

    def _arrival(self, number: int) -> Arrival:
        octets, came_from, came_at = self._conn.execute(
            "SELECT a.octets, COALESCE(s.came_from, ''), COALESCE(s.came_at, '') FROM arrivals a "
            "LEFT JOIN sightings s ON s.arrival = a.number WHERE a.number = ? ORDER BY s.number LIMIT 1",
            (number,),
        ).fetchone()
        return Arrival(number, octets, came_from, came_at)

    def reread(self) -> Changes:
        """Derives everything again from the raw octets, in one transaction, and says what changed.

        Runs keep their numbers. Raises StoreError; nothing has changed then.
        """
        self.catch_up()
        with writing(self.db, str(self.path)):
            before = self._state()
            self.derive_all()
            after = self._state()
        return changes_between(before, after)

    def derive_all(self, *, spoiled_too: bool = False) -> None:
        """Empties the derived tables and fills them again, in the transaction that the caller has open.

        spoiled_too: also from octets that are not those that came; else raises StoreError where there are some, as what
        was read of them before may be all that is left.
        """
        for table in DERIVED:
            self.db.execute(f"DELETE FROM {table}")
        numbers = self._conn.execute("SELECT number FROM arrivals ORDER BY number").fetchall()
        Deriving(self.db, self.schemas).arrivals(self._told([number for (number,) in numbers], spoiled_too))
        self.db.execute("DELETE FROM pending")

    def _told(self, numbers: Sequence[int], spoiled_too: bool) -> Iterator[Arrival]:
        """The arrivals of these numbers, and how far it is."""
        for done, number in enumerate(numbers):
            self.step(done, len(numbers))
            _, spoiled = ("", "") if spoiled_too else arrived(self._conn, number)
            if spoiled:
                raise StoreError(
                    f"arrival {number}: {spoiled}; nothing was read again",
                    where=str(self.path),
                    next_step="See what is spoiled: readoff store check",
                )
            yield self._arrival(number)
        self.step(len(numbers), len(numbers))

    def _state(self) -> State:
        readings = self.db.execute(
            "SELECT d.run, r.id, d.schema, d.schema_digest, d.metric, d.occurrence, trim(d.value || ' ' || d.unit) "
            "FROM readings d JOIN records r ON r.number = d.record ORDER BY d.run, d.number"
        ).fetchall()
        holds = self.db.execute(
            "SELECT COALESCE(r.id, ''), h.metric, h.reason FROM holds h LEFT JOIN records r ON r.number = h.record "
            "ORDER BY h.number"
        ).fetchall()
        return State(tuple(Seen(*row) for row in readings), tuple(holds))


def _batches(arrivals: Iterable[Incoming]) -> Iterator[list[Incoming]]:
    """Batches that fit the memory: of at most BATCH arrivals, ended early by the one that exceeds BATCH_OCTETS."""
    batch: list[Incoming] = []
    size = 0
    for each in arrivals:
        batch.append(each)
        size += len(each.octets)
        if len(batch) >= BATCH or size >= BATCH_OCTETS:
            yield batch
            batch, size = [], 0
    if batch:
        yield batch
