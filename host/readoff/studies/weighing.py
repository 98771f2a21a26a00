"""What a study says of its configurations besides findings: the targets they reach, and what they are worth."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from readoff.errors import JudgeRefusal
from readoff.judge import Better, Offer, TargetResult, Worth, against_target, weigh
from readoff.studies.gathered import Gathered, failed
from readoff.studies.guard import Notice, standing
from readoff.studies.progress import Done
from readoff.studies.study import Configuration, Study, Target, Wanted


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


def aims(study: Study, done: Done, gathered: Sequence[Gathered], notices: Sequence[Notice]) -> Iterable[Aim]:
    """Every configuration held against every target."""
    by_name = {(each.wanted.program, each.wanted.metric): each for each in gathered}
    for target in study.targets:
        each = by_name[target.program, target.metric]
        name = f"{target.words}, by {each.wanted.title}" if target.words else each.wanted.title
        for label in study.labels:
            result, said = _aim(each, done, notices, label, target.at)
            yield Aim(target, each.wanted, label, result, f"{name}: {said}")


def _aim(
    each: Gathered, done: Done, notices: Sequence[Notice], label: str, at: float
) -> tuple[TargetResult | None, str]:
    """(the result, a sentence); the sentence alone where there is no result."""
    samples, note = each.samples.get(label, ()), done.fails(label, each.wanted.program)
    if not samples:
        return None, failed(note) if note else f"there is no reading of it in {label}."
    before = f"{failed(note)} " if note else ""
    if standing(notices, label, label):
        return None, f"{before}{label}: withheld, for the guard stands against it."
    try:
        result = against_target(each.metric, label, samples, at)
    except JudgeRefusal as refusal:
        return None, before + refusal.sentence()
    return result, before + result.sentence


def weighings(study: Study, done: Done, each: Gathered, notices: Sequence[Notice]) -> Iterable[Weighing]:
    """Price per per cent of every configuration that has a price, and which is the better buy."""
    priced = [c for c in study.configurations[1:] if c.price is not None]
    if not priced or each.metric.better is Better.NEITHER:
        return
    title, program = each.wanted.title, each.wanted.program
    failures = {c.label: f"{failed(note)} " if (note := done.fails(c.label, program)) else "" for c in priced}
    offers = []
    for configuration in priced:
        label = configuration.label
        why = _why_not_weighed(study, each, notices, configuration)
        if why:
            yield Weighing(each.wanted, label, None, f"{title}: {failures[label].strip() or why}")
        else:
            offers.append(Offer(label, configuration.price or 0.0, each.samples[label]))
    if not offers:
        return
    base = study.base.label
    try:
        weighed = weigh(
            each.metric,
            base,
            each.samples.get(base, ()),
            offers,
            margin=each.wanted.margin,
            looks=study.looks,
            currency=study.currency,
        )
        for worth in weighed:
            label = worth.offer.label
            yield Weighing(each.wanted, label, worth, f"{title}: {failures[label]}{worth.sentence}")
    except JudgeRefusal as refusal:
        yield Weighing(each.wanted, "", None, f"{title}: nothing is weighed: {refusal.sentence()}")


def _why_not_weighed(
    study: Study, each: Gathered, notices: Sequence[Notice], configuration: Configuration
) -> str:
    label = configuration.label
    if configuration.machine:
        return f"{label} is not weighed, for it is another machine."
    if standing(notices, study.base.label, label):
        return f"{label} is not weighed, for the guard stands against it."
    if len({sample.boot for sample in each.samples.get(label, ())}) < 2:
        return f"{label} is not weighed, for there are no two boots of it."
    return ""
