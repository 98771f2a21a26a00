"""Price against gain: what each configuration that can be bought costs, and what it gains with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from readoff.judge.sentence import plain_number
from readoff.reports.charts.colours import Look
from readoff.reports.charts.sheet import (
    DPI,
    FAMILY,
    FOOT,
    GRID,
    NAME,
    PLOT_TOP,
    TICK,
    WIDTH,
    Sheet,
    boots,
    minus,
    round_steps,
    shown,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Offered:
    """One configuration. price: above leaving all as it is. gain, low, high: per cent, more is better, 95 % interval.

    beaten: by which better buy, in words, or "". boots: of it.
    """

    label: str
    price: float
    gain: float
    low: float
    high: float
    boots: int
    beaten: str = ""


@dataclass(frozen=True)
class WorthData:
    """One metric. base_boots: of the configuration that all is held against."""

    name: str
    base: str
    base_boots: int
    machine: str
    currency: str
    offers: Sequence[Offered]
    margin: float
    mark: str = ""


def worth_chart(data: WorthData, look: Look) -> Figure:
    """The figure. Both axes hold zero: leaving all as it is costs nothing and gains nothing."""
    counts = boots(data.base_boots, *(each.boots for each in data.offers))
    foot = [
        f"{counts} ({', '.join([data.base, *(each.label for each in data.offers)])}). Upright line: 95 % interval "
        "of the gain.",
        "Shaded: less than what was declared to matter. Hollow: another one is the better buy.",
    ]
    title = f"Price against gain: {data.name}"
    sheet = Sheet(
        look, title, f"{data.machine}; against {data.base}", foot, mark=data.mark, right=0.95, names=False
    )
    axes = sheet.axes
    dearest = max(each.price for each in data.offers) or 1.0
    sheet.ticks(
        -dearest * 0.06,
        dearest * 1.3,
        [(at, f"{at:.6g}") for at in round_steps(0, dearest * 1.2) if at >= 0],
    )
    sheet.axis("price above leaving all as it is" + (f" ({data.currency})" if data.currency else ""))
    low = min(0.0, *(each.low for each in data.offers))
    high = max(data.margin * 100, *(each.high for each in data.offers))
    room = (high - low) * 0.12
    axes.set_ylim(low - room, high + room)
    marks = round_steps(low - room, high + room, 5)
    axes.set_yticks(marks, ["0" if mark == 0 else minus(f"{mark:+.6g} %") for mark in marks], fontsize=TICK)
    axes.axhline(0, color=look.ink, linewidth=2, zorder=1)
    axes.axhspan(
        (1 / (1 + data.margin) - 1) * 100, data.margin * 100, facecolor=look.band, label=GRID, zorder=0
    )
    axes.plot([0], [0], marker="o", markersize=15, color=look.ink, linestyle="none", zorder=3)
    for at, each in enumerate(data.offers):
        _offer(sheet, each, at)
    _names(sheet, data)
    words = f"gain in {data.name}, per cent of {data.base}"
    sheet.write(sheet.left + 0.004, PLOT_TOP + 0.022, words, FOOT, width=0.5, colour=look.weak)
    return sheet.figure


def _offer(sheet: Sheet, each: Offered, at: int) -> None:
    look, axes = sheet.look, sheet.axes
    colour = look.colour(at)
    axes.plot(
        [each.price, each.price],
        [each.low, each.high],
        color=colour,
        linewidth=5,
        solid_capstyle="butt",
        zorder=2,
    )
    axes.plot(
        [each.price],
        [each.gain],
        marker=look.marker(at),
        markersize=18,
        markeredgewidth=3.5,
        markeredgecolor=colour,
        markerfacecolor=(look.ground or look.casing) if each.beaten else colour,
        linestyle="none",
        zorder=4,
    )


# Where a name may stand beside its point, in points, the best place first.
_PLACES = [(sign * 18, up) for up in (0, 34, -34, 62, -62, 90, -90) for sign in (1, -1)]


def _names(sheet: Sheet, data: WorthData) -> None:
    """Names beside their points, each where it lies on no other name and on no point."""
    points = [(0.0, 0.0), *((each.price, each.gain) for each in data.offers)]
    texts = [shown(f"{data.base}: as it is"), *(_told(each, data.currency) for each in data.offers)]
    taken = [_around(sheet, point) for point in points]
    for at, (point, text) in enumerate(zip(points, texts, strict=True)):
        others = [*taken[:at], *taken[at + 1 :], _zero_line(sheet)]
        for place in _PLACES:
            made = _label(sheet, point, text, place)
            box = made.get_window_extent(sheet.renderer)
            inside = box.x0 > 0 and box.x1 < WIDTH * DPI and sheet.axes.bbox.y0 < box.y0 < sheet.axes.bbox.y1
            if (inside and not any(box.overlaps(other) for other in others)) or place == _PLACES[-1]:
                taken.append(box)
                break
            made.remove()


def _told(each: Offered, currency: str) -> str:
    price = f"{plain_number(each.price)} {currency}".rstrip()
    better = f"\nbetter buy: {shown(each.beaten)}" if each.beaten else ""
    return shown(f"{each.label}: {minus(f'{each.gain:+.3g}')} % for {price}") + better


def _around(sheet: Sheet, point: tuple[float, float]) -> Any:
    """The room that a point takes, in pixels."""
    from matplotlib.transforms import Bbox  # noqa: PLC0415

    x, y = sheet.axes.transData.transform(point)
    return Bbox.from_extents(x - 16, y - 16, x + 16, y + 16)


def _zero_line(sheet: Sheet) -> Any:
    """The room that the line of no gain takes, in pixels."""
    from matplotlib.transforms import Bbox  # noqa: PLC0415

    _, y = sheet.axes.transData.transform((0, 0))
    return Bbox.from_extents(sheet.axes.bbox.x0, y - 3, sheet.axes.bbox.x1, y + 3)


def _label(sheet: Sheet, point: tuple[float, float], text: str, place: tuple[int, int]) -> Any:
    return sheet.axes.annotate(
        text,
        point,
        xytext=place,
        textcoords="offset points",
        fontsize=NAME,
        fontfamily=FAMILY,
        fontweight="bold",
        color=sheet.look.ink,
        ha="left" if place[0] > 0 else "right",
        va="center",
        zorder=5,
    )
