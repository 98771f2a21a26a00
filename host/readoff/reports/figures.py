"""Which charts a publication has, and what stands in each: the publication's values as the charts take them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import TypeVar

from readoff.judge import Better, Verdict
from readoff.judge.sentence import per_cent, plain_number
from readoff.reports import charts
from readoff.reports.charts import Drawn, boots, ratios, staircase, targets
from readoff.reports.comparison import Evidence, by_boot, mean_of
from readoff.reports.publication import Measured, Publication, Told
from readoff.studies import Aim

_BETTER = {Better.HIGHER: "higher is better", Better.LOWER: "lower is better", Better.NEITHER: ""}
_FOUND = {Verdict.FASTER: 1, Verdict.SLOWER: -1}


class Names:
    """File names for charts: letters, digits and hyphens, none given twice."""

    def __init__(self) -> None:
        self._given: set[str] = set()

    def give(self, *words: str) -> str:
        """A name made of these words."""
        plain = "-".join(re.sub(r"[^a-z0-9]+", "-", word.lower()).strip("-") for word in words if word)
        base = name = (re.sub(r"-+", "-", plain) or "chart")[:80].strip("-")
        at = 1
        while name in self._given:
            at += 1
            name = f"{base}-{at}"
        self._given.add(name)
        return name


def figures_of(publication: Publication) -> Iterator[Drawn]:
    """Every chart of a publication, drawn."""
    names = Names()
    yield from _ratios(publication, names)
    for measured in publication.measured:
        yield from _boots(publication, measured, names)
        yield from _targets(publication, measured, names)
        yield from _worth(publication, measured, names)
    yield from _stairs(publication, names)


def _mark(publication: Publication) -> str:
    return "Invented data" if publication.invented else ""


# -- ratios --------------------------------------------------------------------------------------------------------


def _ratios(publication: Publication, names: Names) -> Iterator[Drawn]:
    """Against the base, a chart for each configuration or for each metric, whichever are fewer; then step by step."""
    told = [each for each in publication.told if each.finding]
    first = publication.configurations[0].label
    against_base = [each for each in told if each.base == first]
    others = dict.fromkeys(each.other for each in against_base)
    titles = dict.fromkeys(each.title for each in against_base)
    machine = publication.machine
    if len(others) <= len(titles):
        for other in sorted(others, key=partial(_place, publication)):
            rows = [_ratio(e, e.title, _way(e)) for e in against_base if e.other == other]
            yield from _ratio_charts(publication, names, f"{other} against {first}", machine, first, rows)
    else:
        for title in titles:
            found = [each for each in against_base if each.title == title]
            rows = [_ratio(e, e.other, _changes(publication, e.other)) for e in found]
            under = f"{machine}; {_way(found[0])}".rstrip("; ")
            yield from _ratio_charts(publication, names, f"{title}, against {first}", under, first, rows)
    step_by_step = [each for each in told if each.base != first]
    for title in dict.fromkeys(each.title for each in step_by_step):
        found = [each for each in step_by_step if each.title == title]
        rows = [_ratio(e, e.other, f"against {e.base}") for e in found]
        under = f"{machine}; {_way(found[0])}".rstrip("; ")
        yield from _ratio_charts(publication, names, f"{title}, against the one before", under, "", rows)


def _way(told: Told) -> str:
    return _BETTER[told.metric.better]


def _changes(publication: Publication, label: str) -> str:
    return publication.configurations[_place(publication, label)].changes


def _ratio_charts(
    publication: Publication, names: Names, title: str, under: str, base: str, rows: Sequence[charts.Ratio]
) -> Iterator[Drawn]:
    for part in _parts(rows, ratios.MOST_ROWS):
        data = charts.Ratios(title, base, under, part, _mark(publication))
        said = "; ".join(
            f"{row.name}: {row.verdict}, {per_cent(row.ratio)}, 95 % interval {per_cent(row.low)} to "
            f"{per_cent(row.high)}, what matters begins at {row.margin * 100:g} %, "
            f"{row.base_boots} + {row.other_boots} boots"
            for row in part
        )
        yield charts.drawn(
            names.give("ratio", title), title, f"{title}. {said}", partial(charts.ratio_chart, data)
        )


def _place(publication: Publication, label: str) -> int:
    return [each.label for each in publication.configurations].index(label)


def _ratio(told: Told, name: str, under: str) -> charts.Ratio:
    finding = told.finding
    assert finding is not None  # the caller's choice
    return charts.Ratio(
        name,
        under,
        finding.ratio,
        finding.interval95.low,
        finding.interval95.high,
        finding.margin,
        told.verdict,
        _FOUND.get(finding.verdict, 0),
        finding.base_boots,
        finding.other_boots,
    )


# -- boots and targets ---------------------------------------------------------------------------------------------


def _rows(publication: Publication, measured: Measured) -> list[charts.BootsOf]:
    """The configurations that have readings of a metric. Readings at or under zero have no logarithm: no chart then."""
    rows = []
    for each in publication.configurations:
        side = measured.evidence.get(each.label, ())
        if any(one.reading.approximate <= 0 for one in side):
            return []
        if side:
            found = [_boot(members) for members in _in_order(side, each.boots)]
            mean = boots.geometric_mean([boot.mean for boot in found])
            rows.append(charts.BootsOf(each.label, found, mean, each.changes))
    return rows


def _in_order(side: Sequence[Evidence], order: Sequence[str]) -> list[list[Evidence]]:
    found = by_boot(side)
    return [found[boot] for boot in dict.fromkeys([*order, *found]) if boot in found]


def _boot(members: Sequence[Evidence]) -> charts.Boot:
    return charts.Boot(mean_of(members), [each.reading.approximate for each in members])


def _boots(publication: Publication, measured: Measured, names: Names) -> Iterator[Drawn]:
    for part in _parts(_rows(publication, measured), boots.MOST_ROWS):
        unit = measured.metric.unit
        data = charts.Boots(
            measured.title,
            unit,
            _BETTER[measured.metric.better],
            publication.machine,
            part,
            _mark(publication),
        )
        yield charts.drawn(
            names.give("boots", measured.title),
            f"{measured.title}: every boot",
            f"{measured.title} in {unit or 'plain numbers'}, boot by boot. {_told(part)}",
            partial(charts.boots_chart, data),
        )


def _told(rows: Iterable[charts.BootsOf]) -> str:
    return "; ".join(
        f"{row.label}, {len(row.boots)} boots: {', '.join(plain_number(boot.mean) for boot in row.boots)}, mean "
        f"{plain_number(row.mean)}"
        for row in rows
    )


def _targets(publication: Publication, measured: Measured, names: Names) -> Iterator[Drawn]:
    aims = [
        aim
        for aim in publication.aims
        if (aim.wanted.program, aim.wanted.metric) == (measured.task.program, measured.name)
    ]
    lines = list(dict.fromkeys((aim.target.at, aim.target.words) for aim in aims))
    for part in _parts(_rows(publication, measured) if lines else [], targets.MOST_ROWS):
        data = charts.Targets(
            measured.title,
            measured.metric.unit,
            _BETTER[measured.metric.better],
            publication.machine,
            part,
            [charts.TargetLine(*line) for line in lines],
            {row.label: _against(aims, row.label) for row in part},
            _mark(publication),
        )
        yield charts.drawn(
            names.give("target", measured.title),
            f"{measured.title} against its target",
            " ".join(aim.sentence for aim in aims),
            partial(charts.target_chart, data),
        )


def _against(aims: Sequence[Aim], label: str) -> str:
    """How a configuration stands against the targets, in a few words."""
    said: dict[str, list[str]] = {}
    for aim in aims:
        if aim.label == label:
            crossed = aim.result.crossed if aim.result else None
            word = {True: "reaches", False: "does not reach", None: "not certain:"}[crossed]
            said.setdefault(word, []).append(plain_number(aim.target.at))
    return "; ".join(f"{word} {', '.join(goals)}" for word, goals in said.items())


# -- worth ---------------------------------------------------------------------------------------------------------


def _worth(publication: Publication, measured: Measured, names: Names) -> Iterator[Drawn]:
    weighed = [
        each.worth
        for each in publication.weighings
        if each.worth and (each.wanted.program, each.wanted.metric) == (measured.task.program, measured.name)
    ]
    offers = []
    for worth in weighed:
        span, turn = worth.finding.interval95, 1 if measured.metric.better is Better.HIGHER else -1
        low, high = sorted((each**turn - 1) * 100 for each in (span.low, span.high))
        beaten = ", ".join(name or "leaving all as it is" for name in worth.dominated_by)
        if math.isfinite(low) and math.isfinite(high):
            offers.append(
                charts.Offered(
                    worth.offer.label,
                    worth.offer.price,
                    worth.gain,
                    low,
                    high,
                    worth.finding.other_boots,
                    beaten,
                )
            )
    if not offers:
        return
    base = weighed[0].finding
    data = charts.WorthData(
        measured.title,
        base.base_label,
        base.base_boots,
        publication.machine,
        publication.currency,
        offers,
        measured.margin,
        _mark(publication),
    )
    yield charts.drawn(
        names.give("worth", measured.title),
        f"{measured.title}: price against gain",
        " ".join(each.sentence for each in publication.weighings if each.worth in weighed),
        partial(charts.worth_chart, data),
    )


# -- staircases ----------------------------------------------------------------------------------------------------


def _stairs(publication: Publication, names: Names) -> Iterator[Drawn]:
    for what, stairs in publication.stairs:
        for part in _parts(stairs, staircase.MOST_STAIRS):
            data = charts.Staircase(publication.machine, part, what, _mark(publication))
            yield charts.drawn(
                names.give("staircase", what),
                f"Memory staircase, {what}",
                f"Time per read of {what} against the size of the block. {_stairs_told(part)}",
                partial(charts.staircase_chart, data),
            )


def _stairs_told(stairs: Iterable[charts.Stair]) -> str:
    told = []
    for stair in stairs:
        levels = [
            f"{level.ns:.3g} ns"
            + (f" up to {staircase.span_words(level.low, level.high)}" if level.low and level.high else "")
            for level in stair.levels
        ]
        told.append(
            f"{stair.label}, {len(stair.octets)} sizes, {stair.boots} boots: {', then '.join(levels) or 'no level'}"
        )
    return "; ".join(told)


Row = TypeVar("Row")


def _parts(rows: Sequence[Row], most: int) -> Iterator[list[Row]]:
    """Rows in parts that fit on a sheet, as even as can be."""
    sheets = math.ceil(len(rows) / most)
    size = math.ceil(len(rows) / sheets) if sheets else 0
    for at in range(sheets):
        yield list(rows[at * size : (at + 1) * size])
