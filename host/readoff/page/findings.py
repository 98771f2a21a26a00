"""What the views of findings show: two configurations judged, and one finding down to its readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from readoff.errors import UsageError
from readoff.judge import Finding, Verdict
from readoff.page.charts import BootChart, IntervalChart, boot_chart, interval_chart
from readoff.page.worth import beyond
from readoff.reports.comparison import Compared, Comparison, Evidence, by_boot, compare_labels, mean_of
from readoff.store import Store, find
from readoff.studies import Study

# Words and signs, so that colour is never all there is.
_TONES = {
    Verdict.FASTER: ("gain", "▲"),
    Verdict.HIGHER: ("gain", "▲"),
    Verdict.SLOWER: ("loss", "▼"),
    Verdict.LOWER: ("loss", "▼"),
    Verdict.NO_DIFFERENCE: ("same", "＝"),
    Verdict.UNDECIDED: ("open", "?"),
}


@dataclass(frozen=True)
class Judged:
    """One metric as the page shows it. address: of its own view."""

    compared: Compared
    title: str
    verdict: str
    tone: str
    sign: str
    sentence: str
    address: str
    interval: IntervalChart | None
    boots: BootChart | None


@dataclass(frozen=True)
class ReadFrom:
    """A reading in a finding, and where its octets are."""

    evidence: Evidence
    address: str


@dataclass(frozen=True)
class BootOf:
    """A boot of one side with its readings. mean: "" where it has none."""

    label: str
    boot: str
    mean: str
    readings: tuple[ReadFrom, ...]


def findings_view(
    store: Store, base: str, other: str, margin: float, study: Study | None = None
) -> dict[str, Any]:
    """Every metric that two configurations have in common, judged. Without names, the first two by the alphabet.

    study: tells what the other one is worth.
    """
    labels = find.labels(store)
    base, other = base or (labels[0] if labels else ""), other or next((e for e in labels if e != base), "")
    if base == other:
        other = next((each for each in labels if each != base), "")
    common = {"labels": labels, "base": base, "other": other, "margin": margin * 100, "beyond": None}
    if not other:
        return {**common, "judged": [], "result": None, "summary": "", "trouble": ""}
    try:
        result = compare_labels(store, base, other, margin=margin)
    except UsageError as error:
        return {**common, "judged": [], "result": None, "summary": "", "trouble": error.sentence()}
    judged = [_judged(result, each) for each in result.compared]
    common["beyond"] = beyond(store, study, other) if study else None
    return {**common, "judged": judged, "result": result, "summary": _summary(judged), "trouble": ""}


def finding_view(
    store: Store,
    base: str,
    other: str,
    margin: float,
    key: tuple[str, str, str, str],
    study: Study | None = None,
) -> dict[str, Any]:
    """One finding with its boots and readings. key: program, arguments, metric, unit. study: tells what it is worth."""
    result = compare_labels(store, base, other, margin=margin)
    each = next((one for one in result.compared if _key(one) == key), None)
    if each is None:
        raise UsageError(f"there is no finding on {key[2]!r} of {key[0]!r} between {base!r} and {other!r}")
    numbers: dict[int, dict[tuple[str, int, str], int]] = {}
    boots = [
        BootOf(label, boot, _mean(members), tuple(_read_from(store, e, numbers) for e in members))
        for label, side in ((base, each.base), (other, each.other))
        for boot, members in by_boot(side).items()
    ]
    left_out = [e for e in result.left_out if e.metric in ("", each.metric.name)]
    return {
        "base": base,
        "other": other,
        "margin": margin * 100,
        "one": _judged(result, each),
        "boots": boots,
        "left_out": left_out,
        "warnings": result.warnings,
        "beyond": beyond(store, study, other, (key[0], key[2])) if study else None,
    }


def _key(each: Compared) -> tuple[str, str, str, str]:
    return each.task.program, each.task.arguments, each.metric.name, each.metric.unit


def _judged(result: Comparison, each: Compared) -> Judged:
    finding: Finding | None = each.finding
    tone, sign = _TONES[finding.verdict] if finding else ("open", "—")
    program, arguments, metric, unit = _key(each)
    asked = {"base": result.base, "other": result.other, "program": program}
    asked |= {"arguments": arguments, "metric": metric, "unit": unit}
    return Judged(
        each,
        f"{metric} of {each.task.title}",
        str(finding.verdict) if finding else "no finding",
        tone,
        sign,
        each.sentence,
        "/finding?" + urlencode(asked),
        interval_chart(finding) if finding else None,
        boot_chart(each.base, each.other, (result.base, result.other)),
    )


def _summary(judged: list[Judged]) -> str:
    counts: dict[str, int] = {}
    for each in judged:
        counts[each.verdict] = counts.get(each.verdict, 0) + 1
    told = ", ".join(f"{verdict} in {count}" for verdict, count in counts.items())
    return f"{told} of {len(judged)} metric{'s' * (len(judged) != 1)}".capitalize() if judged else ""


def _mean(members: list[Evidence]) -> str:
    fits = all(each.reading.approximate > 0 for each in members)
    return f"{mean_of(members):.5g} {members[0].reading.unit}" if fits else ""


def _read_from(store: Store, each: Evidence, numbers: dict[int, dict[tuple[str, int, str], int]]) -> ReadFrom:
    """numbers: run -> reading -> its place among the run's readings, gathered as they are needed."""
    run, reading = each.run.number, each.reading
    if run not in numbers:
        rows = find.run_in_full(store, str(run)).readings
        numbers[run] = {(row.metric, row.occurrence, row.schema): at for at, row in enumerate(rows)}
    index = numbers[run][reading.metric, reading.occurrence, reading.schema]
    of = "record" if reading.capture is None else str(reading.capture)
    return ReadFrom(each, f"/runs/{run}/octets/{of}?reading={index}")
