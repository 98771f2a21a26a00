"""Targets: is a configuration on the good side of a line the tester drew ("playable from 20 frames/s")?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from readoff.errors import JudgeRefusal
from readoff.judge.distributions import tail_beyond
from readoff.judge.evidence import Better, Metric, Sample, Side, gather
from readoff.judge.resolution import boot_variance, is_stuck, rounding_span, rounding_variance
from readoff.judge.sentence import plain_number

CERTAIN = 0.95


@dataclass(frozen=True)
class TargetResult:
    """How a configuration stands against a target.

    chance: that its long-run level is on the good side. chance_next_boot: that one further boot is. Both are
    t probabilities from the boots so far (flat prior). crossed: True or False where that is 95 % certain and
    rounding leaves no doubt, None where it is not.
    """

    metric: Metric
    side: Side
    target: float
    chance: float
    chance_next_boot: float
    crossed: bool | None

    @property
    def sentence(self) -> str:
        """Plain words first, figures after."""
        need = "or more" if self.metric.better is Better.HIGHER else "or less"
        goal = f"{plain_number(self.target)} {self.metric.unit} {need}"
        boots = "boot" if len(self.side.boots) == 1 else "boots"
        words = {
            True: f"{self.side.label} reaches {goal}.",
            False: f"{self.side.label} does not reach {goal}.",
            None: f"It is not certain whether {self.side.label} reaches {goal}.",
        }[self.crossed]
        return (
            f"{words} [mean {plain_number(self.side.centre)} {self.metric.unit} over {len(self.side.boots)} "
            f"{boots}; chance {_chance(self.chance)}, for a single further boot {_chance(self.chance_next_boot)}]"
        )


def against_target(metric: Metric, label: str, samples: Sequence[Sample], target: float) -> TargetResult:
    """Hold a configuration against a target in the metric's unit.

    Raises JudgeRefusal as compare does for its readings, for one boot, for a target not above zero, and for a
    metric of which neither way is better.
    """
    if not (math.isfinite(target) and target > 0):
        raise JudgeRefusal("a target must be a number above zero")
    if metric.better is Better.NEITHER:
        raise JudgeRefusal("a target needs a metric of which one way is better")
    side = gather(metric, label, samples)
    if len(side.boots) < 2:
        raise JudgeRefusal(f"one boot of {label!r} tells no chance", next_step="Take at least two.")
    one_boot, by_rounding = boot_variance(side), rounding_variance(side)
    by_boots = one_boot / len(side.boots)
    if by_boots + by_rounding == 0:
        raise JudgeRefusal(
            f"every reading of {label!r} is the same and the step of the display is not known",
            next_step="Say with how many decimals the program shows its number.",
        )
    sign = 1 if metric.better is Better.HIGHER else -1
    room = sign * (side.mean - math.log(target))
    chance = _probability(room, by_boots, by_rounding, side.freedom)
    next_boot = _probability(room, by_boots + one_boot, by_rounding, side.freedom)
    return TargetResult(metric, side, target, chance, next_boot, _crossed(side, chance, math.log(target)))


def _probability(room: float, by_boots: float, by_rounding: float, freedom: int) -> float:
    tail = tail_beyond(abs(room), freedom, math.sqrt(by_boots), math.sqrt(by_rounding))
    return 1 - tail if room >= 0 else tail


def _crossed(side: Side, chance: float, line: float) -> bool | None:
    if is_stuck(side):
        span = rounding_span(side)
        if span.low < line < span.high:
            return None
    if chance >= CERTAIN:
        return True
    return False if chance <= 1 - CERTAIN else None


def _chance(chance: float) -> str:
    return "over 99.9 %" if chance > 0.999 else "under 0.1 %" if chance < 0.001 else f"{chance * 100:.1f} %"
