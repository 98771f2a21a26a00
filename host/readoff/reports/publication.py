"""What is published of a study, or of some labels: findings, what they rest on, and what stands against them.

Plain values, the same for every form that a report takes; derived from the store and never written back.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from shlex import quote

from readoff.errors import UsageError
from readoff.judge import DEFAULT_MARGIN, Finding, Metric
from readoff.judge.several import as_family
from readoff.reports import method
from readoff.reports.comparison import Compared, Comparison, Evidence, LeftOut, Task, compare_labels
from readoff.reports.stairs import Stairs, probed_boots, stairs_of
from readoff.reports.study import StudyInStore
from readoff.snapshots import Snapshot, same_label
from readoff.store import Store, find
from readoff.store.attachments import Attachment, attachments, photograph
from readoff.store.find import RunRow
from readoff.store.photographs import Photograph
from readoff.store.typed import BY_HAND
from readoff.studies import Aim, Gathered, Judged, Verdicts, Weighing, finding_name
from readoff.studies.study import ChangeBack, Configuration

INVENTED = "Invented data: the figures stand for no real machine or product."
_FIXED = {ChangeBack.SETTING: "", ChangeBack.FITTING: "a part is fitted"}


@dataclass(frozen=True)
class Measured:
    """One metric of one program with its readings. title: in words; name: the metric's own. margin: smallest difference
    that matters. evidence: label -> readings.
    """

    title: str
    task: Task
    name: str
    metric: Metric
    margin: float
    evidence: Mapping[str, Sequence[Evidence]]


@dataclass(frozen=True)
class Told:
    """One comparison as it is published. name: its short name, for ``readoff why``. of: None where it is over all.

    finding: None where there is none to be told; verdict: a word or two, whatever it is.
    """

    name: str
    of: Measured | None
    base: str
    other: str
    metric: Metric
    finding: Finding | None
    verdict: str
    sentence: str
    remarks: tuple[str, ...]

    @property
    def title(self) -> str:
        """Of what, in words."""
        return self.of.title if self.of else "all metrics together"

    def evidence(self, label: str) -> Sequence[Evidence]:
        """The readings of one side."""
        return self.of.evidence.get(label, ()) if self.of else ()


@dataclass(frozen=True)
class Described:
    """A configuration. words: what it is, as told beforehand, line by line. shots: snapshots; runs: all of its runs."""

    label: str
    changes: str
    words: tuple[str, ...]
    boots: tuple[str, ...]
    runs: tuple[RunRow, ...]
    shots: tuple[Snapshot, ...]

    @property
    def disagrees(self) -> tuple[str, ...]:
        """Facts in which its own snapshots differ, in sentences."""
        return tuple(each.sentence() for each in same_label(self.shots))


@dataclass(frozen=True)
class Attached:
    """A note, a photograph or both that a person attached. about: the configuration or the run, in words."""

    about: str
    attachment: Attachment
    photograph: Photograph | None


@dataclass(frozen=True)
class Publication:
    """Everything that is published. how: the paragraph that says how it was done. lists: (heading, sentences) of what
    belongs to it. asked: what ``readoff why`` needs besides a name.
    """

    title: str
    machine: str
    invented: bool
    told: tuple[Told, ...]
    overall: tuple[Told, ...]
    measured: tuple[Measured, ...]
    configurations: tuple[Described, ...]
    how: tuple[str, ...]
    lists: tuple[tuple[str, tuple[str, ...]], ...]
    left_out: tuple[LeftOut, ...]
    asked: str = ""
    currency: str = ""
    aims: tuple[Aim, ...] = ()
    weighings: tuple[Weighing, ...] = ()
    attached: tuple[Attached, ...] = ()
    stairs: tuple[Stairs, ...] = ()
    probed: tuple[str, ...] = ()

    @property
    def boots(self) -> tuple[str, ...]:
        """Every boot that anything here comes from, each once."""
        runs = (run for each in self.configurations for run in each.runs)
        every = [*(run.boot for run in runs), *(each.run.boot for each in self.left_out)]
        shots = (shot.boot for each in self.configurations for shot in each.shots)
        return tuple(dict.fromkeys([*every, *shots, *self.probed]))

    @property
    def typed(self) -> int:
        """Readings among the evidence that a person typed."""
        sides = (side for each in self.measured for side in each.evidence.values())
        return sum(one.reading.schema == BY_HAND for side in sides for one in side)


def with_more(store: Store, publication: Publication) -> Publication:
    """The same with what persons attached to its configurations and its runs, and with memory staircases.

    Raises StoreError.
    """
    runs = {run.id: run for each in publication.configurations for run in each.runs}
    labels = [each.label for each in publication.configurations]
    found = []
    for each in attachments(store):
        if each.label in labels:
            about = each.label
        elif each.id in runs:
            about = f"run {runs[each.id].number} ({runs[each.id].label}, {runs[each.id].program})"
        else:
            continue
        found.append(Attached(about, each, photograph(store, each.sha256) if each.sha256 else None))
    stairs, probed = stairs_of(store, labels), probed_boots(store, labels)
    return replace(publication, attached=tuple(found), stairs=stairs, probed=probed)


# -- a study -----------------------------------------------------------------------------------------------------


def of_study(seen: StudyInStore, verdicts: Verdicts, file: str) -> Publication:
    """What is published of a study. file: the study file's name."""
    study = seen.study
    measured = tuple(_measured(seen, each) for each in seen.gathered)
    return Publication(
        title=study.title,
        machine=study.machine,
        invented=study.invented,
        told=tuple(_of_judged(each, measured) for each in verdicts.judged),
        overall=tuple(_of_overall(each, measured) for each in verdicts.overall),
        measured=measured,
        configurations=tuple(_described(seen, each) for each in study.configurations),
        how=tuple(method.of_study(seen, verdicts, file)),
        lists=tuple(_study_lists(seen, verdicts)),
        left_out=seen.left_out,
        asked=f" --study {file}",
        currency=study.currency,
        aims=verdicts.aims,
        weighings=verdicts.weighings,
    )


def told_of_study(seen: StudyInStore, verdicts: Verdicts) -> tuple[Told, ...]:
    """Every comparison of a study, those over all metrics last."""
    measured = tuple(_measured(seen, each) for each in seen.gathered)
    told = (_of_judged(each, measured) for each in verdicts.judged)
    return (*told, *(_of_overall(each, measured) for each in verdicts.overall))


def _measured(seen: StudyInStore, each: Gathered) -> Measured:
    wanted = each.wanted
    arguments = seen.study.program(wanted.program).arguments
    task = Task(wanted.program, arguments)
    return Measured(
        wanted.title, task, wanted.metric, each.metric, wanted.margin, seen.evidence.get(wanted, {})
    )


def _of_judged(each: Judged, measured: Sequence[Measured]) -> Told:
    named = {finding_name(each.base, each.other, one.task.program, one.name): one for one in measured}
    one = named[each.name]
    return Told(
        each.name,
        one,
        each.base,
        each.other,
        one.metric,
        each.given,
        each.verdict,
        each.sentence,
        each.remarks,
    )


def _of_overall(each: Judged, measured: Sequence[Measured]) -> Told:
    finding = each.given
    metric = finding.metric if finding else Metric("all metrics", "", measured[0].metric.better)
    return Told(
        each.name,
        None,
        each.base,
        each.other,
        metric,
        finding,
        each.verdict,
        each.sentence,
        each.remarks,
    )


def _described(seen: StudyInStore, each: Configuration) -> Described:
    label = each.label
    words = [
        f"on another machine: {each.machine}" if each.machine else "",
        _FIXED[each.how] if label != seen.study.base.label else "what all else is held against",
        f"specimen: {each.specimen}" if each.specimen else "",
        "" if each.price is None else f"price: {each.price:g} {seen.study.currency}".rstrip(),
        f"may differ in: {', '.join(each.may_differ)}" if each.may_differ else "",
    ]
    boots = tuple(boot.boot for boot in seen.done.boots if boot.label == label)
    return Described(
        label,
        each.changes,
        tuple(word for word in words if word),
        boots,
        tuple(seen.runs.get(label, ())),
        tuple(seen.shots.get(label, ())),
    )


def _study_lists(seen: StudyInStore, verdicts: Verdicts) -> Iterable[tuple[str, tuple[str, ...]]]:
    standing = [f"{each.about}: {each.sentence}" for each in verdicts.notices if not each.why]
    explained = [
        f"{each.about}: {each.sentence} Explained: {each.why}" for each in verdicts.notices if each.why
    ]
    every = (
        ("Targets", verdicts.targets),
        ("What it is worth", verdicts.worth),
        ("Failures", [each.sentence() for each in verdicts.failures]),
        ("Remarks", [each.sentence() for each in verdicts.remarks]),
        ("What the guard found, and nobody explained", standing),
        ("What the guard found, and the study explains", explained),
        ("The plan", [verdicts.early] if verdicts.early else []),
        ("Order", verdicts.order),
        ("Drift over the session", [f"{name}: {said}" for name, _, said in verdicts.drifts]),
        ("Typed by a person", [seen.typed_told] if seen.typed else []),
    )
    for heading, lines in every:
        if lines:
            yield heading, tuple(lines)


# -- labels --------------------------------------------------------------------------------------------------------


def compare_all(
    store: Store,
    base: str,
    others: Sequence[str],
    *,
    margin: float = DEFAULT_MARGIN,
    every_metric: bool = False,
    with_typed: bool = False,
) -> list[Comparison]:
    """Some labels, each held against the first; all findings are one family.

    Raises UsageError as compare_labels does, and for a label that is named twice.
    """
    if len(set(others)) < len(others):
        raise UsageError("a label is named twice", next_step="Name each configuration once.")
    return _as_family(
        [
            compare_labels(
                store, base, other, margin=margin, every_metric=every_metric, with_typed=with_typed
            )
            for other in others
        ]
    )


def of_comparisons(store: Store, results: Sequence[Comparison], *, invented: bool = False) -> Publication:
    """What is published of labels that were compared with the same base."""
    base, margin = results[0].base, results[0].margin
    others = [each.other for each in results]
    labels = (base, *others)
    runs = {label: tuple(find.runs(store, label=label)) for label in labels}
    left_out = tuple(dict.fromkeys(each for result in results for each in result.left_out))
    configurations = tuple(
        Described(
            label,
            "",
            ("what all else is held against",) if label == base else (),
            tuple(dict.fromkeys(run.boot for run in runs[label])),
            runs[label],
            tuple(find.snapshots(store, label=label)),
        )
        for label in labels
    )
    measured = _gathered(results, margin)
    return Publication(
        title=f"{', '.join(others)} against {base}",
        machine=", ".join(dict.fromkeys(f"agent {run.boot[:8]}" for run in runs[base])),
        invented=invented,
        told=tuple(_of_labels(result, each, measured) for result in results for each in result.compared),
        overall=(),
        measured=tuple(measured.values()),
        configurations=configurations,
        how=tuple(method.of_labels(results, configurations, margin)),
        lists=tuple(_label_lists(results)),
        left_out=left_out,
        asked=_asked(others, margin),
    )


def told_of_comparison(result: Comparison) -> tuple[Told, ...]:
    """Every metric of two labels that were compared."""
    measured = _gathered([result], result.margin)
    return tuple(_of_labels(result, each, measured) for each in result.compared)


def _asked(others: Sequence[str], margin: float) -> str:
    """What a reader types after the name of any finding to have it judged in the same way."""
    beside = "".join(f" --beside {quote(each)}" for each in others) if len(others) > 1 else ""
    return beside + (f" --margin {margin * 100:.10g}" if margin != DEFAULT_MARGIN else "")


def _as_family(results: Sequence[Comparison]) -> list[Comparison]:
    findings = [finding for result in results for finding in result.findings]
    adjusted = iter(as_family(findings))
    return [
        replace(
            result,
            compared=tuple(
                replace(each, finding=next(adjusted)) if each.finding else each for each in result.compared
            ),
        )
        for result in results
    ]


_Key = tuple[Task, str, str]


def _of_labels(result: Comparison, each: Compared, measured: Mapping[_Key, Measured]) -> Told:
    return Told(
        finding_name(result.base, result.other, each.task.program, each.metric.name),
        measured[each.task, each.metric.name, each.metric.unit],
        result.base,
        result.other,
        each.metric,
        each.finding,
        str(each.finding.verdict) if each.finding else "refused",
        each.sentence,
        (),
    )


def _gathered(results: Sequence[Comparison], margin: float) -> dict[_Key, Measured]:
    found: dict[_Key, Measured] = {}
    for result in results:
        for each in result.compared:
            key = (each.task, each.metric.name, each.metric.unit)
            known = found.get(key)
            sides = dict(known.evidence) if known else {}
            sides |= {result.base: each.base, result.other: each.other}
            title = f"{each.metric.name} of {each.task.title}"
            found[key] = Measured(title, each.task, each.metric.name, each.metric, margin, sides)
    return found


def _label_lists(results: Sequence[Comparison]) -> Iterable[tuple[str, tuple[str, ...]]]:
    for heading, lines in (
        ("Before you believe it", [line for result in results for line in result.warnings]),
        ("Not compared", [line for result in results for line in result.unmatched]),
    ):
        if lines:
            yield heading, tuple(dict.fromkeys(lines))
