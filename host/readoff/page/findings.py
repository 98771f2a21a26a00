"""What the views of findings show: two configurations judged, and one finding down to its readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from readoff.errors import UsageError
from readoff.page.ruling import Judged, Key, Ruling, Studied, by_margin, by_study, studied
from readoff.page.step_view import StudyTrouble
from readoff.page.worth import beyond
from readoff.reports.comparison import Evidence, by_boot, mean_of
from readoff.store import Store, find
from readoff.studies import Study

_APART = {"by": "page"}
"""In an address: by the page's own margin, whatever the study says."""


@dataclass(frozen=True)
class Rules:
    """By what findings are judged. margin: the page's own; study: goes before it, where it has the two; apart: not."""

    margin: float
    study: Study | StudyTrouble | None = None
    apart: bool = False


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


def findings_view(store: Store, base: str, other: str, rules: Rules) -> dict[str, Any]:
    """Two configurations judged. Without names, the study's first two, or the first two by the alphabet."""
    found = _studied(store, rules)
    labels = _labels(store, found)
    base, other = base or (labels[0] if labels else ""), other or next((e for e in labels if e != base), "")
    if base == other:
        other = next((each for each in labels if each != base), "")
    view: dict[str, Any] = {"labels": labels, "base": base, "other": other, "ruling": None, "beyond": None}
    view |= {"trouble": "", "summary": "", "aside": "", "apart": rules.apart}
    if not other:
        return view
    try:
        ruling = _ruling(store, found, base, other, rules)
    except UsageError as error:
        return view | {"trouble": error.sentence()}
    return view | {
        "ruling": ruling,
        "summary": _summary([each for each in ruling.judged if each.key]),
        "aside": _aside(rules, found, base, other),
        "beyond": beyond(found, other) if found else None,
    }


def finding_view(store: Store, base: str, other: str, key: Key, rules: Rules) -> dict[str, Any]:
    """One finding with its boots and readings."""
    found = _studied(store, rules)
    ruling = _ruling(store, found, base, other, rules)
    one = next((each for each in ruling.judged if each.key == key), None)
    if one is None:
        raise UsageError(f"there is no finding on {key[2]!r} of {key[0]!r} between {base!r} and {other!r}")
    numbers: dict[int, dict[tuple[str, int, str], int]] = {}
    boots = [
        BootOf(label, boot, _mean(members), tuple(_read_from(store, e, numbers) for e in members))
        for label, side in zip((base, other), one.sides, strict=True)
        for boot, members in by_boot(side).items()
    ]
    return {
        "base": base,
        "other": other,
        "one": one,
        "boots": boots,
        "ruling": ruling,
        "left_out": [e for e in ruling.left_out if e.metric in ("", key[2])],
        "aside": _aside(rules, found, base, other),
        "apart": rules.apart,
        "beyond": beyond(found, other, (key[0], key[2])) if found else None,
    }


def _studied(store: Store, rules: Rules) -> Studied | None:
    return studied(store, rules.study) if isinstance(rules.study, Study) else None


def _labels(store: Store, found: Studied | None) -> list[str]:
    """Labels of the store, the study's in its own order first."""
    there = find.labels(store)
    announced = [each for each in found.study.labels if each in there] if found else []
    return [*announced, *(each for each in there if each not in announced)]


def _ruling(store: Store, found: Studied | None, base: str, other: str, rules: Rules) -> Ruling:
    if found and not rules.apart and found.holds(base, other):
        return by_study(found, base, other)
    return by_margin(store, base, other, rules.margin, _APART if rules.apart else {})


def _aside(rules: Rules, found: Studied | None, base: str, other: str) -> str:
    """Why the study's rules are not followed, or "" where they are."""
    if isinstance(rules.study, StudyTrouble):
        return f"The study cannot be read at this moment: {rules.study.trouble}"
    if found is None:
        return "This page was started without a study."
    if not found.holds(base, other):
        return f"The study “{found.study.title}” does not hold these two against each other, in this order."
    return f"The study “{found.study.title}” is left aside here." if rules.apart else ""


def _summary(judged: Sequence[Judged]) -> str:
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
