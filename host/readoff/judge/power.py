"""What a number of boots can show: power, smallest detectable difference, boots that would decide.

Differences and standard deviations are in logs (0.01 is one per cent, near enough); boots are a side.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from readoff.judge.contrast import Contrast, boot_freedom
from readoff.judge.distributions import (
    chi_square_quantile,
    detectable_shift,
    half_width,
    normal_below,
    t_below,
    t_quantile,
    welch_shift,
)

# How likely the advice "N more boots" should be to come true, and how far it looks.
DECIDE_CHANCE = 0.8
MOST_FURTHER_BOOTS = 200
# The spread itself is known from few boots only: the advice is averaged over this many equally likely spreads.
_SPREADS = 16


def smallest_detectable(
    boots: int, boot_sd: float, *, level: float = 0.05, power: float = 0.8, equal_spread: bool = True
) -> float:
    """Smallest difference (in the unit of boot_sd) found with this power by ``boots`` boots a side.

    Two-sample t, two-sided, non-central t distribution; without equal_spread Welch's, which does not take it for
    granted that both sides spread alike, though they do. Raises ValueError for fewer than two boots.
    """
    if boots < 2:
        raise ValueError("one boot a side detects nothing")
    student = detectable_shift(2.0 * boots - 2, level, power)
    shift = student if equal_spread else welch_shift(boots, level, power)
    return shift * boot_sd * math.sqrt(2 / boots)


def boots_to_detect(
    difference: float,
    boot_sd: float,
    *,
    level: float = 0.05,
    power: float = 0.8,
    equal_spread: bool = True,
) -> int | None:
    """Boots a side that find this difference with this power; None where 10,000 would not."""
    return _first(
        lambda boots: (
            smallest_detectable(boots, boot_sd, level=level, power=power, equal_spread=equal_spread)
            <= abs(difference)
        ),
        2,
        10_000,
    )


def boots_to_clear(margin: float, boot_sd: float, *, power: float = 0.8) -> int | None:
    """Boots a side that show "no difference that matters" with this power where there is none at all.

    margin: largest ratio that does not matter, less one (0.02). Two one-sided tests at 5 %.
    """
    return _first(lambda boots: chance_to_clear(boots, margin, boot_sd) >= power, 3, 10_000)


def chance_to_clear(boots: int, margin: float, boot_sd: float) -> float:
    """Chance of "no difference that matters" where there is none, the error taken as known to be boot_sd.

    An approximation for planning: 2 Phi(x) - 1 with the t quantile in the place of the normal one.
    """
    error = boot_sd * math.sqrt(2 / boots)
    reach = math.log1p(margin) / error - t_quantile(0.95, 2.0 * boots - 2)
    return max(0.0, 2 * t_below(reach, 2.0 * boots - 2) - 1)


def detectable_ratio(found: Contrast, *, level: float = 0.05, power: float = 0.8) -> float:
    """Smallest ratio above one that boots like these would find with this power; less one (0.031 is 3.1 %)."""
    by_boots = detectable_shift(found.freedom, level, power) * found.boot_error
    by_rounding = detectable_shift(math.inf, level, power) * found.rounding_error
    return math.expm1(min(600.0, math.hypot(by_boots, by_rounding)))


def further_boots(found: Contrast, margin: float, *, family: int = 1, looks: int = 1) -> int | None:
    """Further boots a side after which a verdict is likely (DECIDE_CHANCE), changed or no difference.

    margin: reach of "does not matter", in logs. None where rounding stands in the way, or where more than
    MOST_FURTHER_BOOTS would be needed. Predictive: the true difference and the spread are taken as uncertain
    as the boots so far leave them (flat priors), and the new boots as drawn from that. family, looks: how many
    comparisons share the 5 %, and how often each is judged.
    """
    if found.stuck is not None and not found.stuck.excludes(0.0) and not found.stuck.within(margin):
        return None
    levels = (0.05 / family / looks, 0.05 / looks)

    def likely(more: int) -> bool:
        return _chance_decided(found, margin, levels, more) >= DECIDE_CHANCE

    # A contrast has two boots a side at least, so one more makes the three that "no difference" asks for.
    return _first(likely, 1, MOST_FURTHER_BOOTS)


def _chance_decided(found: Contrast, margin: float, levels: tuple[float, float], more: int) -> float:
    """Chance of a verdict with ``more`` boots a side; levels: of a change (two-sided), of no difference."""
    freedom = found.freedom
    chance = 0.0
    added = 2 * more if found.pooled else more
    freedoms = [one + added for one in found.boot_freedoms]
    for step in range(_SPREADS):
        scale = (
            freedom / chi_square_quantile((step + 0.5) / _SPREADS, freedom) if math.isfinite(freedom) else 1.0
        )
        now, parts = math.fsum(found.parts(scale=scale)), found.parts(more, scale)
        then = math.sqrt(math.fsum(parts))
        freedom_then = boot_freedom(parts, freedoms, pooled=found.pooled)
        changed = half_width(levels[0] / 2, freedom_then, then, found.rounding_error)
        same = margin - half_width(levels[1], freedom_then, then, found.rounding_error)
        chance += chance_outside(found.difference, math.sqrt(max(0.0, now - then**2)), same, changed)
    return chance / _SPREADS


def chance_outside(centre: float, spread: float, same: float, changed: float) -> float:
    """Chance that a normal value lies beyond +-changed or within +-same."""
    if same >= changed:
        return 1.0
    if spread == 0:
        return float(abs(centre) > changed or abs(centre) < same)
    beyond = normal_below((-changed - centre) / spread) + normal_below((centre - changed) / spread)
    if same <= 0:
        return beyond
    return beyond + normal_below((same - centre) / spread) - normal_below((-same - centre) / spread)


def _first(holds: Callable[[int], bool], low: int, high: int) -> int | None:
    """Smallest number from low to high for which holds(number), which must turn true once; None if never."""
    if holds(low):
        return low
    step = low
    while True:
        last, step = step, min(high, 2 * step + 1)
        if holds(step):
            break
        if step == high:
            return None
    while step - last > 1:
        middle = (step + last) // 2
        last, step = (last, middle) if holds(middle) else (middle, step)
    return step
