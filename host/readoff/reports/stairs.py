"""The memory staircases of a publication's configurations, as the chart takes them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from readoff.reports.charts import Level, Stair
from readoff.snapshots.measured import STAIRCASES
from readoff.store import Store
from readoff.store.find import query
from readoff.store.staircases import Curve, of_label

Stairs = tuple[str, tuple[Stair, ...]]
"""Where the blocks lay, and the staircase of each configuration that has one."""


def stairs_of(store: Store, labels: Sequence[str]) -> tuple[Stairs, ...]:
    """The staircases of some configurations, by where the blocks lay. Raises StoreError."""
    regions = dict.fromkeys(STAIRCASES.values())
    found = {region: tuple(_of_labels(store, labels, region)) for region in regions}
    return tuple((f"{region} memory", stairs) for region, stairs in found.items() if stairs)


def probed_boots(store: Store, labels: Sequence[str]) -> tuple[str, ...]:
    """The boots in which some configurations were probed, whatever else was run in them. Raises StoreError."""
    rows = query(
        store,
        "SELECT DISTINCT u.boot FROM runs u JOIN captures c ON c.record = u.record WHERE c.kind = 'probe' "
        f"AND u.label IN ({', '.join('?' * len(labels))}) ORDER BY u.boot",
        list(labels),
    )
    return tuple(row["boot"] for row in rows)


def _of_labels(store: Store, labels: Sequence[str], region: str) -> Iterable[Stair]:
    for label in labels:
        curve = of_label(store, label, region)
        if curve is not None:
            yield Stair(label, curve.octets, curve.middle, curve.boots, tuple(_levels(curve)))


def _levels(curve: Curve) -> Iterable[Level]:
    """Each level with where it ends; the last one has no end."""
    steps = [*curve.found.steps, None]
    for level, step in zip(curve.found.levels, steps, strict=False):
        yield Level(level.ns, step.low if step else None, step.high if step else None)
