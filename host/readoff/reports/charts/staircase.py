"""The memory staircase: time per access against the size of the block read, with the levels that were found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from readoff.reports.charts.colours import Look
from readoff.reports.charts.sheet import FAMILY, FOOT, GRID, PLOT_TOP, TICK, Sheet, boots, shown

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_STAIRS = 5
_STYLES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)))
_LEAST_APART = 0.125  # of names at the right, as a share of the plot's height


@dataclass(frozen=True)
class Level:
    """A plateau. ns: time per access on it. low, high: octets between which it ends; None for the last one."""

    ns: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Stair:
    """One configuration: octets of each block, ns per access (over its boots), and what was found in it."""

    label: str
    octets: Sequence[float]
    ns: Sequence[float]
    boots: int
    levels: Sequence[Level] = ()


@dataclass(frozen=True)
class Staircase:
    """Some configurations of one machine. what: where the blocks lay."""

    machine: str
    stairs: Sequence[Stair]
    what: str = "conventional memory"
    mark: str = ""


def staircase_chart(data: Staircase, look: Look) -> Figure:
    """The figure. Both axes are logarithmic."""
    foot = [
        f"{boots(*(each.boots for each in data.stairs))}. Median over boots. Bars below the curves: where a level "
        "ends, between the two sizes beside it.",
        "A level is a size found by its time: a cache, or what maps addresses. Nothing is seen beyond the last size.",
    ]
    sheet = Sheet(
        look, f"Memory staircase, {data.what}", data.machine, foot, mark=data.mark, right=0.80, names=False
    )
    axes = sheet.axes
    axes.set_xscale("log", base=2)
    axes.set_yscale("log")
    octets = [each for stair in data.stairs for each in stair.octets]
    times = [each for stair in data.stairs for each in stair.ns]
    low, high = min(octets) / 1.15, max(octets) * 1.15
    powers = range(math.ceil(math.log2(low)), math.floor(math.log2(high)) + 1)
    every = max(1, math.ceil(len(powers) / 9))
    sheet.ticks(low, high, [(2.0**p, size_words(2.0**p)) for p in powers if p % every == 0])
    marked = sum(len(stair.levels) > 1 for stair in data.stairs)
    bottom = min(times) / (1.25 * 1.12**marked)
    top = max(times) * 1.25
    axes.set_ylim(bottom, top)
    marks = _steps(bottom, top)
    axes.set_yticks(marks, [f"{mark:g}" for mark in marks], fontsize=TICK)
    axes.minorticks_off()
    for mark in marks:
        axes.axhline(mark, color=look.rule, linewidth=0.8, label=GRID, zorder=0)
    sheet.axis("size of the block read (KiB = 1024 octets)")
    sheet.write(sheet.left + 0.004, PLOT_TOP + 0.022, "ns per access", TICK, width=0.3, colour=look.weak)
    row = 0
    for at, stair in enumerate(data.stairs):
        _curve(sheet, stair, at)
        if len(stair.levels) > 1:
            _ends(sheet, stair, at, bottom * 1.13 ** (row + 0.6))
            row += 1
    _names(sheet, data.stairs, bottom, top)
    return sheet.figure


def _curve(sheet: Sheet, stair: Stair, at: int) -> None:
    sheet.axes.plot(
        list(stair.octets),
        list(stair.ns),
        color=sheet.look.colour(at),
        linewidth=4,
        linestyle=_STYLES[at % len(_STYLES)],
        marker=sheet.look.marker(at),
        markersize=9,
        zorder=3,
    )


def _ends(sheet: Sheet, stair: Stair, at: int, height: float) -> None:
    """Where each level ends, as a bar between two sizes, and the time on it."""
    for level in stair.levels:
        if level.low is None or level.high is None:
            continue
        sheet.axes.plot(
            [level.low, level.high],
            [height, height],
            color=sheet.look.colour(at),
            linewidth=9,
            solid_capstyle="butt",
            zorder=2,
        )
        sheet.axes.annotate(
            shown(f"{level.ns:.3g} ns up to {span_words(level.low, level.high)}"),
            (level.low, height),
            xytext=(-8, 0),
            textcoords="offset points",
            ha="right",
            va="center",
            fontsize=FOOT,
            fontfamily=FAMILY,
            color=sheet.look.ink,
            zorder=5,
        )


def _names(sheet: Sheet, stairs: Sequence[Stair], bottom: float, top: float) -> None:
    """The curves' names at their ends, moved apart where they would lie on each other."""
    places = [math.log(stair.ns[-1] / bottom) / math.log(top / bottom) for stair in stairs]
    last = math.inf
    for at in sorted(range(len(stairs)), key=lambda each: -places[each]):
        last = min(places[at], last - _LEAST_APART)
        stair, look = stairs[at], sheet.look
        levels = f"{len(stair.levels)} level{'s' * (len(stair.levels) != 1)}, " if stair.levels else ""
        sheet.axes.plot(
            [stair.octets[-1]],
            [stair.ns[-1]],
            marker=look.marker(at),
            markersize=14,
            color=look.colour(at),
            zorder=4,
        )
        sheet.note(last, stair.label, f"{levels}{boots(stair.boots)}", colour=look.colour(at))


def size_words(octets: float) -> str:
    """A size in KiB or MiB (IEC 80000-13)."""
    unit, value = ("MiB", octets / 2**20) if octets >= 2**20 else ("KiB", octets / 2**10)
    return f"{value:.3g} {unit}"


def span_words(low: float, high: float) -> str:
    """Two sizes, the unit once where it is the same: "8–16 KiB"."""
    one, two = size_words(low), size_words(high)
    number, unit = one.split(" ")
    return f"{number}–{two}" if two.endswith(unit) else f"{one} to {two}"


def _steps(low: float, high: float) -> list[float]:
    """1, 2 and 5 times powers of ten between two numbers."""
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    return [s * 10.0**p for p in powers for s in (1, 2, 5) if low <= s * 10.0**p <= high]
