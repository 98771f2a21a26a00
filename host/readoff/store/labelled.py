"""What comparisons and lists ask of one label, at the cost of what they need and not of what there is. Reads only."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from readoff.snapshots import Fact, Snapshot
from readoff.store.find import measured_in, rows_of, where_of
from readoff.store.keep import Store

_AT_ONCE = 500

# Those that carry the label, and those that its runs refer to.
_OF_LABEL = """
SELECT n.record, r.id, n.label, n.boot, n.content FROM snapshots n JOIN records r ON r.number = n.record
WHERE n.record IN (
  SELECT record FROM snapshots WHERE label = ?
  UNION SELECT m.record FROM runs u JOIN snapshots m ON m.boot = u.boot AND m.ordinal = u.snapshot_ordinal
  WHERE u.label = ?
) ORDER BY n.boot, n.ordinal
"""


def different_snapshots(store: Store, label: str) -> list[Snapshot]:
    """The snapshots of a label as find.snapshots gives them, but of several with the same stable facts the first alone.

    A thousand runs on one machine make few. The ids of the others are with it, in ``also``.
    """
    rows = list(rows_of(store, _OF_LABEL, [label, label]))
    measured = measured_in(store, {boot for *_, boot, _ in rows})
    groups: dict[tuple[object, ...], list[tuple[Any, ...]]] = {}
    for row in rows:
        groups.setdefault((row[4], *measured.get(row[3], {}).values()), []).append(row)
    facts = _facts_of(store, [group[0][0] for group in groups.values()])
    return [
        Snapshot(
            id, label, boot, facts.get(record, {}) | measured.get(boot, {}), tuple(each[1] for each in others)
        )
        for (record, id, label, boot, _), *others in groups.values()
    ]


def _facts_of(store: Store, records: Sequence[int]) -> dict[int, dict[str, Fact]]:
    facts: dict[int, dict[str, Fact]] = {}
    for at in range(0, len(records), _AT_ONCE):
        some = records[at : at + _AT_ONCE]
        sql = f"SELECT record, name, value, unit, volatile FROM facts WHERE record IN ({', '.join('?' * len(some))})"
        for record, name, value, unit, volatile in rows_of(store, sql, some):
            facts.setdefault(record, {})[name] = Fact(name, value, unit, bool(volatile))
    return facts


def metrics_judged(store: Store, *, label: str, program: str = "") -> list[tuple[str, bool]]:
    """(metric, whether a comparison asks for it) of a label's readings of which one way is better, each once."""
    where, values = where_of({"u.label = ?": label, "u.program = ? COLLATE NOCASE": program})
    sql = "SELECT DISTINCT d.metric, d.headline FROM runs u JOIN readings d ON d.run = u.number"
    rows = rows_of(store, f"{sql}{where} AND d.better <> 'neither' ORDER BY 1, 2", values)
    return [(metric, bool(headline)) for metric, headline in rows]


def held_readings(store: Store, *, label: str = "", metric: str = "") -> list[tuple[int, str, str]]:
    """(run, metric or "" for a whole capture, reason) of what is held in captures, oldest first."""
    rules, values = ["h.kind IN ('metric', 'capture')"], list[Any]()
    for rule, value in (("u.label = ?", label), ("h.metric IN ('', ?)", metric)):
        if value:
            rules.append(rule)
            values.append(value)
    sql = "SELECT u.number AS run, h.metric, h.reason FROM holds h JOIN runs u ON u.record = h.record WHERE "
    return list(rows_of(store, f"{sql}{' AND '.join(rules)} ORDER BY h.number", values))


@dataclass(frozen=True)
class SnapshotRow:
    """One snapshot in a list. runs: how many runs refer to it."""

    id: str
    label: str
    boot: str
    facts: int
    runs: int
    dos_time: str
    completeness: str


def runs_by_label(store: Store, *, begun: str = "", agents: Sequence[str] = ()) -> Iterator[tuple[Any, ...]]:
    """(label, program, how many runs), the first to come first. begun: only what came since; agents: only theirs.

    Without these two it is answered from an index alone.
    """
    # Came since: no sighting of it is from before.
    since = (
        "NOT EXISTS (SELECT 1 FROM places p JOIN sightings s ON s.arrival = p.arrival "
        "WHERE p.record = u.record AND s.came_at < ?)"
    )
    rules = [since] * bool(begun)
    rules += [f"substr(u.boot, 1, 8) IN ({', '.join('?' * len(agents))})"] * bool(agents)
    where = f" WHERE {' AND '.join(rules)}" if rules else ""
    return rows_of(
        store,
        f"SELECT u.label, u.program, count(*) FROM runs u{where} GROUP BY u.label, u.program ORDER BY min(u.number)",
        [*([begun] * bool(begun)), *agents],
    )


def snapshot_rows(store: Store, *, label: str = "") -> Iterator[SnapshotRow]:
    """All snapshots in the order of their coming, without their facts, one at a time."""
    where, values = where_of({"n.label = ?": label})
    rows = rows_of(
        store,
        "SELECT r.id, n.label, n.boot, (SELECT count(*) FROM facts f WHERE f.record = n.record) AS facts, "
        "(SELECT count(*) FROM runs u WHERE u.boot = n.boot AND u.snapshot_ordinal = n.ordinal) AS runs, "
        f"r.dos_time, r.completeness FROM snapshots n JOIN records r ON r.number = n.record{where} "
        "ORDER BY r.number",
        values,
    )
    return (SnapshotRow(*row) for row in rows)
