"""A processor's clock that changed (a turbo switch, a jumper), by the estimate that each snapshot carries.

An estimate is never twice the same to the last digit, so the facts themselves are volatile; here they are held against
each other. Told is what lies beyond what the timer resolves and beyond the smallest difference that matters: a clock
that is off by less cannot make a program differ by more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from readoff.snapshots import Snapshot
from readoff.studies.study import Study

CLOCK = "speed.mhz"
_WITHIN = "speed.mhz_within"
_METHOD = "speed.method"
# Of either side: the loop is translated by the makers' tables and the counter is not, so that the two ways may be so
# far apart on one and the same machine.
_BETWEEN_METHODS = 0.04
# However small the difference that matters: how far estimates wander on real machines is not known (docs/untried.md).
_LEAST = 0.01


def least_told(study: Study) -> float:
    """The smallest difference of clocks that is told, as a share: the smallest that matters, and 1 % at least."""
    return max(_LEAST, min((each.margin for each in study.wanted), default=0.0))


@dataclass(frozen=True, order=True)
class Clock:
    """A clock as a snapshot estimates it. within: what the timer resolves, in MHz too. method: how it was estimated."""

    mhz: float
    within: float
    method: str
    shot: str

    def apart(self, other: Clock, least: float) -> bool:
        """Whether two estimates are of different clocks. least: smallest share that is told."""
        share = least if self.method == other.method else max(least, 2 * _BETWEEN_METHODS)
        return abs(self.mhz - other.mhz) > max(self.within + other.within, share * min(self.mhz, other.mhz))


def clock_of(shot: Snapshot) -> Clock | None:
    """The clock as a snapshot estimates it; None where it does not."""
    fact, within, method = (shot.facts.get(name) for name in (CLOCK, _WITHIN, _METHOD))
    if fact is None:
        return None
    return Clock(
        float(fact.value), float(within.value) if within else 0.0, method.value if method else "", shot.id
    )


def clock_changed(label: str, shots: Sequence[Snapshot], least: float) -> str:
    """That the snapshots of one configuration show different clocks, in a sentence; "" where they do not."""
    seen = _seen(shots)
    if not seen or not seen[0].apart(seen[-1], least):
        return ""
    slow, fast = seen[0], seen[-1]
    return (
        f"The processor's clock changed among the snapshots of {label}: about {slow.mhz:.4g} MHz in {slow.shot}, "
        f"{fast.mhz:.4g} MHz in {fast.shot}."
    )


def clocks_differ(
    base: str, other: str, base_shots: Sequence[Snapshot], other_shots: Sequence[Snapshot], least: float
) -> str:
    """That two configurations run at different clocks, in a sentence.

    "" where they do not, or do not say, or where one of them disagrees with itself.
    """
    if clock_changed(base, base_shots, least) or clock_changed(other, other_shots, least):
        return ""
    one, two = _middle(base_shots), _middle(other_shots)
    if one is None or two is None or not one.apart(two, least):
        return ""
    return (
        f"The processor's clock is not the same: about {one.mhz:.4g} MHz in {base}, {two.mhz:.4g} MHz in {other}, and "
        f"the study does not let {other} differ in it."
    )


def _seen(shots: Sequence[Snapshot]) -> list[Clock]:
    return sorted(found for shot in shots if (found := clock_of(shot)))


def _middle(shots: Sequence[Snapshot]) -> Clock | None:
    seen = _seen(shots)
    return seen[len(seen) // 2] if seen else None
