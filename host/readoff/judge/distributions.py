"""Quantiles and probabilities, from scipy.special.

Imported where used: scipy.stats alone would cost more than a second at the start of every command.
"""

from __future__ import annotations

import math
from functools import lru_cache


@lru_cache(maxsize=4096)
def t_quantile(probability: float, freedom: float) -> float:
    """Student's t quantile; freedom may be infinite (the normal quantile then)."""
    from scipy import special  # noqa: PLC0415

    if math.isinf(freedom):
        return float(special.ndtri(probability))
    return float(special.stdtrit(freedom, probability))


def half_width(tail: float, freedom: float, by_boots: float, by_rounding: float) -> float:
    """Half the width of an interval that leaves ``tail`` out on each side.

    by_boots: standard error estimated with ``freedom`` degrees of freedom; by_rounding: one that is known. The
    two are widened each by its own quantile, then added as squares: lending the known part's certainty to the
    estimated one (Welch-Satterthwaite with infinite freedom) is wrong in small samples whose spread came out
    small by luck.
    """
    from scipy import special  # noqa: PLC0415

    normal = -float(special.ndtri(tail)) * by_rounding
    if by_boots == 0:
        return normal
    student = -float(special.stdtrit(freedom, tail)) * by_boots
    return math.hypot(student, normal)


def tail_beyond(distance: float, freedom: float, by_boots: float, by_rounding: float) -> float:
    """The tail whose half_width is ``distance`` (above zero): the one-sided p of a difference that large."""
    if by_boots == 0 or by_rounding == 0:
        error = by_boots + by_rounding
        return t_below(-distance / error, freedom if by_boots else math.inf)
    low, high = -700.0, math.log(0.5)
    for _ in range(60):
        middle = (low + high) / 2
        wide = half_width(math.exp(middle), freedom, by_boots, by_rounding) > distance
        low, high = (middle, high) if wide else (low, middle)
    return math.exp((low + high) / 2)


def t_two_sided(statistic: float, freedom: float) -> float:
    """Probability of a t at least this far from zero on either side."""
    from scipy import special  # noqa: PLC0415

    tail = special.ndtr(-abs(statistic)) if math.isinf(freedom) else special.stdtr(freedom, -abs(statistic))
    return float(2 * tail)


def f_upper(statistic: float, numerator: float, denominator: float) -> float:
    """Probability of an F at least this large."""
    from scipy import special  # noqa: PLC0415

    return float(special.fdtrc(numerator, denominator, statistic))


def normal_below(value: float) -> float:
    """Standard normal distribution function."""
    return 0.5 * math.erfc(-value / math.sqrt(2))


def t_below(statistic: float, freedom: float) -> float:
    """Student's t distribution function."""
    from scipy import special  # noqa: PLC0415

    return normal_below(statistic) if math.isinf(freedom) else float(special.stdtr(freedom, statistic))


@lru_cache(maxsize=4096)
def chi_square_quantile(probability: float, freedom: float) -> float:
    """Quantile of chi square."""
    from scipy import special  # noqa: PLC0415

    return float(special.chdtri(freedom, 1 - probability))


_RATIOS = 48


@lru_cache(maxsize=4096)
def welch_shift(boots: int, level: float, power: float) -> float:
    """Shift, in standard errors, that Welch's two-sided test finds with the given power.

    For ``boots`` a side that truly spread alike. Then the statistic is Student's with 2 boots - 2 degrees of
    freedom, whatever the two variances came out as; what they change is Welch's own degrees of freedom,
    (boots - 1)/(b^2 + (1 - b)^2), where b, one variance's share of both, is Beta distributed with (boots - 1)/2
    twice, independent of their sum.
    """
    from scipy import special  # noqa: PLC0415

    half, freedom = (boots - 1) / 2, 2.0 * boots - 2
    shares = [float(special.betaincinv(half, half, (n + 0.5) / _RATIOS / 2)) for n in range(_RATIOS)]
    own = [(boots - 1) / (share**2 + (1 - share) ** 2) for share in shares]
    critical = [t_quantile(1 - level / 2, each) for each in own]
    low, high = 0.0, 4 * max(critical)
    for _ in range(60):
        middle = (low + high) / 2
        found = 1 - math.fsum(float(special.nctdtr(freedom, middle, each)) for each in critical) / _RATIOS
        low, high = (middle, high) if found < power else (low, middle)
    return (low + high) / 2


@lru_cache(maxsize=4096)
def detectable_shift(freedom: float, level: float, power: float) -> float:
    """Shift, in standard errors, that a two-sided t test finds with the given power.

    Non-central t, the far tail left out (under 1e-4 of the power for any freedom from 1 up).
    """
    from scipy import special  # noqa: PLC0415

    critical = t_quantile(1 - level / 2, freedom)
    if math.isinf(freedom):
        return critical + t_quantile(power, math.inf)
    return float(special.nctdtrinc(freedom, 1 - power, critical))
