"""Looking things up: runs, one run with all that belongs to it, what is held, samples for the judge. Reads only."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from readoff.contract.record import Record, parse_record
from readoff.errors import UsageError
from readoff.snapshots import Fact, Snapshot
from readoff.store.captures import Taken, captures_of
from readoff.store.keep import Store
from readoff.store.sqlite import telling


@dataclass(frozen=True)
class RunRow:
    """One run (or a file that came as a record of its own: kind "file", without label and program).

    came_at: when its octets first reached the host (ISO, UTC). dos_time: when the old machine's own clock says
    that the record was opened, or "". readings, holds: how many there are.
    """

    number: int
    id: str
    kind: str
    label: str
    program: str
    path: str
    arguments: str
    boot: str
    repeat: int | None
    repeats: int | None
    snapshot_ordinal: int | None
    state: str
    outcome: str
    exit_kind: str
    exit_code: int | None
    flags: str
    completeness: str
    problem: str
    dos_time: str
    came_at: str
    readings: int
    holds: int


@dataclass(frozen=True)
class ReadingRow:
    """One reading as stored.

    value, quantum: decimal text. capture: position in the record, None for the agent's own time.
    """

    run: int
    capture: int | None
    metric: str
    occurrence: int
    value: str
    approximate: float
    unit: str
    better: str
    decimals: int
    quantum: str
    roundings: int
    derived: bool
    headline: bool
    line: str
    begin: int
    end: int
    schema: str
    schema_digest: str

    @property
    def shown(self) -> str:
        """The value for people: as it was shown, or a derived one with as many decimals as it bears."""
        return f"{Decimal(self.value):.{self.decimals}f}" if self.derived else self.value


@dataclass(frozen=True)
class HeldRow:
    """Something that could not be read. begin, length: octets in the arrival; id, run: where a record is known."""

    number: int
    kind: str
    reason: str
    arrival: int
    came_from: str
    came_at: str
    begin: int
    length: int
    id: str
    run: int | None
    metric: str


@dataclass(frozen=True)
class Sighting:
    """Where and when a record's octets came."""

    came_from: str
    came_at: str


@dataclass(frozen=True)
class RunInFull:
    """One run with everything that belongs to it. history: (when, what happened)."""

    run: RunRow
    record: Record
    captures: tuple[Taken, ...]
    readings: tuple[ReadingRow, ...]
    held: tuple[HeldRow, ...]
    snapshot: Snapshot | None
    sightings: tuple[Sighting, ...]
    history: tuple[tuple[str, str], ...]


RUNS = """
SELECT u.number, r.id, u.kind, u.label, u.program, u.path, u.arguments, u.boot, u.repeat, u.repeats,
  u.snapshot_ordinal, u.state, u.outcome, u.exit_kind, u.exit_code, u.flags, r.completeness, r.problem, r.dos_time,
  (SELECT MIN(s.came_at) FROM places p JOIN sightings s ON s.arrival = p.arrival WHERE p.record = r.number) AS came_at,
  (SELECT count(*) FROM readings d WHERE d.run = u.number) AS readings,
  (SELECT count(*) FROM holds h WHERE h.record = r.number) AS holds
FROM runs u JOIN records r ON r.number = u.record
"""

_READINGS = """
SELECT run, capture, metric, occurrence, value, approximate, unit, better, decimals, quantum, roundings, derived,
  headline, line, begin, end, schema, schema_digest
FROM readings
"""

_HELD = """
SELECT h.number, h.kind, h.reason, h.arrival,
  (SELECT s.came_from FROM sightings s WHERE s.arrival = h.arrival ORDER BY s.number LIMIT 1) AS came_from,
  (SELECT s.came_at FROM sightings s WHERE s.arrival = h.arrival ORDER BY s.number LIMIT 1) AS came_at,
  h.begin, h.length, COALESCE(r.id, '') AS id, u.number AS run, h.metric
FROM holds h LEFT JOIN records r ON r.number = h.record LEFT JOIN runs u ON u.record = h.record
"""


def runs(store: Store, *, label: str = "", program: str = "", state: str = "") -> list[RunRow]:
    """Runs in the order of their numbers, filtered where a filter is given. label and program: exactly, but
    for the program's case, since DOS knows none.
    """
    return list(each_run(store, label=label, program=program, state=state))


def each_run(store: Store, *, label: str = "", program: str = "", state: str = "") -> Iterator[RunRow]:
    """Likewise, one at a time."""
    where, values = where_of(
        {"u.label = ?": label, "u.program = ? COLLATE NOCASE": program, "u.state = ?": state}
    )
    return (RunRow(*row) for row in rows_of(store, RUNS + where + " ORDER BY u.number", values))


def run_in_full(store: Store, name: str) -> RunInFull:
    """One run by its number, its record id, or the beginning of its record id that no other has.

    Raises UsageError when there is none, or more than one.
    """
    row = _one_run(store, name)
    number = _record_number(store, row.id)
    record = parse_record(_octets_of(store, number))
    readings = query(store, _READINGS + " WHERE run = ? ORDER BY number", [row.number])
    held = query(store, _HELD + " WHERE h.record = ? ORDER BY h.number", [number])
    sightings = query(
        store,
        "SELECT s.came_from, s.came_at FROM sightings s WHERE s.arrival IN (SELECT p.arrival FROM places p "
        "JOIN records r ON r.number = p.record WHERE r.id = ?) ORDER BY s.number",
        [row.id],
    )
    history = query(store, "SELECT at, event FROM history WHERE id = ? ORDER BY number", [row.id])
    snapshot = None
    if row.snapshot_ordinal is not None:
        found = snapshots(store, boot=row.boot, ordinal=row.snapshot_ordinal)
        snapshot = found[0] if found else None
    return RunInFull(
        row,
        record,
        tuple(captures_of(record)),
        tuple(_reading(each) for each in readings),
        tuple(HeldRow(**each) for each in held),
        snapshot,
        tuple(Sighting(**each) for each in sightings),
        tuple((each["at"], each["event"]) for each in history),
    )


def _one_run(store: Store, name: str) -> RunRow:
    if name.isdecimal() and len(name) < 8:
        rows = query(store, RUNS + " WHERE u.number = ?", [int(name)])
    else:
        start = name.upper()
        rows = query(store, RUNS + " WHERE r.id >= ? AND r.id < ? LIMIT 2", [start, start + "~"])
    if not rows:
        raise UsageError(
            f"there is no run {name!r}", where=str(store.path), next_step="List them with: readoff runs"
        )
    if len(rows) > 1:
        raise UsageError(
            f"more than one run has an id that begins with {name!r}", next_step="Give more of it."
        )
    return RunRow(**rows[0])


def run_of(store: Store, ident: str) -> RunRow | None:
    """The run (or lone file) of a record id, or None."""
    rows = query(store, RUNS + " WHERE r.id = ?", [ident])
    return RunRow(**rows[0]) if rows else None


def _record_number(store: Store, ident: str) -> int:
    return int(
        query(store, "SELECT number FROM records WHERE id = ? AND standing = 'stands'", [ident])[0]["number"]
    )


def _octets_of(store: Store, number: int) -> bytes:
    return bytes(
        query(
            store,
            "SELECT substr(a.octets, p.begin + 1, r.length) AS octets FROM records r JOIN places p "
            "ON p.record = r.number JOIN arrivals a ON a.number = p.arrival WHERE r.number = ? LIMIT 1",
            [number],
        )[0]["octets"]
    )


def record(store: Store, number: int) -> Record:
    """The record in a row of records."""
    return parse_record(_octets_of(store, number))


def readings(
    store: Store,
    *,
    label: str = "",
    program: str = "",
    metric: str = "",
    judged: bool = False,
    headline: bool = False,
) -> list[ReadingRow]:
    """Readings of all complete runs, in the order of the runs.

    judged: only those of which one way is better. headline: only those that a comparison asks for.
    """
    where, values = where_of({"u.label = ?": label, "u.program = ? COLLATE NOCASE": program})
    rules = [f"run IN (SELECT u.number FROM runs u{where})"] if where else []
    rules += ["better <> 'neither'"] if judged else []
    rules += ["headline = 1"] if headline else []
    rules += ["metric = ?"] if metric else []
    rule = f" WHERE {' AND '.join(rules)}" if rules else ""
    rows = rows_of(store, f"{_READINGS}{rule} ORDER BY run, number", [*values, *([metric] if metric else [])])
    made: list[Any] = [(*row[:11], bool(row[11]), bool(row[12]), *row[13:]) for row in rows]
    return [ReadingRow(*row) for row in made]


def held(store: Store) -> list[HeldRow]:
    """Everything that is held, oldest first."""
    return [HeldRow(**row) for row in query(store, _HELD + " ORDER BY h.number", [])]


def held_row(store: Store, number: int) -> HeldRow | None:
    """What is held under a number, or None."""
    rows = query(store, _HELD + " WHERE h.number = ?", [number]) if 0 < number < 1 << 62 else []
    return HeldRow(**rows[0]) if rows else None


def held_page(store: Store, begin: int, limit: int) -> list[HeldRow]:
    """Some of what is held, the newest first. begin: how many to pass over."""
    rows = query(store, _HELD + " ORDER BY h.number DESC LIMIT ? OFFSET ?", [limit, begin])
    return [HeldRow(**row) for row in rows]


# One step through the index for each label, however many runs carry it; "" too, where a run carries none.
_LABELS = """
WITH RECURSIVE known (label) AS (
  SELECT min(label) FROM runs
  UNION ALL
  SELECT (SELECT min(label) FROM runs WHERE label > known.label) FROM known WHERE label IS NOT NULL
)
SELECT label FROM known WHERE label IS NOT NULL
  AND EXISTS (SELECT 1 FROM runs u WHERE u.label = known.label AND u.kind = 'run')
"""


def labels(store: Store) -> list[str]:
    """The labels that runs carry, in alphabetical order."""
    rows = query(store, _LABELS, [])
    return [row["label"] for row in rows]


def snapshots(
    store: Store, *, label: str | None = None, boot: str = "", ordinal: int | None = None
) -> list[Snapshot]:
    """Snapshots with their facts, in the order in which they were made within each boot.

    label: those that carry it, and those that its runs refer to.
    """
    where, values = "WHERE 1", list[Any]()
    if label is not None:
        # By the label's own runs, so that it costs what they are, and not what the store is.
        where += (
            " AND n.record IN (SELECT record FROM snapshots WHERE label = ? UNION SELECT s.record FROM runs u"
            " JOIN snapshots s ON s.boot = u.boot AND s.ordinal = u.snapshot_ordinal WHERE u.label = ?)"
        )
        values += [label, label]
    if boot:
        where += " AND n.boot = ?"
        values.append(boot)
    if ordinal is not None:
        where += " AND n.ordinal = ?"
        values.append(ordinal)
    heads = query(
        store,
        "SELECT n.record, r.id, n.label, n.boot FROM snapshots n JOIN records r ON r.number = n.record "
        f"{where} ORDER BY n.boot, n.ordinal",
        values,
    )
    facts: dict[int, dict[str, Fact]] = {}
    for row in query(
        store,
        "SELECT f.record, f.name, f.value, f.unit, f.volatile FROM facts f "
        f"JOIN snapshots n ON n.record = f.record {where}",
        values,
    ):
        fact = Fact(row["name"], row["value"], row["unit"], bool(row["volatile"]))
        facts.setdefault(row["record"], {})[fact.name] = fact
    measured = measured_in(store, {head["boot"] for head in heads})
    return [
        Snapshot(
            head["id"],
            head["label"],
            head["boot"],
            facts.get(head["record"], {}) | measured.get(head["boot"], {}),
        )
        for head in heads
    ]


def measured_in(store: Store, boots: set[str]) -> dict[str, dict[str, Fact]]:
    """What probes measured in each boot; of several of one kind the first counts."""
    found: dict[str, dict[str, Fact]] = {}
    first: dict[tuple[str, str], int] = {}
    sql = (
        "SELECT boot, ordinal, probe, name, value, unit, volatile FROM measured ORDER BY boot, ordinal, name"
    )
    for row in query(store, sql, []):
        ordinal = first.setdefault((row["boot"], row["probe"]), row["ordinal"])
        if row["boot"] in boots and row["ordinal"] == ordinal:
            fact = Fact(row["name"], row["value"], row["unit"], bool(row["volatile"]), measured=True)
            found.setdefault(row["boot"], {})[fact.name] = fact
    return found


def snapshot(store: Store, name: str) -> Snapshot | None:
    """The snapshot whose record id is a name, or is the only one that begins with it; else None."""
    start = name.upper()
    rows = query(
        store,
        "SELECT n.boot, n.ordinal FROM records r LEFT JOIN snapshots n ON n.record = r.number "
        "WHERE r.id >= ? AND r.id < ? AND r.standing = 'stands' LIMIT 2",
        [start, start + "~"],
    )
    if len(rows) != 1 or rows[0]["boot"] is None:
        return None
    return snapshots(store, boot=rows[0]["boot"], ordinal=rows[0]["ordinal"])[0]


def counts(store: Store) -> dict[str, int]:
    """How many arrivals, records, runs, snapshots, readings and holds there are."""
    tables = ("arrivals", "records", "runs", "snapshots", "readings", "holds")
    return {name: int(query(store, f"SELECT count(*) AS n FROM {name}", [])[0]["n"]) for name in tables}


def where_of(filters: dict[str, str]) -> tuple[str, list[Any]]:
    """SQL for the filters that have a value, and the values."""
    used = {rule: value for rule, value in filters.items() if value}
    return (" WHERE " + " AND ".join(used) if used else "", list(used.values()))


def query(store: Store, sql: str, values: Sequence[Any] | dict[str, Any]) -> list[dict[str, Any]]:
    """Rows of a question to the store, by column name. Raises StoreError where it cannot be asked."""
    with telling(str(store.path)):
        return list(store.db.query(sql, values))


def rows_of(store: Store, sql: str, values: Sequence[Any]) -> Iterator[tuple[Any, ...]]:
    """Likewise, one at a time and without names, for the many rows of a large store."""
    with telling(str(store.path)):
        yield from store.db.conn.execute(sql, values)


def _reading(row: dict[str, Any]) -> ReadingRow:
    return ReadingRow(**{**row, "derived": bool(row["derived"]), "headline": bool(row["headline"])})
