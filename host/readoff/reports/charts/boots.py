"""Every boot of every configuration as a point, its runs as ticks: what the evidence looks like."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from readoff.judge.sentence import plain_number
from readoff.reports.charts.colours import Look
from readoff.reports.charts.sheet import Sheet, boots, marks, span

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_ROWS = 8


@dataclass(frozen=True)
class Boot:
    """One boot: the mean of its readings, and the readings."""

    mean: float
    readings: Sequence[float]


@dataclass(frozen=True)
class BootsOf:
    """One configuration, its boots in the order taken. mean: over them. under: what it is, in words."""

    label: str
    boots: Sequence[Boot]
    mean: float
    under: str = ""


@dataclass(frozen=True)
class Boots:
    """One metric over some configurations."""

    name: str
    unit: str
    way: str
    machine: str
    rows: Sequence[BootsOf]
    mark: str = ""


def boots_chart(data: Boots, look: Look) -> Figure:
    """The figure. Points, not bars: the axis shows the readings' range and need not begin at zero."""
    runs = sum(len(boot.readings) for row in data.rows for boot in row.boots)
    foot = [
        f"{boots(*(len(row.boots) for row in data.rows))}, {runs} runs. Point: a boot's mean. Tick: a run. Upright "
        "line: geometric mean over boots.",
        "Boots from top to bottom in the order taken.",
    ]
    sheet = Sheet(look, data.name, f"{data.machine}; {data.way}".strip("; "), foot, mark=data.mark)
    values = [value for row in data.rows for boot in row.boots for value in (*boot.readings, boot.mean)]
    low, high = span(values)
    sheet.ticks(low, high, marks(low, high))
    sheet.axis(f"{data.name} ({data.unit})" if data.unit else data.name)
    for at, (row, y) in enumerate(zip(data.rows, sheet.rows(len(data.rows)), strict=True)):
        _row(sheet, row, y, 1 / len(data.rows), at, data.unit)
    return sheet.figure


def _row(sheet: Sheet, row: BootsOf, y: float, height: float, at: int, unit: str) -> None:
    look, axes = sheet.look, sheet.axes
    colour, marker = look.colour(at), look.marker(at)
    room = height * 0.72
    step = room / len(row.boots)
    axes.plot(
        [row.mean, row.mean], [y - room / 2, y + room / 2], color=colour, linewidth=2.5, alpha=0.6, zorder=1
    )
    size = max(4.0, min(17.0, 300 * step))
    for place, boot in enumerate(row.boots):
        height_of = y + room / 2 - (place + 0.5) * step
        axes.plot(
            list(boot.readings),
            [height_of] * len(boot.readings),
            marker="|",
            markersize=size * 1.3,
            markeredgewidth=min(2.5, size / 4),
            color=look.ink,
            linestyle="none",
            zorder=2,
        )
        axes.plot(
            [boot.mean],
            [height_of],
            marker=marker,
            markersize=size,
            markeredgewidth=min(3.0, size / 4),
            markeredgecolor=colour,
            markerfacecolor="none",
            linestyle="none",
            zorder=3,
        )
    sheet.name(y, row.label, row.under)
    sheet.note(y, f"{plain_number(row.mean)} {unit}".rstrip(), boots(len(row.boots)))


def geometric_mean(values: Sequence[float]) -> float:
    """Of numbers above zero: what the judge takes a boot for."""
    return math.exp(math.fsum(map(math.log, values)) / len(values))
