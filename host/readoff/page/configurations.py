"""Configurations side by side: what differs first, what is the same after it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from readoff.errors import UsageError
from readoff.page.staircases import staircases_of_labels
from readoff.snapshots import Disagreement, Fact, agreed, difference, measured_alike, same_label
from readoff.snapshots.difference import ABSENT
from readoff.store import Store, find
from readoff.store.attachments import attachments

MOST = 6
"""Configurations that are shown at a time."""


@dataclass(frozen=True)
class FactRow:
    """A fact with its value in each configuration. detail: what exactly differs from the first one, in lines."""

    name: str
    values: tuple[str, ...]
    detail: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Column:
    """One configuration. disagreements: facts in which its own snapshots differ."""

    label: str
    snapshots: int
    disagreements: tuple[Disagreement, ...]


def configurations_view(
    store: Store, wanted: Sequence[str], announced: Collection[str] = ()
) -> dict[str, Any]:
    """Snapshots of some labels side by side; without any named, of the first ones there are.

    announced: labels of the study, which may have attachments before anything came.
    """
    labels = find.labels(store)
    for label in wanted:
        if label not in labels:
            raise UsageError(f"no run carries the label {label!r}")
    chosen = [label for label in labels if label in wanted] if wanted else labels
    shown = chosen[:MOST]
    shots = {label: find.snapshots(store, label=label) for label in shown}
    columns = [Column(label, len(each), tuple(same_label(each))) for label, each in shots.items()]
    unsure = {each.name for column in columns for each in column.disagreements}
    sides = [agreed(each) for each in shots.values()]
    differ, same = _rows(sides, unsure)
    return {
        "labels": labels,
        "shown": shown,
        "more": len(chosen) - len(shown),
        "columns": columns,
        "differ": differ,
        "same": same,
        "stairs": staircases_of_labels(store, shown),
        "attached": [
            each for each in attachments(store) if each.label in shown or (not wanted and each.label)
        ],
        "may_have": sorted({*labels, *announced}),
    }


def _rows(sides: Sequence[Mapping[str, Fact]], unsure: set[str]) -> tuple[list[FactRow], list[FactRow]]:
    names = list(dict.fromkeys(name for side in sides for name in side if name not in unsure))
    differ, same = [], []
    for name in names:
        values = tuple(_value(side.get(name)) for side in sides)
        if len(set(values)) > 1 and not measured_alike([side.get(name) for side in sides]):
            detail = tuple(_detail(name, sides[0], side) for side in sides)
            differ.append(FactRow(name, values, detail))
        else:
            same.append(FactRow(name, values[:1], ()))
    return differ, same


def _value(fact: Fact | None) -> str:
    return ABSENT if fact is None else f"{fact.value} {fact.unit}".rstrip() or "(empty)"


def _detail(name: str, first: Mapping[str, Fact], other: Mapping[str, Fact]) -> tuple[str, ...]:
    if name not in first or name not in other or first[name] == other[name]:
        return ()
    found = difference({name: first[name]}, {name: other[name]})
    return found[0].detail() if found else ()
