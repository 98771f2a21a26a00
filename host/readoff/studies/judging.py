"""The verdict of a study: every finding, what blocks it, and what is true besides. Judging itself is the judge's.

Nothing is passed over: a comparison that cannot be judged says why, a failure that was noted stands in its place,
and a finding that the guard stands against is withheld until the study file explains.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from readoff.errors import JudgeRefusal
from readoff.judge import (
    Better,
    Drift,
    Finding,
    Metric,
    Offer,
    Sample,
    StudyFindings,
    TargetResult,
    Worth,
    against_target,
    as_family,
    drift,
    judge_study,
    overall,
    took_turns,
    weigh,
)
from readoff.judge.sentence import per_cent
from readoff.studies.guard import Notice, standing
from readoff.studies.progress import Done, Note
from readoff.studies.study import ChangeBack, Study, Target, Wanted

OVERALL = "overall"


@dataclass(frozen=True)
class Gathered:
    """The readings of one wanted metric. samples, excluded: label -> samples; the latter of excluded boots.

    metric: its name says of which program ("rate of replay").
    """

    wanted: Wanted
    metric: Metric
    samples: Mapping[str, tuple[Sample, ...]]
    excluded: Mapping[str, tuple[Sample, ...]]

    @property
    def whole(self) -> dict[str, tuple[Sample, ...]]:
        """The samples with those of the excluded boots."""
        labels = dict.fromkeys([*self.samples, *self.excluded])
        return {label: (*self.samples.get(label, ()), *self.excluded.get(label, ())) for label in labels}


@dataclass(frozen=True)
class Judged:
    """One comparison. name: its short, stable name, for ``readoff why``. finding: None where it was refused.

    refusal: why there is none. blocked: what the guard found and nobody explained; the finding is then withheld.
    remarks: what belongs to it. failures: noted failures of either side.
    """

    name: str
    base: str
    other: str
    finding: Finding | None
    refusal: str
    blocked: tuple[Notice, ...]
    remarks: tuple[str, ...]
    failures: tuple[Note, ...]

    @property
    def given(self) -> Finding | None:
        """The finding, where it may be told."""
        return None if self.blocked else self.finding

    @property
    def sentence(self) -> str:
        """What may be said, in words."""
        failed = " ".join(f"A failure is the result here: {each.sentence()}." for each in self.failures)
        if self.blocked and self.finding:
            named = ", ".join(dict.fromkeys(each.about for each in self.blocked))
            said = f"{self.other} against {self.base}: withheld, for the guard stands against it ({named})."
        elif self.finding:
            said = self.finding.sentence
        else:
            said = f"{self.other} against {self.base}: {self.refusal}" if not failed else ""
        return f"{failed} {said}".strip()


@dataclass(frozen=True)
class Aim:
    """A configuration held against a target. result: None where the sentence says why there is none."""

    target: Target
    wanted: Wanted
    label: str
    result: TargetResult | None
    sentence: str


@dataclass(frozen=True)
class Weighing:
    """A configuration that has a price. worth: None where the sentence says why it was not weighed."""

    wanted: Wanted
    label: str
    worth: Worth | None
    sentence: str


@dataclass(frozen=True)
class Verdicts:
    """Everything a study can say. Lines are sentences; see ``judge``."""

    judged: tuple[Judged, ...]
    overall: tuple[Judged, ...]
    drifts: tuple[tuple[str, Drift | None, str], ...]
    order: tuple[str, ...]
    aims: tuple[Aim, ...]
    weighings: tuple[Weighing, ...]
    failures: tuple[Note, ...]
    remarks: tuple[Note, ...]
    notices: tuple[Notice, ...]
    family: int

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings that may be told, the overall ones not among them."""
        return tuple(each.given for each in self.judged if each.given)

    @property
    def targets(self) -> tuple[str, ...]:
        """How the configurations stand against the targets, in sentences."""
        return tuple(each.sentence for each in self.aims)

    @property
    def worth(self) -> tuple[str, ...]:
        """What the configurations that have a price are worth, in sentences."""
        return tuple(each.sentence for each in self.weighings)


def finding_name(base: str, other: str, program: str, metric: str) -> str:
    """The short name of a finding."""
    return f"{base}~{other}:{program}:{metric}"


def judge(study: Study, done: Done, gathered: Sequence[Gathered], notices: Sequence[Notice]) -> Verdicts:
    """Judges a study. gathered: one of each wanted metric, in the study's order."""
    order = [boot.label for boot in done.boots if not boot.joined and not study.exclusion(boot.boot)]
    judged, family = _judged(study, done, gathered, notices, order)
    return Verdicts(
        judged=tuple(judged),
        overall=tuple(_overall(study, done, gathered, notices)),
        drifts=tuple(_drift(done, each) for each in gathered),
        order=tuple(_order(study, order)),
        aims=tuple(_aims(study, gathered, notices)),
        weighings=tuple(one for each in gathered for one in _weighings(study, each, notices)),
        failures=tuple(each for each in done.notes if each.failure),
        remarks=tuple(each for each in done.notes if not each.failure),
        notices=tuple(notices),
        family=family,
    )


# -- pairs -------------------------------------------------------------------------------------------------------


def _judged(
    study: Study, done: Done, gathered: Sequence[Gathered], notices: Sequence[Notice], order: Sequence[str]
) -> tuple[list[Judged], int]:
    found = _judge_all(study, gathered, lambda each: each.samples)
    answers = _by_pair(found)
    anyone_excluded = any(each.excluded for each in gathered)
    with_all = _by_pair(_judge_all(study, gathered, lambda each: each.whole)) if anyone_excluded else {}
    judged = []
    for each in gathered:
        for base, other in study.pairs:
            key = each.metric.name, base, other
            finding = answers[key]
            remarks = list(_remarks(study, done, each, base, other, order))
            if each.excluded.get(base) or each.excluded.get(other):
                remarks.append(_with_excluded(study, with_all[key], done, (base, other)))
            judged.append(
                Judged(
                    finding_name(base, other, each.wanted.program, each.wanted.metric),
                    base,
                    other,
                    finding if isinstance(finding, Finding) else None,
                    "" if isinstance(finding, Finding) else finding,
                    standing(notices, base, other),
                    tuple(remarks),
                    _failures(done, (base, other), each.wanted.program),
                )
            )
    return judged, found.family


def _judge_all(
    study: Study, gathered: Sequence[Gathered], choose: Callable[[Gathered], Mapping[str, Sequence[Sample]]]
) -> StudyFindings:
    return judge_study(
        [each.metric for each in gathered],
        {each.metric.name: choose(each) for each in gathered},
        study.labels,
        margin={each.metric.name: each.wanted.margin for each in gathered},
        looks=study.looks,
    )


def _by_pair(found: StudyFindings) -> dict[tuple[str, str, str], Finding | str]:
    """(metric, base, other) -> the finding, or why there is none."""
    out: dict[tuple[str, str, str], Finding | str] = {}
    for finding in (*found.against_base, *found.against_next):
        out[finding.metric.name, finding.base_label, finding.other_label] = finding
    for refused in found.refused:
        out[refused.metric.name, refused.base_label, refused.other_label] = refused.reason
    return out


def _failures(done: Done, labels: Iterable[str], program: str) -> tuple[Note, ...]:
    notes = (done.fails(label, program) for label in labels)
    return tuple(note for note in notes if note is not None)


def _remarks(
    study: Study, done: Done, each: Gathered, base: str, other: str, order: Sequence[str]
) -> Iterable[str]:
    machines = {label: study.configuration(label).machine or study.machine for label in (base, other)}
    if len(set(machines.values())) > 1:
        yield (
            f"This is a ratio of machines ({machines[other]} to {machines[base]}), not a finding about a part: "
            "everything that differs between them is in it."
        )
    elif order.count(base) > 1 and order.count(other) > 1 and not took_turns(order, base, other):
        yield _no_turns(base, other)
    joined = [boot for boot in done.boots if boot.joined and boot.label in (base, other)]
    samples = {sample.boot for label in (base, other) for sample in each.samples.get(label, ())}
    old = [boot for boot in joined if boot.boot in samples]
    if old:
        labels = ", ".join(dict.fromkeys(boot.label for boot in old))
        yield f"{len(old)} of the boots come from before the study ({labels}); they did not take turns with the others."
    for label in (base, other):
        configuration = study.configuration(label)
        if configuration.how is ChangeBack.FITTING and configuration.specimen:
            yield f"It speaks of one specimen ({configuration.specimen}), not of all of its kind."


def _no_turns(base: str, other: str) -> str:
    return (
        f"All boots of one of {base} and {other} came before all of the other, so what changed with the hours changed "
        "too: a difference cannot be laid at the change's door. Take the first of them again at the end (A-B-A)."
    )


def _with_excluded(study: Study, answer: Finding | str, done: Done, labels: tuple[str, str]) -> str:
    boots = {
        b.boot: study.exclusion(b.boot) for b in done.boots if b.label in labels and study.exclusion(b.boot)
    }
    causes = "; ".join(f"{boot}: {why}" for boot, why in boots.items())
    if isinstance(answer, str):
        return f"With the excluded boots there would be no finding ({causes})."
    span = answer.interval95
    return (
        f"With the excluded boots it would be {answer.verdict}, {per_cent(answer.ratio)} ({per_cent(span.low)} to "
        f"{per_cent(span.high)}; excluded: {causes})."
    )


# -- the study as a whole ----------------------------------------------------------------------------------------


def _overall(
    study: Study, done: Done, gathered: Sequence[Gathered], notices: Sequence[Notice]
) -> Iterable[Judged]:
    """Geometric mean of ratios, each configuration against the base; nothing for a study of one metric."""
    whole = [each for each in gathered if each.metric.better is not Better.NEITHER]
    if len(whole) < 2:
        return
    metrics = [each.metric for each in whole]
    answers: list[tuple[str, Finding | str]] = []
    for label in study.labels[1:]:
        sides = [
            {each.metric.name: each.samples.get(name, ()) for each in whole}
            for name in (study.base.label, label)
        ]
        margin = max(each.wanted.margin for each in whole)
        try:
            found = overall(
                metrics,
                *sides,
                base_label=study.base.label,
                other_label=label,
                margin=margin,
                looks=study.looks,
            )
            answers.append((label, found))
        except JudgeRefusal as refusal:
            answers.append((label, refusal.sentence()))
    adjusted = iter(as_family([each for _, each in answers if isinstance(each, Finding)]))
    for label, answer in answers:
        base = study.base.label
        yield Judged(
            f"{base}~{label}:{OVERALL}",
            base,
            label,
            next(adjusted) if isinstance(answer, Finding) else None,
            "" if isinstance(answer, Finding) else answer,
            standing(notices, base, label),
            (),
            (),
        )


def _drift(done: Done, each: Gathered) -> tuple[str, Drift | None, str]:
    """(metric, drift over the boots of the study in the order taken, or why it cannot be told)."""
    session = []
    for boot in done.boots:
        values = [s.value for s in each.samples.get(boot.label, ()) if s.boot == boot.boot]
        if values and not boot.joined:
            fits = all(value > 0 for value in values)
            centre = math.exp(math.fsum(map(math.log, values)) / len(values)) if fits else min(values)
            session.append((boot.label, centre))
    try:
        found = drift(session)
    except JudgeRefusal as refusal:
        return each.metric.name, None, refusal.sentence()
    return each.metric.name, found, found.sentence


def _order(study: Study, order: Sequence[str]) -> Iterable[str]:
    here = {each.label for each in study.taken_here}
    for base, other in study.pairs:
        if {base, other} <= here and base in order and other in order and not took_turns(order, base, other):
            yield _no_turns(base, other)


def _aims(study: Study, gathered: Sequence[Gathered], notices: Sequence[Notice]) -> Iterable[Aim]:
    by_name = {(each.wanted.program, each.wanted.metric): each for each in gathered}
    for target in study.targets:
        each = by_name[target.program, target.metric]
        name = f"{target.words}, by {each.wanted.title}" if target.words else each.wanted.title
        for label in study.labels:
            samples, result = each.samples.get(label, ()), None
            if not samples:
                said = f"there is no reading of it in {label}."
            elif standing(notices, label, label):
                said = f"{label}: withheld, for the guard stands against it."
            else:
                try:
                    result = against_target(each.metric, label, samples, target.at)
                    said = result.sentence
                except JudgeRefusal as refusal:
                    said = refusal.sentence()
            yield Aim(target, each.wanted, label, result, f"{name}: {said}")


def _weighings(study: Study, each: Gathered, notices: Sequence[Notice]) -> Iterable[Weighing]:
    """Price per per cent of every configuration that has a price, and which is the better buy."""
    priced = [c for c in study.configurations[1:] if c.price is not None and not c.machine]
    if not priced or each.metric.better is Better.NEITHER:
        return
    title = each.wanted.title
    base = each.samples.get(study.base.label, ())
    offers = []
    for configuration in priced:
        label = configuration.label
        samples = each.samples.get(label, ())
        if standing(notices, study.base.label, label):
            said = f"{title}: {label} is not weighed, for the guard stands against it."
            yield Weighing(each.wanted, label, None, said)
        elif len({sample.boot for sample in samples}) < 2:
            said = f"{title}: {label} is not weighed, for there are no two boots of it."
            yield Weighing(each.wanted, label, None, said)
        else:
            offers.append(Offer(label, configuration.price or 0.0, samples))
    if not offers:
        return
    try:
        weighed = weigh(
            each.metric, study.base.label, base, offers, margin=each.wanted.margin, looks=study.looks
        )
        for worth in weighed:
            yield Weighing(each.wanted, worth.offer.label, worth, f"{title}: {worth.sentence}")
    except JudgeRefusal as refusal:
        yield Weighing(each.wanted, "", None, f"{title}: nothing is weighed: {refusal.sentence()}")
