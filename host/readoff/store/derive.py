"""One arrival -> records, runs, captures, snapshots, readings, holds.

The same code derives the first time and every time after (``Store.reread``). Everything goes into the
transaction that the caller has open.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from readoff.contract.record import Completeness, Record, Unreadable, parse_record, parse_records
from readoff.readings import Hold, Schema, read_run
from readoff.snapshots import facts_of
from readoff.store.captures import RunState, Taken, captures_of, file_state, run_state
from readoff.store.rows import capture_row, elapsed_rows, reading_rows, record_row, run_columns
from readoff.store.standing import Standing, weigh

if TYPE_CHECKING:
    from sqlite_utils import Database

_PADDING = b"\x1a\0"
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


def derive(db: Database, arrival: Arrival, schemas: Sequence[Schema]) -> None:
    """Takes one arrival apart and writes all that comes of it. Fails for no octets whatever."""
    Deriving(db, schemas).arrival(arrival)


class Deriving:
    """Writes what comes of arrivals into the open transaction of one store."""

    def __init__(self, db: Database, schemas: Sequence[Schema]) -> None:
        self.db, self.schemas = db, schemas

    def arrival(self, arrival: Arrival) -> None:
        """All parts of an arrival, in order."""
        self._outgrown(arrival)
        begin = 0
        for part in parse_records(arrival.octets):
            if isinstance(part, Record):
                self._record(_by_itself(part, arrival), arrival, begin)
            else:
                self._unreadable(part, arrival)
            begin += len(part.octets)

    def _unreadable(self, part: Unreadable, arrival: Arrival) -> None:
        if part.begin and not part.octets.strip(_PADDING):
            return  # what a transfer adds to fill up a block: it says nothing
        self._hold("octets", arrival, part.begin, len(part.octets), part.reason)

    def _outgrown(self, arrival: Arrival) -> None:
        """A file that was still being written when it was first taken: what was held of its beginning is let go."""
        earlier = self.db.execute(
            "SELECT MAX(arrival) FROM sightings WHERE came_from = ? AND arrival < ?",
            [arrival.came_from, arrival.number],
        ).fetchone()[0]
        if earlier is None:
            return
        held = self.db.execute(
            "SELECT 1 FROM holds WHERE arrival = ? AND kind = 'octets' LIMIT 1", [earlier]
        ).fetchone()
        if held is None:
            return
        octets = self.db.execute("SELECT octets FROM arrivals WHERE number = ?", [earlier]).fetchone()[0]
        if octets and arrival.octets.startswith(octets):
            self.db.execute("DELETE FROM holds WHERE arrival = ? AND kind = 'octets'", [earlier])
            text = f"the beginning of this file had come as arrival {earlier} and was held; now it is longer"
            self._tell(arrival, "", "outgrown", text)

    # -- records ---------------------------------------------------------------------------------------------

    def _record(self, record: Record, arrival: Arrival, begin: int) -> None:
        ident, digest = str(record.id), hashlib.sha256(record.octets).hexdigest()
        rows = self.db.execute(
            "SELECT number, sha256, standing FROM records WHERE id = ?", [ident]
        ).fetchall()
        same = next((number for number, sha256, _ in rows if sha256 == digest), None)
        if same is not None:
            self._place(arrival, begin, same)
            return
        old = next((number for number, _, standing in rows if standing == Standing.STANDS), None)
        weighed = weigh(record, None if old is None else self._octets_of(old))
        if weighed.replaces and old is not None:
            self._forget(old)
        number = self._insert("records", record_row(record, digest, weighed.standing))
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
        for table in ("holds", "readings", "facts", "snapshots", "captures", "runs"):
            self.db.execute(f"DELETE FROM {table} WHERE record = ?", [number])
        self.db.execute("UPDATE records SET standing = ? WHERE number = ?", [Standing.SET_ASIDE, number])

    def _place(self, arrival: Arrival, begin: int, number: int) -> None:
        self.db.execute(
            "INSERT INTO places (arrival, begin, record) VALUES (?, ?, ?)", [arrival.number, begin, number]
        )

    # -- what a record says ----------------------------------------------------------------------------------

    def _content(self, placed: _Placed) -> None:
        record = placed.record
        if record.kind == "snapshot":
            self._snapshot(placed)
        elif record.kind in ("run", "file"):
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
        return record.kind == "run" and run_state(record) is RunState.UNFINISHED

    def _snapshot(self, placed: _Placed) -> None:
        record = placed.record
        start = record.values("snapshot_start") or {}
        self._insert(
            "snapshots",
            {
                "record": placed.number,
                "label": start.get("label", ""),
                "boot": record.id.boot,
                "ordinal": record.id.ordinal,
            },
        )
        self._insert_many(
            "facts",
            [
                {
                    "record": placed.number,
                    "name": fact.name,
                    "value": fact.value,
                    "unit": fact.unit,
                    "volatile": int(fact.volatile),
                }
                for fact in facts_of(record).values()
            ],
        )

    def _run(self, placed: _Placed) -> None:
        record = placed.record
        taken = captures_of(record)
        state = run_state(record) if record.kind == "run" else file_state(record)
        number = self._number(str(record.id))
        self._insert("runs", {"number": number, "record": placed.number, **run_columns(record, state, taken)})
        self._insert_many("captures", [capture_row(placed.number, each) for each in taken])
        self._hold_captures(
            placed, [(each, each.problem, "") for each in taken if each.problem and each.settled]
        )
        if state is RunState.COMPLETE:
            self._readings(placed, number, [each for each in taken if each.settled and not each.problem])

    def _readings(self, placed: _Placed, run: int, taken: list[Taken]) -> None:
        start = placed.record.values("run_start") or {}
        program = str(start.get("program", ""))
        readout = read_run([each.capture for each in taken], self.schemas, program=program)
        headlines = {(schema.name, metric) for schema in self.schemas for metric in schema.headline}
        read = list(reading_rows(readout, taken, headlines))
        rows = [*elapsed_rows(placed.record, headline=not read), *read]
        self._insert_many("readings", [{"run": run, "record": placed.number, **row} for row in rows])
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
        row = self.db.execute("SELECT number FROM numbers WHERE id = ?", [ident]).fetchone()
        return int(row[0]) if row else self._insert("numbers", {"id": ident})

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

    def _hold(self, kind: str, arrival: Arrival, begin: int, length: int, reason: str, **more: Any) -> None:
        row = {"kind": kind, "arrival": arrival.number, "begin": begin, "length": length, "reason": reason}
        self._insert("holds", {"metric": "", **row, **more})

    def hold_failure(self, arrival: Arrival, error: Exception) -> None:
        """What our own mistake leaves unread: held like anything else, so that it stands in nobody's way."""
        reason = f"this program failed on it ({type(error).__name__}: {error}); a later one may read it"
        self._hold("failure", arrival, 0, len(arrival.octets), reason)

    def _tell(self, arrival: Arrival, ident: str, what: str, event: str) -> None:
        self.db.execute(
            "INSERT OR IGNORE INTO history (at, id, arrival, what, event) VALUES (?, ?, ?, ?, ?)",
            [arrival.at, ident, arrival.number, what, event],
        )

    def _insert(self, table: str, row: Mapping[str, Any]) -> int:
        cursor = self.db.execute(_insert_sql(table, row), list(row.values()))
        return int(cursor.lastrowid or 0)

    def _insert_many(self, table: str, rows: Sequence[Mapping[str, Any]]) -> None:
        if rows:
            self.db.conn.executemany(_insert_sql(table, rows[0]), [list(row.values()) for row in rows])


def _by_itself(part: Record, arrival: Arrival) -> Record:
    """A record as its own octets say, whatever follows them: the same octets mean the same everywhere.

    (One that is cut short and followed by another seems damaged, since its section runs into the next record.)
    """
    alone = part.completeness is Completeness.WHOLE or len(part.octets) == len(arrival.octets)
    return part if alone else parse_record(part.octets)


def _told(hold: Hold) -> str:
    shown = f": {hold.line.strip()!r}" if hold.line else ""
    return f"{hold.schema}: {hold.reason} (octets {hold.begin} to {hold.end}{shown})"


def _insert_sql(table: str, row: Mapping[str, Any]) -> str:
    """Table and column names are ours alone, never from outside."""
    return f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})"
