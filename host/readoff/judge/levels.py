"""Two levels of spread, between boots and between repeats in a boot; and how best to share out the time.

After T. Kalibera and R. Jones, "Rigorous benchmarking in reasonable time", ISMM 2013: S1^2 the mean variance
within a boot, S2^2 the variance of boot means, T2^2 = S2^2 - S1^2/r1 what the boots add of their own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from readoff.errors import JudgeRefusal
from readoff.judge.distributions import f_upper, t_quantile
from readoff.judge.resolution import Span
from readoff.judge.t_test import summarise


@dataclass(frozen=True)
class TwoLevels:
    """Components of spread of boots x repeats, in the unit (squared) of the values.

    boots: how many. repeats: readings a boot (an effective number where boots have unequal ones). mean: of the
    boot means. within: S1^2 = T1^2. between: S2^2, the variance of boot means. Degrees of freedom: boots - 1
    and freedom_within.
    """

    boots: int
    repeats: float
    mean: float
    within: float
    freedom_within: int
    between: float

    @property
    def boot_variance(self) -> float:
        """T2^2, what boots differ by of their own; below zero by chance where they hardly do."""
        return self.between - self.within / self.repeats

    @property
    def boot_variance_shown(self) -> float:
        """T2^2 for display, never below zero. The boots stay the unit all the same."""
        return max(0.0, self.boot_variance)

    @property
    def boot_share(self) -> float:
        """Share of the boots in the variance of a single reading, 0 to 1; 0 where there is no spread."""
        total = self.boot_variance_shown + self.within
        return self.boot_variance_shown / total if total > 0 else 0.0

    @property
    def mean_square_between(self) -> float:
        """Mean square between boots of the analysis of variance."""
        return self.between * self.repeats

    @property
    def f(self) -> float:
        """F of the analysis of variance; JudgeRefusal where the repeats do not differ at all."""
        if self.within == 0:
            raise JudgeRefusal("the repeats within a boot are all equal: nothing to hold the boots against")
        return self.mean_square_between / self.within

    @property
    def p(self) -> float:
        """Probability of an F at least this large where boots add nothing of their own."""
        return f_upper(self.f, self.boots - 1, self.freedom_within)

    @property
    def error(self) -> float:
        """Standard error of the mean: from the boots alone."""
        return math.sqrt(self.between / self.boots)

    def interval(self, confidence: float = 0.95) -> Span:
        """Interval of the mean, Student's t with boots - 1 degrees of freedom."""
        reach = t_quantile(0.5 + confidence / 2, self.boots - 1.0) * self.error
        return Span(self.mean - reach, self.mean + reach)

    def variance_of_mean(self, boots: int, repeats: int) -> float:
        """Variance that a mean of this many boots and repeats would have."""
        return (self.boot_variance_shown + self.within / repeats) / boots

    def best_repeats(self, boot_cost: float, repeat_cost: float) -> int | None:
        """Repeats a boot that make the most of the time: ceil(sqrt(c2/c1 T1^2/T2^2)), at least 1.

        boot_cost: seconds for a boot without its runs. repeat_cost: seconds for one run. None where the boots
        add nothing that can be seen, so that any sharing out is as good. Raises ValueError for costs not
        above zero.
        """
        if boot_cost <= 0 or repeat_cost <= 0:
            raise ValueError("a boot and a repeat both cost some time")
        if self.boot_variance <= 0:
            return None
        return max(1, math.ceil(math.sqrt(boot_cost / repeat_cost * self.within / self.boot_variance)))


def two_levels(readings: Sequence[Sequence[float]]) -> TwoLevels:
    """Components of spread from readings, one sequence a boot.

    With unequal repeats the mean squares are those of the analysis of variance, and ``repeats`` is the number
    (N - sum n^2/N)/(k - 1) that its expectation holds. Raises JudgeRefusal for one boot, an empty boot, no
    boot with a repeat, or a reading that is no finite number.
    """
    if any(not boot for boot in readings) or not all(math.isfinite(v) for boot in readings for v in boot):
        raise JudgeRefusal("a boot has no reading, or one that is not a number")
    counts = [len(boot) for boot in readings]
    freedom = sum(counts) - len(counts)
    if len(readings) < 2 or freedom < 1:
        raise JudgeRefusal(
            "two levels of spread need two boots or more, and repeats in at least one of them",
            next_step="Take more boots, or run the program more than once in each.",
        )
    # Shifted to the first reading: certified sets with 13 constant leading digits ask for it.
    shift = readings[0][0]
    moved = [[value - shift for value in boot] for boot in readings]
    means = [math.fsum(boot) / len(boot) for boot in moved]
    within = math.fsum((v - m) ** 2 for boot, m in zip(moved, means, strict=True) for v in boot) / freedom
    total = sum(counts)
    grand = math.fsum(value for boot in moved for value in boot) / total
    square = math.fsum(n * (m - grand) ** 2 for n, m in zip(counts, means, strict=True)) / (len(means) - 1)
    repeats = (total - sum(n * n for n in counts) / total) / (len(counts) - 1)
    mean = math.fsum(means) / len(means)
    return TwoLevels(len(means), repeats, shift + mean, within, freedom, square / repeats)


def pooled_levels(several: Sequence[TwoLevels]) -> TwoLevels:
    """The spread that several configurations have in common, whatever the level of each: mean squares pooled by their
    degrees of freedom. ``boots`` is then one more than the degrees of freedom between boots; the mean is none (0).
    """
    between = [each.boots - 1 for each in several]
    within = [each.freedom_within for each in several]

    def mean(values: Iterable[float], weights: Sequence[int]) -> float:
        return math.fsum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)

    return TwoLevels(
        sum(between) + 1,
        mean((each.repeats for each in several), between),
        0.0,
        mean((each.within for each in several), within),
        sum(within),
        mean((each.between for each in several), between),
    )


def from_summaries(means: Sequence[float], sds: Sequence[float], repeats: int) -> TwoLevels:
    """Components of spread from boot means and standard deviations within boots, all of ``repeats`` readings."""
    if len(means) != len(sds) or len(means) < 2 or repeats < 2:
        raise JudgeRefusal("two levels of spread need two boots or more, and two repeats or more")
    within = math.fsum(sd**2 for sd in sds) / len(sds)
    summary = summarise(means)
    return TwoLevels(len(means), repeats, summary.mean, within, len(means) * (repeats - 1), summary.sd**2)
