"""Values for one chart of each kind; all invented."""

from __future__ import annotations

from collections.abc import Callable

from readoff.reports import charts
from readoff.reports.charts import drawn
from readoff.reports.charts.drawing import Drawn

MACHINE = "an invented desk-486"
NOTE = "Invented data"


def _boots(label: str, rates: list[tuple[float, ...]]) -> charts.BootsOf:
    boots = [charts.Boot(sum(each) / len(each), each) for each in rates]
    return charts.BootsOf(label, boots, sum(each.mean for each in boots) / len(boots), "no wait states")


ROWS = (
    _boots("as-found", [(72.9, 73.0), (72.8, 72.9), (73.0, 73.1)]),
    _boots("zero-ws", [(76.1, 76.2), (76.3, 76.2), (76.0, 76.1)]),
    _boots("fast-card", [(88.4, 88.1), (87.9, 88.0), (88.6, 88.3)]),
)
RATIOS = charts.Ratios(
    "zero-ws against as-found",
    "as-found",
    MACHINE,
    (
        charts.Ratio("rate of replay", "higher is better", 1.0439, 1.0411, 1.0467, 0.01, "faster", 1, 3, 3),
        charts.Ratio("seconds of solve", "lower is better", 0.991, 0.972, 1.0104, 0.02, "undecided", 0, 3, 3),
        charts.Ratio("speed of mixed loop", "higher is better", 0.961, 0.95, 0.972, 0.02, "slower", -1, 3, 3),
        charts.Ratio(
            "rate of integer loop",
            "higher is better",
            1.001,
            0.998,
            1.004,
            0.02,
            "no difference that matters",
            0,
            3,
            3,
        ),
    ),
    NOTE,
)
BOOTS = charts.Boots("rate of replay", "frames/s", "higher is better", MACHINE, ROWS, NOTE)
TARGETS = charts.Targets(
    "rate of replay",
    "frames/s",
    "higher is better",
    MACHINE,
    ROWS,
    (charts.TargetLine(80, "playable"), charts.TargetLine(60, "bearable")),
    {"as-found": "does not reach 80", "zero-ws": "does not reach 80", "fast-card": "reaches 80"},
    NOTE,
)
WORTH = charts.WorthData(
    "rate of replay",
    "as-found",
    3,
    MACHINE,
    "EUR",
    (
        charts.Offered("zero-ws", 10, 4.4, 4.1, 4.7, 3),
        charts.Offered("old-card", 30, 3.1, 1.0, 5.2, 3, "zero-ws"),
        charts.Offered("fast-card", 25, 21.0, 20.1, 21.9, 3),
    ),
    0.01,
    NOTE,
)
_SIZES = [2.0**p for p in range(10, 23)]


def _stair(label: str, steps: list[tuple[float, float]], last: float) -> charts.Stair:
    ns = [next((t for size, t in steps if each <= size), last) for each in _SIZES]
    levels = [charts.Level(t, size, size * 2) for size, t in steps] + [charts.Level(last)]
    return charts.Stair(label, _SIZES, ns, 3, levels)


STAIRCASE = charts.Staircase(
    MACHINE,
    (
        _stair("as-found", [(8192, 31.0), (262144, 78.0)], 190.0),
        _stair("cache-off", [(8192, 31.5)], 196.0),
        _stair("zero-ws", [(8192, 30.0), (262144, 61.0)], 150.0),
    ),
    mark=NOTE,
)
EVERY: dict[str, Callable[[], Drawn]] = {
    "ratios": lambda: drawn("ratios", "Ratios", "in words", lambda look: charts.ratio_chart(RATIOS, look)),
    "boots": lambda: drawn("boots", "Boots", "in words", lambda look: charts.boots_chart(BOOTS, look)),
    "targets": lambda: drawn(
        "targets", "Targets", "in words", lambda look: charts.target_chart(TARGETS, look)
    ),
    "worth": lambda: drawn("worth", "Worth", "in words", lambda look: charts.worth_chart(WORTH, look)),
    "staircase": lambda: drawn(
        "staircase", "Stairs", "in words", lambda look: charts.staircase_chart(STAIRCASE, look)
    ),
}
