"""Numbers that a person typed because no schema could read them: with who and when, kept for good, apart from readings.

They hang on the record's id, so they survive a re-reading. Nothing is changed or deleted: a number that is typed again
for the same hold takes the earlier one's place, and both are kept.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from readoff.store.find import ReadingRow, RunRow
from readoff.store.keep import Store
from readoff.store.sqlite import telling, writing

BY_HAND = "typed by a person"  # in place of a schema's name


@dataclass(frozen=True)
class TypedRow:
    """One number as it was typed.

    at: ISO, UTC. person: who. id: of the record; run: its number, None where the record is not in this store. hold: the
    reason as it was told. last: whether nothing was typed for the same hold after it. held: whether that metric (or the
    whole capture) is still held in that run; where it is not, the number has been read since.
    """

    number: int
    at: str
    person: str
    id: str
    run: int | None
    metric: str
    value: str
    unit: str
    better: str
    headline: bool
    hold: str
    last: bool
    held: bool

    @property
    def stands(self) -> bool:
        """Whether it is the number for what is still held."""
        return self.last and self.held and self.run is not None

    @property
    def told(self) -> str:
        """Who typed it and when, in words."""
        return f"{BY_HAND}: {self.person}, {self.at}"

    def as_reading(self) -> ReadingRow:
        """In the form of a reading, for whoever asked for it; its schema says that it was typed."""
        value = Decimal(self.value)
        exponent = value.as_tuple().exponent
        assert isinstance(exponent, int)  # only finite numbers are typed
        return ReadingRow(
            run=self.run or 0,
            capture=None,
            metric=self.metric,
            occurrence=0,
            value=self.value,
            approximate=float(value),
            unit=self.unit,
            better=self.better,
            decimals=max(0, -exponent),
            quantum=format(Decimal((0, (1,), exponent)), "f"),
            roundings=1,
            derived=False,
            headline=self.headline,
            line=self.told,
            begin=0,
            end=0,
            schema=BY_HAND,
            schema_digest="",
        )


TYPED = """
SELECT t.number, t.at, t.person, t.id, u.number AS run, t.metric, t.value, t.unit, t.better, t.headline, t.hold,
  NOT EXISTS (SELECT 1 FROM typed s WHERE s.id = t.id AND s.metric = t.metric AND s.hold = t.hold
    AND s.number > t.number) AS last,
  EXISTS (SELECT 1 FROM holds h WHERE h.record = u.record AND h.kind IN ('metric', 'capture')
    AND h.metric IN ('', t.metric)) AS held
FROM typed t LEFT JOIN records r ON r.id = t.id AND r.standing = 'stands' LEFT JOIN runs u ON u.record = r.number
"""
"""SQL for all of them, by the columns of a TypedRow."""


@dataclass(frozen=True)
class Entry:
    """A number to be kept: of which record and metric, for which hold (its reason), and who typed it.

    value: plain decimal text. headline: whether a comparison asks for the metric unless told otherwise.
    """

    id: str
    metric: str
    value: str
    unit: str
    better: str
    headline: bool
    hold: str
    person: str


def add_typed(store: Store, entry: Entry, at: datetime) -> int:
    """Keeps a number for what is held, and gives its own number. Raises StoreError."""
    row = {
        "at": at.astimezone(UTC).isoformat(timespec="seconds"),
        **asdict(entry),
        "headline": int(entry.headline),
    }
    with writing(store.db, str(store.path)):
        cursor = store.db.execute(
            f"INSERT INTO typed ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", list(row.values())
        )
        return int(cursor.lastrowid or 0)


def typed(store: Store, *, id: str = "") -> list[TypedRow]:
    """All numbers that were typed, or those for one record, in the order in which they were."""
    rule, values = (" WHERE t.id = ?", [id]) if id else ("", [])
    with telling(str(store.path)):
        rows = store.db.query(f"{TYPED}{rule} ORDER BY t.number", values)
        return [_row(row) for row in rows]


def held_capture(store: Store, number: int) -> int | None:
    """The position in its record of the capture that is held under this number; None where it is not one capture."""
    with telling(str(store.path)):
        row = store.db.execute("SELECT capture FROM holds WHERE number = ?", [number]).fetchone()
    return None if row is None or row[0] is None else int(row[0])


def neighbours(store: Store, run: RunRow, metric: str, unit: str) -> list[Decimal]:
    """The numbers of a run's series in its other runs: same program, arguments, label, metric and unit; typed ones too.

    Only complete runs have any.
    """
    with telling(str(store.path)):
        rows = store.db.query(
            f"WITH typed_now AS ({TYPED}), every AS (SELECT run, metric, unit, value FROM readings UNION ALL "
            "SELECT run, metric, unit, value FROM typed_now WHERE last AND held) "
            "SELECT e.value FROM every e JOIN runs u ON u.number = e.run WHERE e.metric = ? AND e.unit = ? "
            "AND u.number <> ? AND u.label = ? AND u.program = ? COLLATE NOCASE AND trim(u.arguments) = ? "
            "ORDER BY u.number",
            [metric, unit, run.number, run.label, run.program, run.arguments.strip()],
        )
        return [Decimal(row["value"]) for row in rows]


def _row(row: dict[str, Any]) -> TypedRow:
    flags = {name: bool(row[name]) for name in ("headline", "last", "held")}
    return TypedRow(**{**row, **flags})
