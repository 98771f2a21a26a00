"""The difference of two configurations in logs: Welch's by default, with a pooled boot variance by rule.

Standard errors of boots and rounding, the boots' degrees of freedom (Welch-Satterthwaite; JCGM 100:2008, G.4)
and intervals. Exponentials of what is here are ratios, other / base.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from readoff.errors import JudgeRefusal
from readoff.judge.distributions import half_width, tail_beyond
from readoff.judge.evidence import Side
from readoff.judge.resolution import Span, boot_variance, ratio_by_rounding, rounding_variance
from readoff.judge.t_test import satterthwaite

# The default rule for pooling the boot variance over a machine's configurations (docs/judging.md).
POOL_CONFIGURATIONS = 3
POOL_FREEDOM = 8
POOL_SD_RATIO = 3.0


@dataclass(frozen=True)
class Contrast:
    """ln(other / base) with what is known about its error. All in logs."""

    base: Side
    other: Side
    difference: float
    boot_variances: tuple[float, float]  # of one boot, each side, as used (own or pooled)
    boot_freedoms: tuple[float, float]
    pooled: bool
    resolution_variance: float
    rounding: Span | None  # what rounding alone allows, both sides
    stuck: Span | None  # the same, of the sides where rounding is a bias

    @property
    def boot_error(self) -> float:
        """Standard error that comes from the boots."""
        return math.sqrt(math.fsum(self.parts()))

    @property
    def rounding_error(self) -> float:
        """Standard error that rounding adds."""
        return math.sqrt(self.resolution_variance)

    @property
    def error(self) -> float:
        """Standard error of both together."""
        return math.hypot(self.boot_error, self.rounding_error)

    @property
    def freedom(self) -> float:
        """Degrees of freedom: from the boots alone."""
        return boot_freedom(self.parts(), self.boot_freedoms, pooled=self.pooled)

    def parts(self, more: int = 0, scale: float = 1.0) -> list[float]:
        """Variance of each side's mean from its boots; with ``more`` boots a side and the spread scaled."""
        counts = (len(self.base.boots) + more, len(self.other.boots) + more)
        return [variance * scale / count for variance, count in zip(self.boot_variances, counts, strict=True)]

    @property
    def p(self) -> float:
        """Two-sided probability of a difference at least this large where there is none."""
        return min(1.0, 2 * self._tail(abs(self.difference)))

    def p_clear(self, margin: float) -> float:
        """p of "no difference that matters": the larger of two one-sided tests (TOST), margin in logs.

        Under 5 % exactly where the 90 % interval lies within -margin..margin, rounding of stuck sides aside.
        """
        room = margin - abs(self.difference)
        return self._tail(room) if room >= 0 else 1 - self._tail(-room)

    def _tail(self, distance: float) -> float:
        return tail_beyond(distance, self.freedom, self.boot_error, self.rounding_error)

    def interval(self, confidence: float) -> Span:
        """Interval of ln(other / base), never narrower than the rounding of a stuck side allows."""
        reach = half_width((1 - confidence) / 2, self.freedom, self.boot_error, self.rounding_error)
        span = Span(self.difference - reach, self.difference + reach)
        return span if self.stuck is None else span.hull(self.stuck)


def boot_freedom(parts: Sequence[float], freedoms: Sequence[float], *, pooled: bool) -> float:
    """Degrees of freedom of the boots' part: the pooled ones, or Welch-Satterthwaite's."""
    return freedoms[0] if pooled else satterthwaite(parts, freedoms, math.fsum(parts))


def pooled_variance(sides: Sequence[Side], *, equal_spread: bool = False) -> tuple[float, int] | None:
    """Pooled variance of a boot and its degrees of freedom, or None where the rule does not allow pooling.

    The rule: at least three configurations with two boots or more, at least eight degrees of freedom, and
    the largest boot SD under three times the smallest. equal_spread waives it.
    """
    able = [(boot_variance(side), side.freedom) for side in sides if side.freedom > 0]
    freedom = sum(df for _, df in able)
    pooled = math.fsum(variance * df for variance, df in able) / freedom
    if equal_spread:
        return pooled, freedom
    if len(able) < POOL_CONFIGURATIONS or freedom < POOL_FREEDOM:
        return None
    smallest, largest = (math.sqrt(choose(variance for variance, _ in able)) for choose in (min, max))
    return None if smallest == 0 or largest >= POOL_SD_RATIO * smallest else (pooled, freedom)


def contrast(base: Side, other: Side, pool: Sequence[Side] = (), *, equal_spread: bool = False) -> Contrast:
    """Difference of two sides, the boot variance pooled with the sides of ``pool`` where the rule allows it.

    equal_spread: declared beforehand, all configurations' boots spread alike; pooled whatever the rule says.
        Raises JudgeRefusal for fewer than two boots on a side, for a run that stands on both sides, and for
    readings without any spread and without a known display step.
    """
    for side in (base, other):
        if len(side.boots) < 2:
            raise JudgeRefusal(
                f"one boot of {side.label!r} shows nothing about how much its boots differ",
                next_step="Take at least two boots of each configuration, better three or more.",
            )
    _refuse_shared_runs(base, other)
    shared = pooled_variance([base, other, *pool], equal_spread=equal_spread)
    variances = (boot_variance(base), boot_variance(other))
    freedoms = (float(base.freedom), float(other.freedom))
    if shared is not None:
        variances, freedoms = (shared[0], shared[0]), (float(shared[1]), float(shared[1]))
    found = Contrast(
        base,
        other,
        other.mean - base.mean,
        variances,
        freedoms,
        shared is not None,
        rounding_variance(base) + rounding_variance(other),
        ratio_by_rounding(base, other),
        ratio_by_rounding(base, other, stuck_only=True),
    )
    if found.error == 0:
        raise JudgeRefusal(
            f"every reading of {base.label!r} is the same, every reading of {other.label!r} is the same, and "
            "the step of the display is not known: the error is below the resolution, not zero",
            next_step="Say with how many decimals the program shows its number.",
        )
    return found


def _refuse_shared_runs(base: Side, other: Side) -> None:
    ours = {(sample.boot, sample.run) for sample in base.samples if sample.run != ""}
    shared = sorted(str(sample.run) for sample in other.samples if (sample.boot, sample.run) in ours)
    if shared:
        raise JudgeRefusal(
            f"run {shared[0]} stands on both sides, so {base.label!r} would be compared with itself",
            next_step="Name two configurations that have runs of their own.",
        )
