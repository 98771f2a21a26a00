"""Ratio of two means without logarithms: Fieller's interval, for what may lie near zero or must not be logged.

Findings use logs (judge.contrast); this is the check beside them, and the way for figures such as means of
times that contain zero. Fieller, J. R. Stat. Soc. B 16, 1954, in the form of Kalibera & Jones 2013.
"""

from __future__ import annotations

import math

from readoff.errors import JudgeRefusal
from readoff.judge.distributions import t_quantile
from readoff.judge.resolution import Span
from readoff.judge.t_test import Summary


def fieller(
    numerator: Summary, denominator: Summary, *, confidence: float = 0.95, freedom: float | None = None
) -> Span:
    """Interval of numerator.mean / denominator.mean, the two samples independent.

    freedom: degrees of freedom of t, both counts less two by default. Raises JudgeRefusal where the
    denominator's own interval holds zero, so that no finite interval exists.
    """
    if min(numerator.count, denominator.count) < 2:
        raise JudgeRefusal("one value tells nothing about spread", next_step="Take at least two of each.")
    t = t_quantile(0.5 + confidence / 2, freedom or numerator.count + denominator.count - 2.0)
    h_top, h_bottom = ((t * s.sd) ** 2 / s.count for s in (numerator, denominator))
    below = denominator.mean**2 - h_bottom
    if below <= 0:
        raise JudgeRefusal(
            "the mean to divide by cannot be told from zero, so the ratio has no interval",
            where="denominator",
            next_step="Take more boots, or steadier ones.",
        )
    product = numerator.mean * denominator.mean
    root = math.sqrt(max(0.0, product**2 - below * (numerator.mean**2 - h_top)))
    return Span((product - root) / below, (product + root) / below)
