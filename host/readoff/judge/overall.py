"""One figure over several metrics: the geometric mean of ratios, and the weighted harmonic mean for rates.

The geometric mean of ratios does not depend on which configuration is the base (Fleming & Wallace, CACM 29(3),
1986); the arithmetic mean of ratios does. Its interval comes from composites: one number a boot, so that what
moves all metrics of a boot together is counted once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from readoff.errors import JudgeRefusal
from readoff.judge.compare import DEFAULT_MARGIN, check_margin, judge_sides
from readoff.judge.evidence import Better, Metric, Sample, Side, gather
from readoff.judge.finding import Finding


def geometric_mean(values: Sequence[float]) -> float:
    """Geometric mean. Raises JudgeRefusal for no values, or any not above zero."""
    if not values or not all(math.isfinite(value) and value > 0 for value in values):
        raise JudgeRefusal("a geometric mean needs values above zero")
    return math.exp(math.fsum(math.log(value) for value in values) / len(values))


def weighted_harmonic_mean(rates: Sequence[tuple[float, str]], weights: Sequence[float]) -> float:
    """Mean of rates (value, unit), weighed by the share of time each stands for: 1 / sum(w/rate), sum(w) = 1.

    J. E. Smith, CACM 31(10), 1988. Weights need not sum to one. Raises JudgeRefusal for mixed units, for rates
    or weights not above zero, and for lists of unequal length.
    """
    if len({unit for _, unit in rates}) > 1:
        units = ", ".join(sorted({unit for _, unit in rates}))
        raise JudgeRefusal(
            f"a mean over different units ({units}) means nothing",
            next_step="Use ratios, and their geometric mean.",
        )
    numbers = [rate for rate, _ in rates] + list(weights)
    if not rates or len(rates) != len(weights) or not all(math.isfinite(n) and n > 0 for n in numbers):
        raise JudgeRefusal("a harmonic mean needs rates above zero, each with a weight above zero")
    total = math.fsum(weights)
    return total / math.fsum(weight / rate for (rate, _), weight in zip(rates, weights, strict=True))


def overall(
    metrics: Sequence[Metric],
    base: Mapping[str, Sequence[Sample]],
    other: Mapping[str, Sequence[Sample]],
    *,
    base_label: str,
    other_label: str,
    margin: float = DEFAULT_MARGIN,
    looks: int = 1,
) -> Finding:
    """The finding over all metrics: geometric mean of ratios, turned so that above one is better.

    base, other: metric name -> samples. Only boots that have every metric count; the finding notes how many do
    not. Its values are relative to BASE (1 at BASE). looks: as in compare. Raises JudgeRefusal as compare does, and
    for a metric of which neither way is better.
    """
    check_margin(margin)
    if len(metrics) < 2:
        raise JudgeRefusal("an overall figure needs two metrics or more")
    for metric in metrics:
        if metric.better is Better.NEITHER:
            raise JudgeRefusal(f"{metric.name!r} has no better way, so it cannot enter an overall figure")
    level = _level(metrics, base, base_label)
    whole = Metric(f"overall figure (geometric mean of {len(metrics)} metrics)", "x base", Better.HIGHER)
    sides, notes = [], []
    for label, samples in ((base_label, base), (other_label, other)):
        side, missing = _composite(metrics, samples, label, level)
        sides.append(side)
        if missing:
            notes.append(f"{missing} of the boots of {label} lack a metric and are left out.")
    return judge_sides(whole, sides[0], sides[1], margin=margin, notes=tuple(notes), looks=looks)


def _gathered(metrics: Sequence[Metric], samples: Mapping[str, Sequence[Sample]], label: str) -> list[Side]:
    return [gather(metric, label, samples.get(metric.name, ())) for metric in metrics]


def _sign(metric: Metric) -> int:
    return 1 if metric.better is Better.HIGHER else -1


def _level(metrics: Sequence[Metric], samples: Mapping[str, Sequence[Sample]], label: str) -> float:
    sides = _gathered(metrics, samples, label)
    return math.fsum(_sign(m) * side.mean for m, side in zip(metrics, sides, strict=True)) / len(metrics)


def _composite(
    metrics: Sequence[Metric], samples: Mapping[str, Sequence[Sample]], label: str, level: float
) -> tuple[Side, int]:
    """One composite a boot, as a side of its own, and how many boots lacked a metric."""
    sides = _gathered(metrics, samples, label)
    tables = [dict(zip(side.boots, side.logs, strict=True)) for side in sides]
    every = [boot for boot in sides[0].boots if all(boot in table for table in tables)]
    seen = {boot for side in sides for boot in side.boots}
    if not every:
        raise JudgeRefusal(f"no boot of {label!r} has all {len(metrics)} metrics")
    composites = []
    for boot in every:
        logs = [_sign(metric) * table[boot] for metric, table in zip(metrics, tables, strict=True)]
        value = math.exp(math.fsum(logs) / len(logs) - level)
        # Steps add up as if all roundings leaned the same way: the careful side.
        steps = [_relative_step(side, boot) for side in sides]
        runs = sorted({str(s.run) for side in sides for s in side.samples if s.boot == boot})
        composites.append(Sample(boot, value, value * math.fsum(steps) / len(steps), "+".join(runs)))
    metric = Metric("overall", "", Better.HIGHER)
    return gather(metric, label, composites), len(seen) - len(every)


def _relative_step(side: Side, boot: str) -> float:
    steps = [s.quantum * s.roundings / s.value for s in side.samples if s.boot == boot]
    return math.fsum(steps) / len(steps)
