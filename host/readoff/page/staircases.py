"""Where things lie in a chart of memory staircases, a curve for each configuration. Numbers only: templates draw.

Both axes are logarithmic. Bars below the curves show between which two sizes a level ends.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from readoff.page.charts import Tick
from readoff.snapshots.measured import STAIRCASES, kib
from readoff.snapshots.staircase import Step
from readoff.store import Store
from readoff.store.staircases import Curve, of_label, of_run

LEFT, RIGHT, TOP = 62, 470, 34
HEIGHT = 230
BAR = 12
"""Of the bars that show where a level ends: a row for each curve."""
_NAMES_APART = 24
_MOST_NAME = 18
_PLACES = {"conventional": "conventional memory", "extended": "memory beyond 1 MB"}


@dataclass(frozen=True)
class Drawn:
    """One curve. path: of an SVG. name_y: where its name stands. bars: (left, width) of each step; bar_y: their row."""

    label: str
    name: str
    number: int
    path: str
    name_y: float
    bars: tuple[tuple[float, float], ...]
    bar_y: float


@dataclass(frozen=True)
class StairChart:
    """Curves of one place. words: all of it in sentences. bottom: the lower edge of the plot; height: of the chart."""

    title: str
    curves: tuple[Drawn, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    bottom: int
    height: int
    words: tuple[str, ...]


def staircases_of_labels(store: Store, labels: Sequence[str]) -> list[StairChart]:
    """A chart for each place that any of the configurations has a staircase of."""
    curves = [[of_label(store, label, region) for label in labels] for region in STAIRCASES.values()]
    return list(_charts([each for each in place if each] for place in curves))


def staircases_of_run(store: Store, run: int) -> list[StairChart]:
    """The same for one run."""
    return list(_charts([each] for each in of_run(store, run)))


def _charts(places: Iterable[list[Curve]]) -> Iterable[StairChart]:
    for curves in places:
        if curves:
            yield stair_chart(curves)


def stair_chart(curves: Sequence[Curve]) -> StairChart:
    """Curves of one place on the same axes. None of them may be empty."""
    octets = [each for curve in curves for each in (curve.octets[0], curve.octets[-1])]
    ns = [each for curve in curves for each in curve.middle]
    bottom = TOP + HEIGHT
    along = _Logs(min(octets), max(octets), LEFT, RIGHT)
    up = _Logs(min(ns) / 1.15, max(ns) * 1.15, bottom, TOP)
    ends = [up.at(curve.middle[-1]) for curve in curves]
    names = dict(zip(_order(ends), _apart([ends[at] for at in _order(ends)]), strict=True))
    drawn = tuple(
        Drawn(
            curve.label,
            curve.label if len(curve.label) <= _MOST_NAME else curve.label[: _MOST_NAME - 1] + "…",
            number,
            _path(curve, along, up),
            names[number],
            tuple(_bar(step, along) for step in curve.found.steps),
            bottom + 8 + BAR * number,
        )
        for number, curve in enumerate(curves)
    )
    axis = bottom + 8 + BAR * len(curves) + 4
    return StairChart(
        f"Memory staircase, {_PLACES[curves[0].region]}",
        drawn,
        tuple(Tick(along.at(each), kib(each)) for each in _octaves(min(octets), max(octets))),
        tuple(Tick(up.at(each), f"{each:g}") for each in _round(min(ns) / 1.15, max(ns) * 1.15)),
        axis,
        axis + 44,
        tuple(map(_words, curves)),
    )


def _words(curve: Curve) -> str:
    """A curve in a sentence."""
    boots = f"{curve.boots} boot" + "s" * (curve.boots != 1)
    levels = curve.found.levels
    told = [f"{level.ns:.3g} ns" for level in levels]
    ends = [f"between {kib(step.low)} and {kib(step.high)} KiB" for step in curve.found.steps]
    parts = [f"{curve.label} ({boots}): " + (", then ".join(told) if told else "no level found")]
    if ends:
        parts.append(f"a level ends {', and '.join(ends)}")
    if curve.found.unended:
        parts.append("the time still changes where the sweep ends")
    return "; ".join(parts) + "."


def _path(curve: Curve, along: _Logs, up: _Logs) -> str:
    points = [
        f"{along.at(octets)} {up.at(ns)}" for octets, ns in zip(curve.octets, curve.middle, strict=True)
    ]
    return "M" + " L".join(points)


def _bar(step: Step, along: _Logs) -> tuple[float, float]:
    left, right = along.at(step.low), along.at(step.high)
    return left, round(max(right - left, 3.0), 1)


def _order(ends: Sequence[float]) -> list[int]:
    return sorted(range(len(ends)), key=lambda at: ends[at])


def _apart(ends: Sequence[float]) -> list[float]:
    """Places from the top down, none nearer to the one above than a line of text."""
    placed: list[float] = []
    for end in ends:
        placed.append(max(end, placed[-1] + _NAMES_APART) if placed else end)
    over = max(0.0, placed[-1] - (TOP + HEIGHT))
    return [round(each - over, 1) for each in placed]


def _octaves(low: float, high: float) -> list[float]:
    """Powers of two, as many as have room for their names."""
    first, last = math.ceil(math.log2(low)), math.floor(math.log2(high))
    step = max(1, math.ceil((last - first + 1) / 7))
    return [2.0**each for each in range(first, last + 1, step)]


def _round(low: float, high: float) -> list[float]:
    """1, 2 and 5 times the powers of ten between two numbers."""
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    return [each for power in powers for digit in (1, 2, 5) if low <= (each := digit * 10.0**power) <= high]


class _Logs:
    """Values -> places on a logarithmic axis."""

    def __init__(self, low: float, high: float, begin: float, end: float) -> None:
        self._low, self._span = math.log(low), (math.log(high) - math.log(low)) or 1.0
        self._begin, self._length = begin, end - begin

    def at(self, value: float) -> float:
        return round(self._begin + self._length * (math.log(value) - self._low) / self._span, 1)
