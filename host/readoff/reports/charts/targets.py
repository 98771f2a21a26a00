"""A metric of each configuration against the lines that the tester drew: bars, and so an axis that begins at zero."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from readoff.judge.sentence import plain_number
from readoff.reports.charts.boots import BootsOf
from readoff.reports.charts.colours import Look
from readoff.reports.charts.sheet import NAME, PLOT_TOP, Sheet, boots, marks

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_ROWS = 8


@dataclass(frozen=True)
class TargetLine:
    """A line that the tester drew. words: what it means."""

    at: float
    words: str


@dataclass(frozen=True)
class Targets:
    """One metric with its lines. said: label -> how it stands against them, in a few words."""

    name: str
    unit: str
    way: str
    machine: str
    rows: Sequence[BootsOf]
    lines: Sequence[TargetLine]
    said: dict[str, str]
    mark: str = ""


def target_chart(data: Targets, look: Look) -> Figure:
    """The figure."""
    foot = [
        f"{boots(*(len(row.boots) for row in data.rows))}. Bar: geometric mean over boots, from zero. Point: a boot's "
        "mean.",
        "Dashed: what the tester set as the target.",
    ]
    under = f"{data.machine}; {data.way}".strip("; ")
    sheet = Sheet(look, f"{data.name} against its target", under, foot, mark=data.mark)
    highest = [boot.mean for row in data.rows for boot in row.boots] + [line.at for line in data.lines]
    high = max(highest) * 1.08
    sheet.ticks(0, high, marks(0, high))
    sheet.axis(f"{data.name} ({data.unit})" if data.unit else data.name)
    axes = sheet.axes
    height = 0.5 / len(data.rows)
    for at, (row, y) in enumerate(zip(data.rows, sheet.rows(len(data.rows)), strict=True)):
        colour = look.colour(at)
        axes.barh(
            [y],
            [row.mean],
            height=height,
            left=0,
            facecolor=colour,
            alpha=0.45,
            edgecolor=colour,
            linewidth=2,
        )
        axes.plot(
            [boot.mean for boot in row.boots],
            [y] * len(row.boots),
            marker=look.marker(at),
            markersize=13,
            markeredgewidth=2.5,
            markeredgecolor=look.ink,
            markerfacecolor="none",
            linestyle="none",
            zorder=4,
        )
        sheet.name(y, row.label, row.under)
        value = f"{plain_number(row.mean)} {data.unit}".rstrip()
        sheet.note(y, value, data.said.get(row.label, ""))
    _lines(sheet, data, high)
    return sheet.figure


def _lines(sheet: Sheet, data: Targets, high: float) -> None:
    for at, line in enumerate(sorted(data.lines, key=lambda each: each.at)):
        sheet.axes.axvline(line.at, color=sheet.look.accent, linewidth=3.5, linestyle=(0, (4, 2)), zorder=3)
        place = sheet.left + (sheet.right - sheet.left) * line.at / high
        words = f"{plain_number(line.at)} {data.unit}: {line.words}".rstrip(": ")
        sheet.write(
            place,
            PLOT_TOP + 0.018 + 0.03 * (at % 2),
            words,
            NAME - 2,
            width=0.3,
            colour=sheet.look.accent,
            weight="bold",
            align="right" if line.at > high * 0.3 else "left",
        )
