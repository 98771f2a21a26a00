"""Two samples from their summaries: Welch's or pooled t, and Welch-Satterthwaite degrees of freedom."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from readoff.errors import JudgeRefusal
from readoff.judge.distributions import t_quantile, t_two_sided
from readoff.judge.resolution import Span


@dataclass(frozen=True)
class Summary:
    """A sample by its mean, standard deviation (n - 1) and count."""

    mean: float
    sd: float
    count: int


@dataclass(frozen=True)
class TTest:
    """t test of first - second: difference, its standard error, degrees of freedom."""

    difference: float
    error: float
    freedom: float

    @property
    def t(self) -> float:
        """The statistic."""
        return self.difference / self.error

    @property
    def p(self) -> float:
        """Two-sided p."""
        return t_two_sided(self.t, self.freedom)

    def interval(self, confidence: float) -> Span:
        """Interval of the difference."""
        reach = t_quantile(0.5 + confidence / 2, self.freedom) * self.error
        return Span(self.difference - reach, self.difference + reach)


def satterthwaite(parts: Sequence[float], freedoms: Sequence[float], total: float) -> float:
    """Effective degrees of freedom of a variance ``total`` made of estimated ``parts``.

    total is their sum. Welch-Satterthwaite, JCGM 100:2008, G.4. Infinite where no part is above zero.
    """
    if total == 0:
        return math.inf
    # Shares first, so that tiny variances do not underflow when squared.
    share = math.fsum((part / total) ** 2 / freedom for part, freedom in zip(parts, freedoms, strict=True))
    return 1 / share if share > 0 else math.inf


def t_test(first: Summary, second: Summary, *, pooled: bool = False) -> TTest:
    """Test first - second. Raises JudgeRefusal for fewer than two values a sample, or for no spread at all."""
    if min(first.count, second.count) < 2:
        raise JudgeRefusal("one value tells nothing about spread", next_step="Take at least two.")
    freedoms = (first.count - 1.0, second.count - 1.0)
    parts = (first.sd**2 / first.count, second.sd**2 / second.count)
    if max(parts) == 0:
        raise JudgeRefusal("neither sample has any spread: the error is below the resolution, not zero")
    if pooled:
        freedom = sum(freedoms)
        variance = (freedoms[0] * first.sd**2 + freedoms[1] * second.sd**2) / freedom
        error = math.sqrt(variance * (1 / first.count + 1 / second.count))
    else:
        freedom = satterthwaite(parts, freedoms, sum(parts))
        error = math.sqrt(sum(parts))
    return TTest(first.mean - second.mean, error, freedom)


def summarise(values: Sequence[float]) -> Summary:
    """Mean and standard deviation in two passes with exact sums, so that large offsets do no harm."""
    if len(values) < 2:
        raise JudgeRefusal("one value tells nothing about spread", next_step="Take at least two.")
    mean = math.fsum(values) / len(values)
    mean += math.fsum(value - mean for value in values) / len(values)
    variance = math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)
    return Summary(mean, math.sqrt(variance), len(values))
