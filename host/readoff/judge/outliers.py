"""A boot unlike the others: pointed at, never deleted. Grubbs's test (NIST/SEMATECH e-Handbook 1.3.5.17.1)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from readoff.errors import JudgeRefusal
from readoff.judge.distributions import t_quantile
from readoff.judge.t_test import summarise

# With three values G cannot exceed 2/sqrt(3) = 1.1547, just what chance allows: the test is useless there.
FEWEST = 4


@dataclass(frozen=True)
class Suspect:
    """The value farthest from the mean: where it stands, its G, and the critical G."""

    place: int
    g: float
    critical: float

    @property
    def stands_out(self) -> bool:
        """Whether it lies farther out than chance allows."""
        return self.g > self.critical


def largest_g(count: int) -> float:
    """The largest G that ``count`` values can have: (n - 1)/sqrt(n)."""
    return (count - 1) / math.sqrt(count)


def farthest(values: Sequence[float], *, level: float = 0.05, two_sided: bool = True) -> Suspect:
    """The value farthest from the mean, tested at ``level``.

    Raises JudgeRefusal for fewer than four values (the test could not find anything) or equal ones.
    """
    count = len(values)
    if count < FEWEST:
        raise JudgeRefusal(
            f"among {count} boots none can be told to stand out", next_step="Take four or more."
        )
    summary = summarise(values)
    if summary.sd == 0:
        raise JudgeRefusal("all values are equal: none stands out")
    distances = [abs(value - summary.mean) for value in values]
    t = t_quantile(1 - level / (2 * count if two_sided else count), count - 2.0)
    critical = largest_g(count) * math.sqrt(t * t / (count - 2 + t * t))
    return Suspect(distances.index(max(distances)), max(distances) / summary.sd, critical)
