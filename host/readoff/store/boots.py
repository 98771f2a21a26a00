"""How boots began, as their snapshots tell; and the octets of files that were sent in them. Reads only."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from readoff.contract.record import Record, parse_record
from readoff.store.keep import Store
from readoff.store.sqlite import telling

# 0040:0072 after a warm reset by the usual keys (protocols/record.toml, layout boot).
WARM_WORD = 0x1234


@dataclass(frozen=True)
class SentFile:
    """A file that came from a machine whole. path: as it was named there. digest: SHA-256 of its octets."""

    boot: str
    path: str
    digest: str


@dataclass(frozen=True)
class ShotRow:
    """A snapshot without its facts. warm: whether the boot was a warm reset, None where it does not say."""

    id: str
    label: str
    boot: str
    ordinal: int
    dos_time: str
    came_at: str
    warm: bool | None


def shot_rows(store: Store) -> list[ShotRow]:
    """Every snapshot, in the order of coming."""
    heads = _rows(
        store,
        "SELECT r.id, n.label, n.boot, n.ordinal, r.dos_time, (SELECT MIN(s.came_at) FROM places p JOIN sightings s "
        "ON s.arrival = p.arrival WHERE p.record = r.number) AS came_at FROM snapshots n "
        "JOIN records r ON r.number = n.record ORDER BY r.number",
    )
    warm = {str(record.id): record.values("boot") for record in _records(store, "snapshot")}
    out = []
    for head in heads:
        values = warm.get(head["id"])
        out.append(ShotRow(**head, warm=None if values is None else int(values["reset_word"]) == WARM_WORD))
    return out


def order_of_coming(store: Store) -> dict[str, int]:
    """Record id -> its place among all records, by when it came."""
    rows = _rows(store, "SELECT id FROM records WHERE standing = 'stands' ORDER BY number")
    return {row["id"]: place for place, row in enumerate(rows)}


def sent_files(store: Store) -> list[SentFile]:
    """Every file that came whole, in the order of coming."""
    out = []
    for record in _records(store, "file"):
        head = record.values("file")
        content = b"".join(section.payload for section in record.all("file_data"))
        if head is not None and len(content) == int(head["size"]):
            out.append(SentFile(record.id.boot, str(head["name"]), hashlib.sha256(content).hexdigest()))
    return out


def _records(store: Store, kind: str) -> Iterator[Record]:
    sql = (
        "SELECT substr(a.octets, p.begin + 1, r.length) AS octets FROM records r "
        "JOIN places p ON p.record = r.number JOIN arrivals a ON a.number = p.arrival "
        "WHERE r.kind = ? AND r.standing = 'stands' GROUP BY r.number ORDER BY r.number"
    )
    for row in _rows(store, sql, [kind]):
        yield parse_record(bytes(row["octets"]))


def _rows(store: Store, sql: str, values: Sequence[str] = ()) -> Iterator[dict[str, Any]]:
    with telling(str(store.path)):
        yield from store.db.query(sql, values)
