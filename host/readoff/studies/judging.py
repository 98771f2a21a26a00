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
    Sample,
    StudyFindings,
    as_family,
    drift,
    judge_study,
    overall,
    took_turns,
)
from readoff.judge.evidence import gather
from readoff.judge.sentence import per_cent
from readoff.studies.gathered import Gathered, failed
from readoff.studies.guard import Notice, standing
from readoff.studies.progress import Done, Note, progress_of
from readoff.studies.study import ChangeBack, Study
from readoff.studies.weighing import Aim, Weighing, aims, weighings

OVERALL = "overall"
_Choice = Callable[[Gathered], Mapping[str, Sequence[Sample]]]
"""Label -> the samples to be judged: with excluded boots, or without."""


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
    def verdict(self) -> str:
        """What it came to, in a word or two: the finding's verdict, withheld, failed or refused."""
        if self.given:
            return str(self.given.verdict)
        if self.blocked:
            return "withheld"
        return "failed" if self.failures else "refused"

    @property
    def sentence(self) -> str:
        """What may be said, in words."""
        failures = " ".join(map(failed, self.failures))
        if self.blocked and self.finding:
            named = ", ".join(dict.fromkeys(each.about for each in self.blocked))
            said = f"{self.other} against {self.base}: withheld, for the guard stands against it ({named})."
        elif self.finding:
            said = self.finding.sentence
        else:
            said = f"{self.other} against {self.base}: {self.refusal}" if not failures else ""
        return f"{failures} {said}".strip()


@dataclass(frozen=True)
class Verdicts:
    """Everything a study can say. Lines are sentences; see ``judge``. early: that the plan is not done yet."""

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
    early: str = ""

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
        overall=tuple(_overall(study, done, gathered, notices, order)),
        drifts=tuple(_drift(study, done, each) for each in gathered),
        order=tuple(_order(study, order)),
        aims=tuple(aims(study, done, gathered, notices)),
        weighings=tuple(one for each in gathered for one in weighings(study, done, each, notices)),
        failures=tuple(each for each in done.notes if each.failure),
        remarks=tuple(each for each in done.notes if not each.failure),
        notices=tuple(notices),
        family=family,
        early=_early(study, done),
    )


def _early(study: Study, done: Done) -> str:
    """That boots of the plan are still to come: what is judged before and after them is judged twice."""
    progress = progress_of(study, done)
    if not progress.open or not done.boots:
        return ""
    there = len(progress.standings) - len(progress.open)
    return (
        f"The plan is not done: {there} of {len(progress.standings)} boots. Judging now and again at the end gives "
        "chance a second throw, unless looks in the study file counts both."
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
            remarks = list(_remarks(study, done, [each], base, other, order))
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


def _judge_all(study: Study, gathered: Sequence[Gathered], choose: _Choice) -> StudyFindings:
    return judge_study(
        [each.metric for each in gathered],
        {each.metric.name: choose(each) for each in gathered},
        study.labels,
        margin={each.metric.name: each.wanted.margin for each in gathered},
        looks=study.looks,
        machines=study.machines,
    )


def _by_pair(found: StudyFindings) -> dict[tuple[str, str, str], Finding | str]:
    """(metric, base, other) -> the finding, or why there is none."""
    out: dict[tuple[str, str, str], Finding | str] = {}
    for finding in (*found.against_base, *found.against_next):
        out[finding.metric.name, finding.base_label, finding.other_label] = finding
    for refused in found.refused:
        out[refused.metric.name, refused.base_label, refused.other_label] = refused.reason
    return out


def _failures(done: Done, labels: Iterable[str], *programs: str) -> tuple[Note, ...]:
    notes = (done.fails(label, program) for label in labels for program in programs)
    return tuple(dict.fromkeys(note for note in notes if note is not None))


def _remarks(
    study: Study, done: Done, gathered: Iterable[Gathered], base: str, other: str, order: Sequence[str]
) -> Iterable[str]:
    """What belongs to a comparison. gathered: the metrics that are in it."""
    machines = study.machines
    if machines[base] != machines[other]:
        yield (
            f"This is a ratio of machines ({machines[other]} to {machines[base]}), not a finding about a part: "
            "everything that differs between them is in it."
        )
    elif order.count(base) > 1 and order.count(other) > 1 and not took_turns(order, base, other):
        yield _no_turns(base, other, order)
    joined = [boot for boot in done.boots if boot.joined and boot.label in (base, other)]
    sampled = {s.boot for each in gathered for label in (base, other) for s in each.samples.get(label, ())}
    old = [boot for boot in joined if boot.boot in sampled]
    if old:
        labels = ", ".join(dict.fromkeys(boot.label for boot in old))
        yield f"{len(old)} of the boots come from before the study ({labels}); they did not take turns with the others."
    for label in (base, other):
        configuration = study.configuration(label)
        if configuration.how is ChangeBack.FITTING and configuration.specimen:
            yield f"It speaks of one specimen ({configuration.specimen}), not of all of its kind."


def _no_turns(base: str, other: str, order: Sequence[str]) -> str:
    first = next(label for label in order if label in (base, other))
    second = other if first == base else base
    return (
        f"All boots of {first} came before all of {second}, so what changed with the hours changed too: a difference "
        f"cannot be laid at the change's door. Take {first} again at the end (A-B-A)."
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
    study: Study,
    done: Done,
    gathered: Sequence[Gathered],
    notices: Sequence[Notice],
    order: Sequence[str],
) -> Iterable[Judged]:
    """Geometric mean of ratios, each configuration against the base; nothing for a study of one metric."""
    able = [each for each in gathered if each.metric.better is not Better.NEITHER]
    if len(able) < 2:
        return
    base = study.base.label
    answers = _overall_of(study, able, lambda each: each.samples)
    with_all = _overall_of(study, able, lambda each: each.whole)
    programs = [each.wanted.program for each in able]
    outside = [each.wanted.title for each in gathered if each not in able]
    for label, answer in answers.items():
        remarks = list(_remarks(study, done, able, base, label, order))
        if any(each.excluded.get(side) for each in able for side in (base, label)):
            remarks.append(_with_excluded(study, with_all[label], done, (base, label)))
        if outside:
            remarks.append(f"Not in it, for want of readings or of a better way: {', '.join(outside)}.")
        yield Judged(
            f"{base}~{label}:{OVERALL}",
            base,
            label,
            answer if isinstance(answer, Finding) else None,
            "" if isinstance(answer, Finding) else answer,
            standing(notices, base, label),
            tuple(remarks),
            _failures(done, (base, label), *programs),
        )


def _overall_of(study: Study, gathered: Sequence[Gathered], choose: _Choice) -> dict[str, Finding | str]:
    """Label -> its overall finding against the base, all one family, or why there is none."""
    base, metrics = study.base.label, [each.metric for each in gathered]
    answers: dict[str, Finding | str] = {}
    for label in study.labels[1:]:
        sides = [
            {each.metric.name: choose(each).get(side, ()) for each in gathered} for side in (base, label)
        ]
        try:
            answers[label] = overall(
                metrics,
                *sides,
                base_label=base,
                other_label=label,
                margin=max(each.wanted.margin for each in gathered),
                looks=study.looks,
            )
        except JudgeRefusal as refusal:
            answers[label] = refusal.sentence()
    found = {label: answer for label, answer in answers.items() if isinstance(answer, Finding)}
    return answers | dict(zip(found, as_family(list(found.values())), strict=True))


def _drift(study: Study, done: Done, each: Gathered) -> tuple[str, Drift | None, str]:
    """(metric, drift over the machine's boots for the study in the order taken, or why it cannot be told)."""
    try:
        sides = {
            configuration.label: gather(each.metric, configuration.label, samples)
            for configuration in study.taken_here
            if (samples := each.samples.get(configuration.label))
        }
        values = {
            (label, boot): math.exp(log)
            for label, side in sides.items()
            for boot, log in zip(side.boots, side.logs, strict=True)
        }
        places = [(boot.label, boot.boot) for boot in done.boots if not boot.joined]
        found = drift([(place[0], values[place]) for place in places if place in values])
    except JudgeRefusal as refusal:
        return each.metric.name, None, refusal.sentence()
    return each.metric.name, found, found.sentence


def _order(study: Study, order: Sequence[str]) -> Iterable[str]:
    here = {each.label for each in study.taken_here}
    for base, other in study.pairs:
        if {base, other} <= here and base in order and other in order and not took_turns(order, base, other):
            yield _no_turns(base, other, order)
