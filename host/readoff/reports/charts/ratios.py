"""The change of each metric, with its 95 % interval, against the smallest difference that matters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from readoff.judge.sentence import per_cent
from readoff.reports.charts.colours import Look
from readoff.reports.charts.sheet import GRID, Sheet, boots, minus, round_steps

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_ROWS = 7


@dataclass(frozen=True)
class Ratio:
    """One comparison. ratio, low, high: OTHER ÷ BASE of the readings as printed, and its 95 % interval.

    name: the metric, or the configuration. way: which way is better, or what it is. margin: the smallest
    difference that matters (0.02). verdict: what was found, in a word or two. found: 1 better, -1 worse, 0 neither.
    """

    name: str
    way: str
    ratio: float
    low: float
    high: float
    margin: float
    verdict: str
    found: int
    base_boots: int
    other_boots: int


@dataclass(frozen=True)
class Ratios:
    """Some comparisons. base: what all of them are held against, "" where that is not one. mark: what stands in the
    corner (that the data is invented, say).
    """

    title: str
    base: str
    under: str
    rows: Sequence[Ratio]
    mark: str = ""


SIGNS = {1: "▲", -1: "▼", 0: ""}


def ratio_chart(data: Ratios, look: Look) -> Figure:
    """The figure."""
    counts = {(row.base_boots, row.other_boots) for row in data.rows}
    alike = boots(*next(iter(counts))) if len(counts) == 1 else "n boots with each"
    foot = [
        f"{alike} (base + other). Line: 95 % interval. Point: ratio of the geometric means over boots.",
        "Shaded: less than what was declared to matter.",
    ]
    sheet = Sheet(look, data.title, data.under, foot, mark=data.mark)
    low, high = _limits(data.rows)
    marks = round_steps((low - 1) * 100, (high - 1) * 100)
    sheet.ticks(low, high, [(1 + mark / 100, _signed(mark)) for mark in marks])
    sheet.axis(f"change of the reading, per cent of {data.base or 'what it is held against'}")
    places = sheet.rows(len(data.rows))
    axes = sheet.axes
    axes.axvline(1, color=look.ink, linewidth=2, zorder=1)
    half = 0.38 / len(data.rows)
    for row, y in zip(data.rows, places, strict=True):
        least, most = 1 / (1 + row.margin), 1 + row.margin
        axes.fill_between(
            [least, most],
            y - half,
            y + half,
            facecolor=look.band,
            edgecolor=look.rule,
            linewidth=1,
            label=GRID,
            zorder=0.5,
        )
        colour = look.colour(0 if row.found >= 0 else 1) if row.found else look.ink
        axes.plot([row.low, row.high], [y, y], color=colour, linewidth=6, solid_capstyle="butt", zorder=3)
        axes.plot(
            [row.ratio],
            [y],
            marker="D" if row.found else "o",
            markersize=17,
            color=colour,
            linestyle="none",
            zorder=4,
        )
        sheet.name(y, row.name, row.way)
        own = f"; {boots(row.base_boots, row.other_boots)}" if len(counts) > 1 else ""
        span = f"{minus(per_cent(row.low))} to {minus(per_cent(row.high))}{own}"
        sheet.note(y, f"{SIGNS[row.found]} {row.verdict}".strip(), span)
    return sheet.figure


def _limits(rows: Sequence[Ratio]) -> tuple[float, float]:
    low = min(min(row.low, 1 / (1 + row.margin)) for row in rows)
    high = max(max(row.high, 1 + row.margin) for row in rows)
    room = (high - low) * 0.07
    return low - room, high + room


def _signed(change: float) -> str:
    return "0" if change == 0 else minus(f"{change:+.6g} %")
