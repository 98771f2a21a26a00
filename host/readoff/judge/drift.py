"""Drift over a session: do boots get slower or faster as the hours go, whatever the configuration?

Boots in the order they were taken. The slope over that order, with every configuration's own level taken
out, is tested by Student's t; the lag-1 autocorrelation tells how little new each further boot says.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from readoff.errors import JudgeRefusal
from readoff.judge.distributions import t_two_sided
from readoff.judge.sentence import per_cent, probability

DRIFT_LEVEL = 0.05


@dataclass(frozen=True)
class Drift:
    """What the order of the boots shows. slope: in logs a boot; error: its standard error."""

    boots: int
    slope: float
    error: float
    freedom: int
    lag1: float

    @property
    def p(self) -> float:
        """Two-sided p of the slope."""
        if self.error == 0:
            return 0.0 if self.slope else 1.0
        return t_two_sided(self.slope / self.error, self.freedom)

    @property
    def seen(self) -> bool:
        """Whether a drift is there, at 5 %."""
        return self.p < DRIFT_LEVEL

    @property
    def over_session(self) -> float:
        """Last boot / first boot, by the slope."""
        return math.exp(max(-600.0, min(600.0, self.slope * (self.boots - 1))))

    @property
    def sentence(self) -> str:
        """Plain words first, figures after."""
        figures = f"[{probability(self.p)}, df {self.freedom}, lag-1 correlation {self.lag1:+.2f}]"
        if not self.seen:
            return f"No drift over the {self.boots} boots of the session can be seen. {figures}"
        way = "rose" if self.slope > 0 else "fell"
        return (
            f"The readings {way} over the session, whatever the configuration: {per_cent(self.over_session)} "
            f"from the first boot to the last. Compare only configurations that took turns. {figures}"
        )


def lag1(values: Sequence[float]) -> float:
    """Lag-1 autocorrelation coefficient; 0.0 where the values do not differ.

    NIST/SEMATECH e-Handbook 1.3.5.12.
    """
    mean = math.fsum(values) / len(values)
    off = [value - mean for value in values]
    square = math.fsum(value * value for value in off)
    return math.fsum(a * b for a, b in pairwise(off)) / square if square > 0 else 0.0


def effective_count(count: int, correlation: float) -> float:
    """How many independent values ``count`` correlated ones are worth: n (1 - r)/(1 + r), never above n."""
    return min(float(count), count * (1 - correlation) / (1 + correlation))


def drift(session: Sequence[tuple[str, float]]) -> Drift:
    """Test for drift over boots in the order taken: (configuration, boot value above zero).

    Raises JudgeRefusal for values that have no logarithm, and where too few boots are left to tell (each
    configuration takes one degree of freedom, the slope another).
    """
    if not all(math.isfinite(value) and value > 0 for _, value in session):
        raise JudgeRefusal("drift is looked for in readings above zero, and one is not")
    places: dict[str, list[int]] = {}
    for place, (label, _) in enumerate(session):
        places.setdefault(label, []).append(place)
    freedom = len(session) - len(places) - 1
    if freedom < 1:
        raise JudgeRefusal(
            "too few boots to look for drift", next_step="Take at least three boots of one configuration."
        )
    logs = [math.log(value) for _, value in session]
    times, levels = [0.0] * len(session), [0.0] * len(session)
    for group in places.values():
        middle = sum(group) / len(group)
        level = math.fsum(logs[place] for place in group) / len(group)
        for place in group:
            times[place], levels[place] = place - middle, logs[place] - level
    square = math.fsum(time * time for time in times)
    slope = math.fsum(t * v for t, v in zip(times, levels, strict=True)) / square
    rest = math.fsum((v - slope * t) ** 2 for t, v in zip(times, levels, strict=True))
    rest = rest if rest > 1e-24 * len(session) else 0.0
    slope = slope if abs(slope) > 1e-12 else 0.0
    return Drift(len(session), slope, math.sqrt(rest / freedom / square), freedom, lag1(levels))


def took_turns(labels: Sequence[str], first: str, second: str) -> bool:
    """Whether two configurations took turns: not all boots of one before all boots of the other.

    Where they did not, and the part was fitted once, a change cannot be laid at the part's door.
    """
    order = [label for label in labels if label in (first, second)]
    changes = sum(a != b for a, b in pairwise(order))
    return changes >= 2
