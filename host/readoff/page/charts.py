"""Where things lie in the two charts of a finding. Numbers only: the templates draw them.

The interval chart: how much OTHER differs from BASE, in per cent, against the smallest difference that matters.
The boots chart: every boot as a point, every reading as a tick, a row for each configuration.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from readoff.judge import Finding
from readoff.reports.charts.sheet import round_steps
from readoff.reports.comparison import Evidence, by_boot, mean_of

WIDTH = 640
_LEFT, _RIGHT = 28, 612
ROW = 64
LIFT = 20
_TOO_NEAR = 18
_MOST_TICKS = 7


@dataclass(frozen=True)
class Tick:
    """A mark of an axis."""

    x: float
    text: str


@dataclass(frozen=True)
class IntervalChart:
    """Places across the chart, in its own units; words: all of it in a sentence, for those who do not see it."""

    low: float
    high: float
    point: float
    zero: float
    band_low: float
    band_high: float
    band_text: str
    ticks: tuple[Tick, ...]
    words: str


@dataclass(frozen=True)
class BootPoint:
    """A boot's mean and its readings. name: of the boot; lift: how far it is moved off others at the same place."""

    x: float
    lift: int
    name: str
    text: str
    readings: tuple[float, ...]


@dataclass(frozen=True)
class BootRow:
    """A configuration's boots."""

    label: str
    y: float
    boots: tuple[BootPoint, ...]


@dataclass(frozen=True)
class BootChart:
    """The boots of both sides on one axis."""

    rows: tuple[BootRow, ...]
    ticks: tuple[Tick, ...]
    unit: str
    height: int
    words: str


def per_cent(ratio: float) -> str:
    """A ratio as a change: 1.044 is +4.4 %."""
    change = (ratio - 1) * 100
    places = 2 if abs(change) < 1 else 1
    return f"{change:+.{places}f} %".replace("-", "−")


def interval_chart(finding: Finding) -> IntervalChart:
    """The 95 % interval against the margin."""
    span, margin = finding.interval95, finding.margin
    least, most = 1 / (1 + margin), 1 + margin
    scale = _Scale([span.low, span.high, least, most, 1.0])
    ticks = tuple(
        Tick(scale.at(1 + t / 100), _signed(t))
        for t in round_steps((scale.low - 1) * 100, (scale.high - 1) * 100, _MOST_TICKS)
    )
    words = (
        f"{finding.other_label} differs from {finding.base_label} by {per_cent(finding.ratio)}; 95 % interval from "
        f"{per_cent(span.low)} to {per_cent(span.high)}; what matters begins at {margin * 100:.3g} %"
    )
    return IntervalChart(
        scale.at(span.low),
        scale.at(span.high),
        scale.at(finding.ratio),
        scale.at(1),
        scale.at(least),
        scale.at(most),
        f"within ±{margin * 100:.3g} %: too small to matter",
        ticks,
        words,
    )


def boot_chart(
    base: Sequence[Evidence], other: Sequence[Evidence], labels: tuple[str, str]
) -> BootChart | None:
    """Every boot of both sides; None where there is nothing, several units, or something that has no logarithm."""
    values = [each.reading.approximate for each in (*base, *other)]
    units = {each.reading.unit for each in (*base, *other)}
    if len(units) != 1 or min(values) <= 0:
        return None
    scale = _Scale(values)
    rows, y = [], 40
    for label, side in zip(labels, (base, other), strict=True):
        boots = tuple(_boots(side, scale))
        y += max((boot.lift for boot in boots), default=0)
        rows.append(BootRow(label, y, boots))
        y += ROW
    unit = units.pop()
    words = "; ".join(
        f"{row.label}, {len(row.boots)} boots: " + ", ".join(boot.text for boot in row.boots) for row in rows
    )
    ticks = tuple(Tick(scale.at(t), f"{t:.6g}") for t in round_steps(scale.low, scale.high, _MOST_TICKS))
    return BootChart(tuple(rows), ticks, unit, y + 30, f"{words} ({unit})")


def _boots(side: Sequence[Evidence], scale: _Scale) -> Iterable[BootPoint]:
    seen: list[float] = []
    for boot, members in by_boot(side).items():
        mean = mean_of(members)
        at = scale.at(mean)
        lift = LIFT * sum(abs(at - other) < _TOO_NEAR for other in seen)
        seen.append(at)
        readings = tuple(scale.at(each.reading.approximate) for each in members)
        yield BootPoint(at, lift, boot, f"{mean:.5g}", readings)


class _Scale:
    """Values -> places across the chart, with some room at both ends."""

    def __init__(self, values: Sequence[float]) -> None:
        low, high = min(values), max(values)
        room = (high - low) * 0.08 or abs(high) * 0.01 or 1.0
        self.low, self.high = low - room, high + room

    def at(self, value: float) -> float:
        return round(_LEFT + (_RIGHT - _LEFT) * (value - self.low) / (self.high - self.low), 1)


def _signed(value: float) -> str:
    return "0" if value == 0 else f"{value:+g} %".replace("-", "−")
