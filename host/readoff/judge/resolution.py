"""What the display or the timer cannot show: rounding as a variance and as a bound.

A step of q adds a standard uncertainty of q/sqrt(12) to a reading (JCGM 100:2008, F.2.2.1). Readings that
show the same digits carry the same rounding error, so repeats of one rounding never average it out; readings
that wander over several steps do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from readoff.judge.evidence import Sample, Side


@dataclass(frozen=True)
class Span:
    """A closed interval; in logs or as ratios, as its user says."""

    low: float
    high: float

    def hull(self, other: Span) -> Span:
        """The smallest span that holds both."""
        return Span(min(self.low, other.low), max(self.high, other.high))

    def within(self, reach: float) -> bool:
        """Whether it lies inside -reach..reach (up to the noise of arithmetic)."""
        return self.low >= -reach - 1e-12 and self.high <= reach + 1e-12

    def excludes(self, value: float) -> bool:
        """Whether value lies outside (by more than the noise of arithmetic)."""
        return value < self.low - 1e-12 or value > self.high + 1e-12


def rounding_variance(side: Side) -> float:
    """Variance (in logs) that rounding adds to the side's mean.

    Each reading weighs 1/(boots x readings of its boot). Readings that show the same value share one error:
    their weights add up before squaring.
    """
    in_boot: dict[str, int] = {}
    for sample in side.samples:
        in_boot[sample.boot] = in_boot.get(sample.boot, 0) + 1
    weights: dict[tuple[float, float], float] = {}
    for sample in side.samples:
        one = math.sqrt(sample.roundings / 12) * sample.quantum / sample.value
        key = (sample.value, one)
        weights[key] = weights.get(key, 0.0) + 1 / (len(side.boots) * in_boot[sample.boot])
    return math.fsum((weight * one) ** 2 for (_, one), weight in weights.items())


def boot_variance(side: Side) -> float:
    """Variance of a boot's mean, in logs, but never below what rounding alone gives one boot.

    Boots that show the same digits differ by less than about a step; that they do not differ at all is more
    than the display can say.
    """
    by_boot: dict[str, list[Sample]] = {boot: [] for boot in side.boots}
    for sample in side.samples:
        by_boot[sample.boot].append(sample)
    floors = [
        rounding_variance(Side(side.label, tuple(samples), (boot,), (0.0,)))
        for boot, samples in by_boot.items()
    ]
    return max(side.variance, math.fsum(floors) / len(floors))


def rounding_span(side: Side) -> Span:
    """Where the side's mean (in logs) may lie by rounding alone."""
    totals: dict[str, list[tuple[float, float]]] = {}
    for sample in side.samples:
        bounds = (math.log(sample.value - sample.reach), math.log(sample.value + sample.reach))
        totals.setdefault(sample.boot, []).append(bounds)
    means = [
        [math.fsum(ends) / len(bounds) for ends in zip(*bounds, strict=True)] for bounds in totals.values()
    ]
    low, high = (math.fsum(ends) / len(means) for ends in zip(*means, strict=True))
    return Span(low, high)


def is_stuck(side: Side) -> bool:
    """Whether the readings hardly leave one step, so that rounding is a bias and not noise.

    The limit is a standard deviation of half a step: at that much Gaussian noise, the bias that rounding
    leaves in a mean is at most q/pi exp(-2 pi^2 s^2/q^2) = 0.23 % of a step.
    """
    step = max(sample.quantum * sample.roundings for sample in side.samples)
    if step == 0:
        return False
    values = [sample.value for sample in side.samples]
    mean = math.fsum(values) / len(values)
    spread = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / max(1, len(values) - 1))
    return spread < step / 2


def ratio_by_rounding(base: Side, other: Side, *, stuck_only: bool = False) -> Span | None:
    """Span of ln(other / base) that rounding alone allows, or None where no reading was rounded.

    stuck_only: count only the sides where rounding is a bias (is_stuck); None where there is no such side.
    """
    spans = []
    counted = False
    for side in (base, other):
        rounded = any(sample.quantum for sample in side.samples)
        if rounded and (not stuck_only or is_stuck(side)):
            spans.append(rounding_span(side))
            counted = True
        else:
            spans.append(Span(side.mean, side.mean))
    return Span(spans[1].low - spans[0].high, spans[1].high - spans[0].low) if counted else None
