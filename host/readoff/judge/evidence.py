"""What the judge is given: readings as samples, gathered into boots, checked before anything is reckoned.

The boot is the unit of evidence. A boot's value is the mean of the logarithms of its readings, so a
program that prints a time and one that prints the rate of the same work lead to the same finding.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from readoff.errors import JudgeRefusal

# Spread (in logs) that is only the noise of floating-point arithmetic: such boots count as equal.
_ARITHMETIC_NOISE = 1e-12
# Readings beyond these are refused: their squares and ratios would not fit a float.
_SMALLEST, _LARGEST = 1e-150, 1e150


class Better(StrEnum):
    """Which way a metric is better."""

    HIGHER = "higher"
    LOWER = "lower"
    NEITHER = "neither"


@dataclass(frozen=True)
class Metric:
    """What is compared: its name, the unit of its readings, and which way is better."""

    name: str
    unit: str
    better: Better


@dataclass(frozen=True)
class Sample:
    """One reading used as evidence.

    boot: the boot it was taken in. value: in the metric's unit, above zero. quantum: the step of the
    display or timer that it was read with, in the same unit (0.1 for "72.9"), 0 when exact. run: where
    it came from. roundings: 1 for a displayed number, 2 for a timer read at start and stop. unit: the
    reading's own unit, "" for the metric's; another unit than the metric's is refused.
    """

    boot: str
    value: float
    quantum: float = 0.0
    run: int | str = ""
    roundings: int = 1
    unit: str = ""

    @property
    def reach(self) -> float:
        """How far the true value may lie from the value shown, in the metric's unit."""
        return self.roundings * self.quantum / 2


@dataclass(frozen=True)
class Side:
    """One configuration's evidence for one metric: its boots in order of appearance, in logs."""

    label: str
    samples: tuple[Sample, ...]
    boots: tuple[str, ...]
    logs: tuple[float, ...]  # one a boot: mean of ln(reading)

    @property
    def runs(self) -> tuple[int | str, ...]:
        """The runs that the readings came from, each once, in order."""
        return tuple(dict.fromkeys(sample.run for sample in self.samples))

    @property
    def mean(self) -> float:
        """Mean of the boots, ln(unit)."""
        return math.fsum(self.logs) / len(self.logs)

    @property
    def centre(self) -> float:
        """Geometric mean of the boots, in the metric's unit."""
        return math.exp(self.mean)

    @property
    def variance(self) -> float:
        """Variance of the boot means (S2 squared of Kalibera & Jones), in logs; 0.0 for a single boot."""
        if len(self.logs) < 2:
            return 0.0
        mean = self.mean
        variance = math.fsum((value - mean) ** 2 for value in self.logs) / (len(self.logs) - 1)
        return variance if variance > _ARITHMETIC_NOISE**2 else 0.0

    @property
    def freedom(self) -> int:
        """Degrees of freedom of the variance: they come from the boots alone."""
        return len(self.logs) - 1


def gather(metric: Metric, label: str, samples: Sequence[Sample]) -> Side:
    """Check one configuration's samples and gather them into boots.

    Raises JudgeRefusal for no samples at all, a value that is zero, negative, not finite or absurd, another
    unit, or a display step as coarse as the reading itself.
    """
    if not samples:
        raise JudgeRefusal(
            f"there is no reading of {metric.name!r} in configuration {label!r}",
            next_step="Run the program there, or name a metric that both configurations have.",
        )
    for sample in samples:
        _check(metric, label, sample)
    by_boot: dict[str, list[float]] = {}
    for sample in samples:
        by_boot.setdefault(sample.boot, []).append(math.log(sample.value))
    logs = tuple(math.fsum(values) / len(values) for values in by_boot.values())
    return Side(label, tuple(samples), tuple(by_boot), logs)


def _check(metric: Metric, label: str, sample: Sample) -> None:
    where = f"{label}, boot {sample.boot}, run {sample.run}"
    if sample.unit and sample.unit != metric.unit:
        raise JudgeRefusal(
            f"a reading of {metric.name!r} is in {sample.unit!r} and the metric in {metric.unit!r}",
            where=where,
            next_step="Compare readings of one unit, or give the schema a formula that converts.",
        )
    if not math.isfinite(sample.value):
        raise JudgeRefusal(f"a reading of {metric.name!r} is not a number", where=where)
    if sample.value <= 0:
        kind = "zero" if sample.value == 0 else "negative"
        raise JudgeRefusal(
            f"a reading of {metric.name!r} is {kind} ({sample.value:g} {metric.unit}), and a ratio needs "
            "readings above zero",
            where=where,
            next_step="Look at the capture: a failed run is a result of its own, not a number.",
        )
    if not _SMALLEST <= sample.value <= _LARGEST:
        raise JudgeRefusal(
            f"a reading of {metric.name!r} ({sample.value:g} {metric.unit}) is far beyond what any program measures",
            where=where,
            next_step="Look at the capture.",
        )
    if not math.isfinite(sample.quantum) or sample.quantum < 0 or sample.roundings < 1:
        raise JudgeRefusal(f"the display step of a reading of {metric.name!r} makes no sense", where=where)
    if sample.reach >= sample.value:
        raise JudgeRefusal(
            f"a reading of {metric.name!r} ({sample.value:g} {metric.unit}) is no larger than what rounding "
            f"may add or take ({sample.reach:g})",
            where=where,
            next_step="Use a longer run or a finer display.",
        )
