"""Two configurations judged for the page: as a study declared it, or by the page's own margin where none does.

Either way the same plain values come out, with a sentence that says by whose rules.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from readoff.judge import Verdict
from readoff.page.charts import BootChart, IntervalChart, boot_chart, interval_chart
from readoff.reports.comparison import Evidence, LeftOut, compare_labels
from readoff.reports.publication import Told, told_of_comparison, told_of_study
from readoff.reports.study import StudyInStore, read_study
from readoff.store import Store
from readoff.studies import Study, Verdicts
from readoff.studies.guard import standing

_HOW_TO_SETTLE = (
    "Say in the study file why it does not matter ([[explanations]], or may_differ), or take the boots again."
)
Key = tuple[str, str, str, str]
"""Program, arguments, metric, unit."""

# Words and signs, so that colour is never all there is.
_TONES = {
    str(Verdict.FASTER): ("gain", "▲"),
    str(Verdict.HIGHER): ("gain", "▲"),
    str(Verdict.SLOWER): ("loss", "▼"),
    str(Verdict.LOWER): ("loss", "▼"),
    str(Verdict.NO_DIFFERENCE): ("same", "＝"),
    str(Verdict.UNDECIDED): ("open", "?"),
}


@dataclass(frozen=True)
class Judged:
    """One metric as the page shows it. key, address: None and "" for all metrics together, which have no own view."""

    key: Key | None
    title: str
    verdict: str
    tone: str
    sign: str
    sentence: str
    remarks: tuple[str, ...]
    sides: tuple[Sequence[Evidence], Sequence[Evidence]]
    address: str
    interval: IntervalChart | None
    boots: BootChart | None


@dataclass(frozen=True)
class Ruling:
    """All that is said of two configurations. rules: by which, in sentences; by_study: whether they are a study's."""

    judged: tuple[Judged, ...]
    rules: str
    by_study: bool
    warnings: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    unmatched: tuple[str, ...] = ()


@dataclass(frozen=True)
class Studied:
    """A study, what the store has of it, and what it comes to."""

    study: Study
    seen: StudyInStore
    verdicts: Verdicts

    def holds(self, base: str, other: str) -> bool:
        """Whether it holds these two against each other."""
        return (base, other) in self.study.pairs


def studied(store: Store, study: Study) -> Studied:
    """Judges a study as the store is now. Raises StoreError."""
    seen = read_study(store, study)
    return Studied(study, seen, seen.verdicts())


def by_margin(store: Store, base: str, other: str, margin: float, asked: dict[str, str]) -> Ruling:
    """Every metric that both have. asked: goes into each address. Raises UsageError for a label that is not there."""
    result = compare_labels(store, base, other, margin=margin)
    return Ruling(
        tuple(_judged(each, asked) for each in told_of_comparison(result)),
        f"The smallest difference that matters is this page's own: {margin * 100:g} %, set when it was started. All "
        "metrics here are judged as one family (Holm).",
        False,
        result.warnings,
        result.left_out,
        result.unmatched,
    )


def by_study(found: Studied, base: str, other: str) -> Ruling:
    """The metrics that the study asks for, judged as it declared; all of them together come last."""
    seen, verdicts = found.seen, found.verdicts
    told = [each for each in told_of_study(seen, verdicts) if (each.base, each.other) == (base, other)]
    guard = [f"{each.about}: {each.sentence}" for each in standing(verdicts.notices, base, other)]
    guard += [_HOW_TO_SETTLE] if guard else []
    return Ruling(
        tuple(_judged(each, {}) for each in told),
        _rules(found),
        True,
        (*guard, *filter(None, (verdicts.early, seen.typed_told))),
        tuple(each for each in seen.left_out if each.run.label in (base, other)),
    )


def _rules(found: Studied) -> str:
    """By which margins a study judges; metrics of the same one are named together."""
    margins: dict[float, list[str]] = {}
    for wanted in found.study.wanted:
        margins.setdefault(wanted.margin, []).append(wanted.title)
    told = [f"{margin * 100:g} % for {' and '.join(titles)}" for margin, titles in margins.items()]
    if len(margins) == 1:
        told = [f"{margin * 100:g} %" for margin in margins]
    family = found.verdicts.family
    together = f"Its {family} comparisons are judged as one family (Holm)." if family > 1 else ""
    what = "; ".join(told)
    said = f"As the study “{found.study.title}” declares, the smallest difference that matters is {what}."
    return f"{said} {together}".rstrip()


def _judged(told: Told, asked: dict[str, str]) -> Judged:
    sides = told.evidence(told.base), told.evidence(told.other)
    tone, sign = _TONES.get(told.verdict, ("open", "—"))
    key, address = None, ""
    if told.of:
        key = told.of.task.program, told.of.task.arguments, told.of.name, told.metric.unit
        names = dict(zip(("program", "arguments", "metric", "unit"), key, strict=True))
        address = "/finding?" + urlencode({"base": told.base, "other": told.other, **names, **asked})
    return Judged(
        key,
        told.title,
        told.verdict,
        tone,
        sign,
        told.sentence,
        told.remarks,
        sides,
        address,
        interval_chart(told.finding) if told.finding else None,
        boot_chart(*sides, (told.base, told.other)),
    )
