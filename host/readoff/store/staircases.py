"""Memory staircases for whoever draws them: of one run, or of a configuration over its boots. Reads only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from readoff.snapshots.measured import STAIRCASES, nanoseconds
from readoff.snapshots.staircase import Staircase, staircase
from readoff.store import find
from readoff.store.keep import Store


@dataclass(frozen=True)
class Curve:
    """One staircase. region: where its blocks lay ("conventional", "extended"). boots: how many it is the median of.

    octets: the blocks, rising. minimum, middle: ns per access of the shortest pass and of the median one. found: levels
    and steps, by the median passes.
    """

    label: str
    region: str
    boots: int
    octets: tuple[int, ...]
    minimum: tuple[float, ...]
    middle: tuple[float, ...]
    found: Staircase


@dataclass(frozen=True)
class _Sweep:
    """One run's points by their octets: ns per access of the shortest and of the median pass."""

    boot: str
    points: Mapping[int, tuple[float, float]]


def of_run(store: Store, run: int) -> tuple[Curve, ...]:
    """The staircases of one run; none where it is no such probe."""
    return tuple(
        curve
        for section in STAIRCASES
        for curve in [_curve(store, section, "u.number = ?", run)]
        if curve is not None
    )


def of_label(store: Store, label: str, region: str = "conventional") -> Curve | None:
    """A configuration's staircase: the median over its boots, of the sizes that all of them have; None without one."""
    section = next(name for name, where in STAIRCASES.items() if where == region)
    return _curve(store, section, "u.label = ?", label)


def _curve(store: Store, section: str, where: str, value: object) -> Curve | None:
    rows = find.query(
        store,
        "SELECT u.record, u.label, u.boot FROM runs u JOIN captures c ON c.record = u.record "
        f"WHERE u.state = 'complete' AND c.kind = 'probe' AND c.name = ? AND c.problem = '' AND {where} "
        "ORDER BY u.number",
        [section, value],
    )
    sweeps: dict[str, list[_Sweep]] = {}
    for row in rows:
        values = find.record(store, row["record"]).values(section)
        points = _points(values) if values else {}
        if points:
            sweeps.setdefault(row["boot"], []).append(_Sweep(row["boot"], points))
    every = [each for boot in sweeps.values() for each in boot]
    octets = tuple(sorted(set.intersection(*(set(each.points) for each in every)))) if every else ()
    if len(octets) < 2:
        return None
    boots = list(sweeps.values())
    minimum, middle = (tuple(_over_boots(boots, at, which) for at in octets) for which in (0, 1))
    found = staircase(octets, middle)
    return Curve(rows[0]["label"], STAIRCASES[section], len(boots), octets, minimum, middle, found)


def _points(values: Mapping[str, Any]) -> dict[int, tuple[float, float]]:
    return {
        int(each["octets"]): (
            nanoseconds(each["minimum"], each["reads"]),
            nanoseconds(each["median"], each["reads"]),
        )
        for each in values["points"]
        if each["reads"] and each["minimum"] and each["median"]
    }


def _over_boots(boots: Sequence[Sequence[_Sweep]], octets: int, which: int) -> float:
    return median(median(each.points[octets][which] for each in boot) for boot in boots)
