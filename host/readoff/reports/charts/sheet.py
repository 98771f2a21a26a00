"""The sheet that every chart is drawn on: title, a column of names, a double margin line, the plot, and what it shows.

16 by 9, 1920 by 1080 as a picture. Drawn with matplotlib's objects alone: no window, and no state between two charts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from readoff.reports.charts.colours import Look

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

WIDTH, HEIGHT, DPI = 16.0, 9.0, 120
TITLE, NAME, TICK, FOOT = 27.0, 19.0, 17.0, 15.0
"""Sizes of letters, in points; none is under 15, which is 25 pixels of 1080."""

LEFT, PLOT_LEFT = 0.035, 0.27
PLOT_BOTTOM, PLOT_TOP = 0.20, 0.80
FAMILY = "DejaVu Sans"  # comes with matplotlib, so a chart is laid out alike everywhere
GRID = "_grid"  # the label of what gets no casing


class Sheet:
    """A figure with its plot. mark: what stands in the corner, so that nobody takes it for what it is not. right: where
    the plot ends, as a share of the width; names: whether names stand left.
    """

    def __init__(
        self,
        look: Look,
        title: str,
        subtitle: str,
        foot: Sequence[str],
        *,
        mark: str = "",
        right: float = 0.72,
        names: bool = True,
    ) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415 - costs 0.3 s
        from matplotlib.figure import Figure  # noqa: PLC0415

        self.look = look
        self.figure: Figure = Figure(figsize=(WIDTH, HEIGHT), dpi=DPI, facecolor=look.ground or "none")
        self._canvas: Any = FigureCanvasAgg(self.figure)
        self.left = PLOT_LEFT if names else 0.13
        self.right = right
        box = (self.left, PLOT_BOTTOM, right - self.left, PLOT_TOP - PLOT_BOTTOM)
        self.axes: Axes = self.figure.add_axes(box, facecolor="none")
        self.write(LEFT, 0.935, title, TITLE, width=0.70 if mark else 0.93, weight="bold")
        if mark:
            self.write(0.965, 0.935, mark, NAME, width=0.22, colour=look.accent, weight="bold", align="right")
        self.write(LEFT, 0.875, subtitle, NAME, width=0.93, colour=look.weak)
        for at, line in enumerate(foot):
            self.write(LEFT, 0.075 - 0.035 * at, line, FOOT, width=0.93, colour=look.weak)
        self._frame(self.left - (0.012 if names else 0.085))

    def _frame(self, margin: float) -> None:
        for side in ("top", "right", "left"):
            self.axes.spines[side].set_visible(False)
        self.axes.spines["bottom"].set(color=self.look.weak, linewidth=2)
        self.axes.tick_params(
            axis="both",
            colors=self.look.weak,
            labelsize=TICK,
            labelfontfamily=FAMILY,
            length=8,
            width=2,
            pad=8,
        )
        for at in (margin, margin + 0.0025):
            self._line((at, at), (PLOT_BOTTOM - 0.02, PLOT_TOP + 0.02), self.look.accent, 1.6)

    def _line(self, x: tuple[float, float], y: tuple[float, float], colour: str, width: float) -> None:
        from matplotlib.lines import Line2D  # noqa: PLC0415

        self.figure.add_artist(Line2D(x, y, color=colour, linewidth=width, label=GRID))

    def write(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        width: float,
        colour: str = "",
        weight: str = "normal",
        align: str = "left",
    ) -> Text:
        """Text at a place of the figure (shares of it), made smaller and then cut with … where it is too wide."""
        made = self.figure.text(
            x,
            y,
            shown(text),
            color=colour or self.look.ink,
            fontsize=size,
            fontweight=weight,
            fontfamily=FAMILY,
            ha=align,
            va="center",
        )
        self._fit(made, width * WIDTH * DPI)
        return made

    def _fit(self, text: Text, room: float) -> None:
        renderer = self.renderer
        while (wide := text.get_window_extent(renderer).width) > room:
            size = float(text.get_fontsize())
            if size > FOOT:
                text.set_fontsize(max(FOOT, min(size - 0.5, size * room / wide)))
                continue
            text.set_text(text.get_text().removesuffix("…")[:-1] + "…")

    @property
    def renderer(self) -> Any:
        """What measures letters, in pixels."""
        return self._canvas.get_renderer()

    def name(self, y: float, text: str, under: str = "") -> None:
        """A name in the left column, beside a height of the plot given as a share of it."""
        place = self.height(y)
        gap = 0.019 if under else 0.0
        room = self.left - LEFT - 0.022
        self.write(LEFT, place + gap, text, NAME, width=room, weight="bold")
        if under:
            self.write(LEFT, place - gap, under, FOOT, width=room, colour=self.look.weak)

    def note(self, y: float, text: str, under: str = "", *, colour: str = "") -> None:
        """What is said of a row, to the right of the plot."""
        place = self.height(y)
        gap = 0.019 if under else 0.0
        at = self.right + 0.015
        self.write(at, place + gap, text, NAME, width=0.985 - at, weight="bold", colour=colour)
        if under:
            self.write(at, place - gap, under, FOOT, width=0.985 - at, colour=self.look.weak)

    def height(self, share: float) -> float:
        """A share of the plot's height as one of the figure's."""
        return PLOT_BOTTOM + share * (PLOT_TOP - PLOT_BOTTOM)

    def axis(self, words: str) -> None:
        """What the axis at the bottom measures, with its unit."""
        self.write(
            (self.left + self.right) / 2,
            0.118,
            words,
            NAME,
            width=self.right - self.left + 0.2,
            align="center",
        )

    def rows(self, count: int) -> list[float]:
        """Heights of so many rows, as shares of the plot, the first at the top; a line between each two."""
        step = 1 / count
        for at in range(1, count):
            self.axes.axhline(1 - at * step, color=self.look.rule, linewidth=1, label=GRID, zorder=0)
        self.axes.set_ylim(0, 1)
        self.axes.set_yticks([])
        return [1 - (at + 0.5) * step for at in range(count)]

    def ticks(self, low: float, high: float, words: Sequence[tuple[float, str]]) -> None:
        """Limits and marks of the axis at the bottom, with thin lines up."""
        self.axes.set_xlim(low, high)
        self.axes.set_xticks([at for at, _ in words], [text for _, text in words])
        for at, _ in words:
            self.axes.axvline(at, color=self.look.rule, linewidth=0.8, label=GRID, zorder=0)


def shown(text: str) -> str:
    """Text that matplotlib writes as it is: no formulas, and nothing that no font has."""
    return "".join(c if c.isprintable() else "·" for c in text).replace("$", r"\$")


def round_steps(low: float, high: float, most: int = 6) -> list[float]:
    """Round numbers between two: steps of 1, 2 or 5 times a power of ten, about ``most`` at most."""
    rough = (high - low) / most
    power = 10 ** math.floor(math.log10(rough))
    step = power * next(s for s in (1, 2, 5, 10) if s * power >= rough * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [round(n * step, 12) for n in range(first, math.floor(high / step + 1e-9) + 1)]


def marks(low: float, high: float) -> list[tuple[float, str]]:
    """Round numbers between two, each with as many decimals as tell it from the next."""
    steps = round_steps(low, high)
    step = steps[1] - steps[0] if len(steps) > 1 else high - low
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    return [(at, minus(f"{at:.{decimals}f}")) for at in steps]


def span(values: Sequence[float]) -> tuple[float, float]:
    """Limits that hold all of some values, with some room; with more where they are all the same."""
    low, high = min(values), max(values)
    wide = high - low
    room = wide * 0.08 if wide > abs(high) * 1e-9 else abs(high) * 0.01 or 1.0
    return low - room, high + room


def minus(text: str) -> str:
    """A number with a true minus sign."""
    return text.replace("-", "−")


def boots(*counts: int) -> str:
    """How many boots: "n = 3 + 3 boots"."""
    total = " + ".join(map(str, counts))
    return f"n = {total} boot{'s' * (sum(counts) != 1)}"
