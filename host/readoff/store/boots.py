"""How boots began, as their snapshots tell; and the octets of files that were sent in them. Reads only."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from readoff.contract.record import Record, parse_record
from readoff.store.keep import Store
from readoff.store.sqlite import telling

# 0040:0072 after a warm reset by the usual keys (protocols/record.toml, layout boot).
WARM_WORD = 0x1234
_GIVEN = "(SELECT value FROM json_each(?))"
"""In SQL: what _given gives, however many there are."""


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


def shot_rows(store: Store, labels: Iterable[str], boots: Iterable[str]) -> list[ShotRow]:
    """The snapshots that carry one of these labels or were made in one of these boots, in the order of coming."""
    heads = _rows(
        store,
        "SELECT r.number, r.id, n.label, n.boot, n.ordinal, r.dos_time, (SELECT MIN(s.came_at) FROM places p "
        "JOIN sightings s ON s.arrival = p.arrival WHERE p.record = r.number) AS came_at FROM snapshots n "
        f"JOIN records r ON r.number = n.record WHERE n.label IN {_GIVEN} OR n.boot IN {_GIVEN} "
        "ORDER BY r.number",
        [_given(labels), _given(boots)],
    )
    found = list(heads)
    numbers = [head.pop("number") for head in found]
    warm = {str(each.id): each.values("boot") for each in _records(store, "snapshot", "number", numbers)}
    out = []
    for head in found:
        values = warm.get(head["id"])
        out.append(ShotRow(**head, warm=None if values is None else int(values["reset_word"]) == WARM_WORD))
    return out


def boots_with_runs(store: Store, boots: Iterable[str]) -> set[str]:
    """Those of these boots in which a program ran; the agent's own probes are none."""
    sql = f"SELECT DISTINCT boot FROM runs WHERE kind = 'run' AND program NOT GLOB 'probe *' AND boot IN {_GIVEN}"
    return {row["boot"] for row in _rows(store, sql, [_given(boots)])}


def order_of_coming(store: Store, boots: Iterable[str]) -> dict[str, int]:
    """Record id of these boots -> its place among all records, by when it came."""
    sql = f"SELECT id, number FROM records WHERE standing = 'stands' AND boot IN {_GIVEN}"
    return {row["id"]: row["number"] for row in _rows(store, sql, [_given(boots)])}


def sent_files(store: Store, boots: Iterable[str]) -> list[SentFile]:
    """Every file that came whole from these boots, in the order of coming."""
    out = []
    for record in _records(store, "file", "boot", boots):
        head = record.values("file")
        content = b"".join(section.payload for section in record.all("file_data"))
        if head is not None and len(content) == int(head["size"]):
            out.append(SentFile(record.id.boot, str(head["name"]), hashlib.sha256(content).hexdigest()))
    return out


def _records(store: Store, kind: str, column: str, given: Iterable[object]) -> Iterator[Record]:
    """The records of a kind of which a column has one of the given values."""
    sql = (
        "SELECT substr(a.octets, p.begin + 1, r.length) AS octets FROM records r "
        "JOIN places p ON p.record = r.number JOIN arrivals a ON a.number = p.arrival "
        f"WHERE r.kind = ? AND r.{column} IN {_GIVEN} AND r.standing = 'stands' GROUP BY r.number ORDER BY r.number"
    )
    for row in _rows(store, sql, [kind, _given(given)]):
        yield parse_record(bytes(row["octets"]))


def _given(values: Iterable[object]) -> str:
    return json.dumps(list(values))


def _rows(store: Store, sql: str, values: Sequence[str] = ()) -> Iterator[dict[str, Any]]:
    with telling(str(store.path)):
        yield from store.db.query(sql, values)
