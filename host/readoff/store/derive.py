"""One arrival -> records, runs, captures, snapshots, readings, holds.

The same code derives the first time and every time after (``Store.reread``). Everything goes into the
transaction that the caller has open: the rows of many arrivals at once, as long as each only adds some. An arrival that
changes what was derived before (a longer copy of a record, a file that grew) is derived by itself, behind a savepoint.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from readoff.contract.record import Completeness, Record, Unreadable, parse_record, parse_records
from readoff.readings import Hold, Schema, read_run
from readoff.snapshots import facts_of, measured_of
from readoff.store.captures import RunState, Taken, captures_of, file_state, run_state
from readoff.store.rows import capture_row, content_of, elapsed_rows, reading_rows, record_row, run_columns
from readoff.store.sheet import MOST_ROWS, Mark, Sheet
from readoff.store.standing import Standing, standing_alone, weigh

if TYPE_CHECKING:
    from sqlite_utils import Database

_PADDING = b"\x1a\0"
MOST_WAITING, MOST_OCTETS = 250, 16 << 20  # arrivals whose rows wait to be written, and their octets
MOST_HOLDS = 50  # of one record; a hostile one could have a hundred thousand
# Their flaws are told with the captures that they belong to.
_CAPTURE_SECTIONS = ("console", "screen", "file", "file_data")


@dataclass(frozen=True)
class Arrival:
    """One arrival as the deriving needs it. at: when it came, for the history (ISO, UTC)."""

    number: int
    octets: bytes
    came_from: str
    at: str


@dataclass(frozen=True)
class _Placed:
    """A record with its row and where it lies in the arrival being derived."""

    record: Record
    number: int
    arrival: Arrival
    begin: int


class _ByItselfError(Exception):
    """This arrival meets what was derived before, and has to be derived by itself."""


class Deriving:
    """Writes what comes of arrivals into the open transaction of one store, which nobody else writes meanwhile."""

    def __init__(self, db: Database, schemas: Sequence[Schema]) -> None:
        self.db, self.schemas = db, schemas
        self._conn: sqlite3.Connection = db.conn
        self._sheet = Sheet(self._conn)
        self._headlines = {(schema.name, metric) for schema in schemas for metric in schema.headline}
        self._fresh: set[str] = (
            set()
        )  # ids of records, and numbers of arrivals with holds, that are not written yet
        self._held: set[int] = set()
        self._own: list[str] = []  # of the arrival at hand
        self._alone = False

    def arrivals(self, arrivals: Iterable[Arrival]) -> None:
        """All of them, in order. Raises sqlite3.OperationalError; for octets it fails never."""
        waiting: list[Arrival] = []
        octets = 0
        for arrival in arrivals:
            waiting.append(arrival)
            octets += len(arrival.octets)
            try:
                self._add(arrival)
            except _ByItselfError:
                self._write(waiting[:-1])
                self._carefully(arrival)
                waiting, octets = [], 0
            if len(waiting) >= MOST_WAITING or octets > MOST_OCTETS or len(self._sheet) > MOST_ROWS:
                self._write(waiting)
                waiting, octets = [], 0
        self._write(waiting)

    def _add(self, arrival: Arrival) -> None:
        """Adds an arrival's rows to those that wait, or none of them."""
        mark = self._sheet.mark()
        self._own = []
        try:
            self.arrival(arrival)
        except (_ByItselfError, sqlite3.OperationalError):
            self._back(mark)
            raise
        except Exception as error:
            self._back(mark)
            self.hold_failure(arrival, error)

    def _back(self, mark: Mark) -> None:
        self._sheet.back(mark)
        self._fresh.difference_update(self._own)

    def _write(self, waiting: Sequence[Arrival]) -> None:
        """Writes the rows that wait. Should the store refuse one of them, each arrival is tried by itself."""
        try:
            with self.db.atomic():
                self._sheet.write()
        except sqlite3.OperationalError:
            raise  # the disk or a lock, not the octets: the whole transaction is off, and can be tried again
        except sqlite3.Error:
            self._sheet.forget()
            for each in waiting:
                self._carefully(each)
        self._fresh.clear()
        self._held.clear()

    def _carefully(self, arrival: Arrival) -> None:
        """One arrival behind a savepoint, each row written at once.

        A mistake of ours, met for the first time in these octets, must not stand in the way of all others for ever, nor
        may they get lost: they are held, and tried again by Store.reread.
        """
        self._alone = True
        try:
            with self.db.atomic():
                self.arrival(arrival)
        except sqlite3.OperationalError:
            raise
        except Exception as error:
            self._sheet.forget()
            self.hold_failure(arrival, error)
        finally:
            self._alone = False

    def _by_itself(self) -> None:
        if not self._alone:
            raise _ByItselfError

    def arrival(self, arrival: Arrival) -> None:
        """All parts of an arrival, in order."""
        self._outgrown(arrival)
        begin = 0
        for part in parse_records(arrival.octets):
            if isinstance(part, Record):
                self._record(standing_alone(part, len(arrival.octets)), arrival, begin)
            else:
                self._unreadable(part, arrival)
            begin += len(part.octets)

    def _unreadable(self, part: Unreadable, arrival: Arrival) -> None:
        if part.begin and not part.octets.strip(_PADDING):
            return  # what a transfer adds to fill up a block: it says nothing
        self._hold("octets", arrival, part.begin, len(part.octets), part.reason)

    def _outgrown(self, arrival: Arrival) -> None:
        """A file that was still being written when it was first taken: what was held of its beginning is let go."""
        earlier = self._conn.execute(
            "SELECT MAX(arrival) FROM sightings WHERE came_from = ? AND arrival < ?",
            (arrival.came_from, arrival.number),
        ).fetchone()[0]
        if earlier is None:
            return
        if earlier in self._held:
            self._by_itself()
        held = self.db.execute(
            "SELECT 1 FROM holds WHERE arrival = ? AND kind = 'octets' LIMIT 1", [earlier]
        ).fetchone()
        if held is None:
            return
        self._by_itself()
        octets = self.db.execute("SELECT octets FROM arrivals WHERE number = ?", [earlier]).fetchone()[0]
        if octets and arrival.octets.startswith(octets):
            self.db.execute("DELETE FROM holds WHERE arrival = ? AND kind = 'octets'", [earlier])
            text = f"the beginning of this file had come as arrival {earlier} and was held; now it is longer"
            self._tell(arrival, "", "outgrown", text)

    # -- records ---------------------------------------------------------------------------------------------

    def _record(self, record: Record, arrival: Arrival, begin: int) -> None:
        ident, digest = str(record.id), hashlib.sha256(record.octets).hexdigest()
        if ident in self._fresh:
            self._by_itself()
        rows = self._conn.execute(
            "SELECT number, sha256, standing FROM records WHERE id = ?", (ident,)
        ).fetchall()
        same = next((number for number, sha256, _ in rows if sha256 == digest), None)
        if same is not None:
            self._place(arrival, begin, same)
            return
        if rows:
            self._by_itself()
        self._fresh.add(ident)
        self._own.append(ident)
        old = next((number for number, _, standing in rows if standing == Standing.STANDS), None)
        weighed = weigh(record, None if old is None else self._octets_of(old))
        if weighed.replaces and old is not None:
            self._forget(old)
        number = self._sheet.number("records")
        self._insert("records", {"number": number, **record_row(record, digest, weighed.standing)})
        self._place(arrival, begin, number)
        placed = _Placed(record, number, arrival, begin)
        if weighed.standing is Standing.STANDS:
            self._content(placed)
        elif weighed.standing is Standing.HELD:
            self._hold("record", arrival, begin, len(record.octets), weighed.event, record=number)
        if old is not None:
            what = "replaced" if weighed.replaces else str(weighed.standing)
            self._tell(arrival, ident, what, weighed.event)

    def _octets_of(self, number: int) -> Record:
        octets = self.db.execute(
            "SELECT substr(a.octets, p.begin + 1, r.length) FROM records r "
            "JOIN places p ON p.record = r.number JOIN arrivals a ON a.number = p.arrival "
            "WHERE r.number = ? LIMIT 1",
            [number],
        ).fetchone()[0]
        return parse_record(octets)

    def _forget(self, number: int) -> None:
        """What had been derived from a copy that no longer stands."""
        for table in ("holds", "readings", "measured", "facts", "snapshots", "captures", "runs"):
            self.db.execute(f"DELETE FROM {table} WHERE record = ?", [number])
        self.db.execute("UPDATE records SET standing = ? WHERE number = ?", [Standing.SET_ASIDE, number])

    def _place(self, arrival: Arrival, begin: int, number: int) -> None:
        self._insert("places", {"arrival": arrival.number, "begin": begin, "record": number})

    # -- what a record says ----------------------------------------------------------------------------------

    def _content(self, placed: _Placed) -> None:
        record = placed.record
        if record.kind == "snapshot":
            self._snapshot(placed)
        elif record.kind in ("run", "file", "probe"):
            self._run(placed)
        else:
            reason = f"a record of a kind that this program does not know ({record.kind})"
            self._hold_record(placed, reason)
        self._flaws(placed)
        if record.completeness is not Completeness.WHOLE and not self._gives_all(record):
            self._hold_record(placed, f"the record is {record.completeness}: {record.problem}")

    def _flaws(self, placed: _Placed) -> None:
        """Sections of a known kind that do not fit their layout.

        An empty one is no flaw: it says that the machine has no such part.
        """
        flawed = [
            section
            for section in placed.record.sections
            if section.name not in ("", *_CAPTURE_SECTIONS) and section.values is None and section.payload
        ]
        for section in flawed[:MOST_HOLDS]:
            self._hold_record(placed, f"section {section.name} at octet {section.begin}: {section.problem}")

    def _gives_all(self, record: Record) -> bool:
        """A record that was opened and never closed says all that there is to say: its machine hung."""
        return record.kind != "file" and run_state(record) is RunState.UNFINISHED

    def _snapshot(self, placed: _Placed) -> None:
        record = placed.record
        start = record.values("snapshot_start") or {}
        facts = facts_of(record).values()
        self._insert(
            "snapshots",
            {
                "record": placed.number,
                "label": start.get("label", ""),
                "boot": record.id.boot,
                "ordinal": record.id.ordinal,
                "content": content_of((f.name, f.value, f.unit) for f in facts if not f.volatile),
            },
        )
        rows = [(placed.number, f.name, f.value, f.unit, int(f.volatile)) for f in facts]
        self._insert_many("facts", ("record", "name", "value", "unit", "volatile"), rows)

    def _run(self, placed: _Placed) -> None:
        record = placed.record
        taken = captures_of(record)
        state = file_state(record) if record.kind == "file" else run_state(record)
        number = self._number(str(record.id))
        self._insert("runs", {"number": number, "record": placed.number, **run_columns(record, state, taken)})
        for each in taken:
            self._insert("captures", capture_row(placed.number, each))
        self._hold_captures(
            placed, [(each, each.problem, "") for each in taken if each.problem and each.settled]
        )
        if state is RunState.COMPLETE and record.kind == "probe":
            self._measured(placed)
        if state is RunState.COMPLETE:
            self._readings(placed, number, [each for each in taken if each.settled and not each.problem])

    def _measured(self, placed: _Placed) -> None:
        """What a probe found out about the machine, as facts of the boot."""
        ident = placed.record.id
        columns = ("record", "boot", "ordinal", "probe", "name", "value", "unit", "volatile")
        for probe, facts in measured_of(placed.record):
            head = (placed.number, ident.boot, ident.ordinal, probe)
            self._insert_many(
                "measured", columns, [(*head, f.name, f.value, f.unit, int(f.volatile)) for f in facts]
            )

    def _readings(self, placed: _Placed, run: int, taken: list[Taken]) -> None:
        start = placed.record.values("run_start") or {}
        program = str(start.get("program", ""))
        readout = read_run([each.capture for each in taken], self.schemas, program=program)
        read = list(reading_rows(readout, taken, self._headlines))
        # How long a probe took says nothing: it goes on until its times are long enough.
        timed = () if placed.record.kind == "probe" else elapsed_rows(placed.record, headline=not read)
        rows = [*timed, *read]
        if rows:
            values = [(run, placed.number, *row.values()) for row in rows]
            self._insert_many("readings", ("run", "record", *rows[0]), values)
        self._hold_captures(
            placed, [(taken[hold.capture], _told(hold), hold.metric) for hold in readout.holds]
        )
        shows_text = any(each.capture.octets.strip(b" \0\r\n\x07") for each in taken)
        unread = not readout.readings and not readout.holds and shows_text
        if unread and placed.record.kind == "run":
            best = taken[0]
            reason = f"no schema recognises what {program or 'the program'} showed; teach one: readoff schema start"
            self._hold_capture(placed, best, reason)

    def _number(self, ident: str) -> int:
        row = self._conn.execute("SELECT number FROM numbers WHERE id = ?", (ident,)).fetchone()
        if row:
            return int(row[0])
        number = self._sheet.number("numbers")
        self._insert("numbers", {"number": number, "id": ident})
        return number

    # -- rows ------------------------------------------------------------------------------------------------

    def _hold_record(self, placed: _Placed, reason: str) -> None:
        length = len(placed.record.octets)
        self._hold("record", placed.arrival, placed.begin, length, reason, record=placed.number)

    def _hold_captures(self, placed: _Placed, holds: Sequence[tuple[Taken, str, str]]) -> None:
        """Holds (capture, reason, metric) each; of very many the first, and how many more there are."""
        for each, reason, metric in holds[:MOST_HOLDS]:
            self._hold_capture(placed, each, reason, metric)
        if len(holds) > MOST_HOLDS:
            self._hold_record(placed, f"and {len(holds) - MOST_HOLDS} things more are held in this record")

    def _hold_capture(self, placed: _Placed, each: Taken, reason: str, metric: str = "") -> None:
        self._hold(
            "metric" if metric else "capture",
            placed.arrival,
            placed.begin + each.begin,
            len(each.capture.octets),
            reason,
            record=placed.number,
            capture=each.position,
            metric=metric,
        )

    def _hold(
        self,
        kind: str,
        arrival: Arrival,
        begin: int,
        length: int,
        reason: str,
        *,
        record: int | None = None,
        capture: int | None = None,
        metric: str = "",
    ) -> None:
        self._held.add(arrival.number)
        row = {"kind": kind, "arrival": arrival.number, "begin": begin, "length": length, "record": record}
        self._insert("holds", {**row, "capture": capture, "metric": metric, "reason": reason})

    def hold_failure(self, arrival: Arrival, error: Exception) -> None:
        """What our own mistake leaves unread: held like anything else, so that it stands in nobody's way."""
        reason = f"this program failed on it ({type(error).__name__}: {error}); a later one may read it"
        self._hold("failure", arrival, 0, len(arrival.octets), reason)

    def _tell(self, arrival: Arrival, ident: str, what: str, event: str) -> None:
        row = {"at": arrival.at, "id": ident, "arrival": arrival.number, "what": what, "event": event}
        self._insert("history", row)

    def _insert(self, table: str, row: Mapping[str, Any]) -> None:
        self._insert_many(table, tuple(row), [tuple(row.values())])

    def _insert_many(self, table: str, columns: tuple[str, ...], rows: Sequence[tuple[Any, ...]]) -> None:
        self._sheet.extend(table, columns, rows)
        if self._alone:
            self._sheet.write()


def _told(hold: Hold) -> str:
    shown = f": {hold.line.strip()!r}" if hold.line else ""
    return f"{hold.schema}: {hold.reason} (octets {hold.begin} to {hold.end}{shown})"
