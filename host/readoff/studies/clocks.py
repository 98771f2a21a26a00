"""A processor's clock that changed (a turbo switch, a jumper), by the estimate that each snapshot carries.

An estimate is never twice the same to the last digit, so the facts themselves are volatile; here they are held against
each other by their stated resolution.
"""

from __future__ import annotations

from collections.abc import Sequence

from readoff.snapshots import Snapshot

CLOCK = "speed.mhz"
_WITHIN = "speed.mhz_within"
_WANDERS = (
    0.04  # of either side: estimates on one and the same machine may wander so far; no other clock is so near
)


def clock_of(shot: Snapshot) -> tuple[float, float] | None:
    """(MHz, within so many MHz) as a snapshot estimates it; None where it does not."""
    fact, within = shot.facts.get(CLOCK), shot.facts.get(_WITHIN)
    if fact is None:
        return None
    mhz = float(fact.value)
    return mhz, max(mhz * _WANDERS, float(within.value) if within else 0.0)


def clock_changed(label: str, shots: Sequence[Snapshot]) -> str:
    """That the snapshots of one configuration show different clocks, in a sentence; "" where they do not."""
    seen = sorted((found, shot.id) for shot in shots if (found := clock_of(shot)))
    if not seen or not _apart(seen[0][0], seen[-1][0]):
        return ""
    slow, fast = seen[0], seen[-1]
    return (
        f"The processor's clock changed among the snapshots of {label}: about {slow[0][0]:.4g} MHz in {slow[1]}, "
        f"{fast[0][0]:.4g} MHz in {fast[1]}."
    )


def clocks_differ(
    base: str, other: str, base_shots: Sequence[Snapshot], other_shots: Sequence[Snapshot]
) -> str:
    """That two configurations run at different clocks, in a sentence.

    "" where they do not, or do not say, or where one of them disagrees with itself.
    """
    if clock_changed(base, base_shots) or clock_changed(other, other_shots):
        return ""
    one, two = _middle(base_shots), _middle(other_shots)
    if one is None or two is None or not _apart(one, two):
        return ""
    return (
        f"The processor's clock is not the same: about {one[0]:.4g} MHz in {base}, {two[0]:.4g} MHz in {other}, and "
        f"the study does not let {other} differ in it."
    )


def _middle(shots: Sequence[Snapshot]) -> tuple[float, float] | None:
    seen = sorted(found for shot in shots if (found := clock_of(shot)))
    return seen[len(seen) // 2] if seen else None


def _apart(one: tuple[float, float], two: tuple[float, float]) -> bool:
    return abs(one[0] - two[0]) > one[1] + two[1]
