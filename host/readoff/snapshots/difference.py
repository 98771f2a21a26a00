"""Comparing snapshots: do the runs of one label agree, and in what do two labels differ?

Volatile facts are left out everywhere.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase

from readoff.snapshots.fact import Fact

ABSENT = "absent"
_OCTETS = re.compile(r"(?:[0-9A-F]{2} )+[0-9A-F]{2}")
# Facts of octets whose first octet is not number 0 on the machine.
_COUNTED_FROM = (("cmos.settings", 0x10), ("pci.*.header", 0x0C), ("pci.*.registers", 0x40))
_MOST_OCTETS_TOLD = 8
_BETWEEN = re.compile(r"(\d+(?:\.\d+)?) to (\d+(?:\.\d+)?)")


@dataclass(frozen=True)
class Snapshot:
    """A snapshot's facts with where they come from.

    id: of its record. also: ids of further snapshots that say the same, where such were put together.
    """

    id: str
    label: str
    boot: str
    facts: Mapping[str, Fact]
    also: tuple[str, ...] = ()

    def stable(self) -> dict[str, Fact]:
        """The facts that mean something when they differ."""
        return {name: fact for name, fact in self.facts.items() if not fact.volatile}


@dataclass(frozen=True)
class Disagreement:
    """A stable fact that differs among the snapshots of one label. seen: value -> ids of the snapshots."""

    name: str
    seen: Mapping[str, tuple[str, ...]]

    def sentence(self) -> str:
        """In one line, each value with one of its snapshots."""
        told = "; ".join(
            f"{brief(value)} in {ids[0]}" + more(len(ids) - 1) for value, ids in self.seen.items()
        )
        return f"{self.name}: {told}"


@dataclass(frozen=True)
class Difference:
    """A stable fact in which two configurations differ; None where one side does not have it."""

    name: str
    base: Fact | None
    other: Fact | None

    @property
    def base_text(self) -> str:
        """BASE's value with its unit."""
        return _text(self.base)

    @property
    def other_text(self) -> str:
        """OTHER's value with its unit."""
        return _text(self.other)

    def detail(self) -> tuple[str, ...]:
        """What exactly changed inside a long value: the octets, or the lines, that differ. () for a short one."""
        if self.base is None or self.other is None:
            return ()
        one, two = self.base.value, self.other.value
        if _OCTETS.fullmatch(one) and _OCTETS.fullmatch(two):
            return tuple(_octets_that_differ(one, two, _first_octet(self.name)))
        if "\n" in one or "\n" in two:
            lines = difflib.ndiff(one.splitlines(), two.splitlines())
            return tuple(line for line in lines if line.startswith(("- ", "+ ")))
        return ()

    def sentence(self) -> str:
        """In one line; detail() has the rest."""
        detail = self.detail()
        if not detail:
            return f"{self.name}: {brief(self.base_text)} → {brief(self.other_text)}"
        shown = "; ".join(detail[:_MOST_OCTETS_TOLD])
        return f"{self.name}: {shown}" + (
            f"; {len(detail) - _MOST_OCTETS_TOLD} more" if len(detail) > 8 else ""
        )


def same_label(snapshots: Sequence[Snapshot]) -> list[Disagreement]:
    """Stable facts that are not the same in all snapshots of one label, in the order of their names."""
    out = []
    stable = [((snapshot.id, *snapshot.also), snapshot.stable()) for snapshot in snapshots]
    for name in sorted({name for _, facts in stable for name in facts}):
        seen: dict[str, list[str]] = {}
        found = [(ids, facts.get(name)) for ids, facts in stable]
        if any(fact.measured for _, fact in found if fact):
            found = [(ids, fact) for ids, fact in found if fact]
            if all_alike([fact for _, fact in found if fact]):
                continue
        for ids, fact in found:
            seen.setdefault(_text(fact), []).extend(ids)
        if len(seen) > 1:
            out.append(Disagreement(name, {value: tuple(ids) for value, ids in seen.items()}))
    return out


def agreed(snapshots: Sequence[Snapshot]) -> dict[str, Fact]:
    """The stable facts that all snapshots of one label have and agree in."""
    if not snapshots:
        return {}
    first, *rest = [snapshot.stable() for snapshot in snapshots]
    agreed = {name: fact for name, fact in first.items() if all(each.get(name) == fact for each in rest)}
    measured: dict[str, list[Fact]] = {}
    for facts in (first, *rest):
        for name, fact in facts.items():
            if fact.measured:
                measured.setdefault(name, []).append(fact)
    return agreed | {name: facts[0] for name, facts in measured.items() if all_alike(facts)}


def difference(
    base: Mapping[str, Fact], other: Mapping[str, Fact], *, leave_out: Iterable[str] = ()
) -> list[Difference]:
    """Stable facts in which two configurations differ, in BASE's order, then OTHER's.

    leave_out: names in which a configuration disagrees with itself, so that nothing can be said of them.
    """
    unsure = set(leave_out)
    names = [*base, *(name for name in other if name not in base)]
    out = []
    for name in names:
        one, two = base.get(name), other.get(name)
        if measured_alike((one, two)):
            continue
        if name in unsure or one == two or any(fact is not None and fact.volatile for fact in (one, two)):
            continue
        out.append(Difference(name, one, two))
    return out


def measured_alike(facts: Iterable[Fact | None]) -> bool:
    """Whether a probe's facts may be the same in all that have them: not measured is no difference."""
    known = [fact for fact in facts if fact]
    return any(fact.measured for fact in known) and all_alike(known)


def all_alike(facts: Sequence[Fact]) -> bool:
    """Whether measured facts may be the same: equal, or between bounds of which no two lie apart."""
    bounds = [_bounds(fact.value) for fact in facts]
    if not all(bounds):
        return len({fact.value for fact in facts}) <= 1
    known = [each for each in bounds if each]
    return max(low for low, _ in known) <= min(high for _, high in known)


def _bounds(value: str) -> tuple[float, float] | None:
    found = _BETWEEN.fullmatch(value)
    return (float(found[1]), float(found[2])) if found else None


def _text(fact: Fact | None) -> str:
    if fact is None:
        return ABSENT
    return f"{fact.value} {fact.unit}".rstrip()


def brief(text: str, width: int = 48) -> str:
    """A value in one short line."""
    one_line = " | ".join(text.splitlines()) or "(empty)"
    return one_line if len(one_line) <= width else one_line[: width - 1] + "…"


def more(count: int) -> str:
    """How many are not told, or nothing."""
    return f" and {count} more" if count > 0 else ""


def _first_octet(name: str) -> int:
    return next((first for pattern, first in _COUNTED_FROM if fnmatchcase(name, pattern)), 0)


def _octets_that_differ(one: str, two: str, first: int) -> Iterable[str]:
    ours, theirs = bytes.fromhex(one), bytes.fromhex(two)
    for at in range(max(len(ours), len(theirs))):
        left = f"{ours[at]:02X}" if at < len(ours) else ABSENT
        right = f"{theirs[at]:02X}" if at < len(theirs) else ABSENT
        if left != right:
            yield f"octet {at + first:02X}h {left} → {right}"
