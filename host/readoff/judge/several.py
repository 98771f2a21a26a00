"""A whole study at once: several metrics, several configurations, one family of comparisons under Holm's rule.

Each configuration is judged against the first and against the one before it. What cannot be judged is listed
with its reason: never a silent hole in a table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from readoff.errors import JudgeRefusal
from readoff.judge.compare import DEFAULT_MARGIN, check_margin, judge_sides
from readoff.judge.evidence import Metric, Sample, Side, gather
from readoff.judge.finding import Finding

Evidence = Mapping[str, Mapping[str, Sequence[Sample]]]
"""Metric name -> label -> samples."""


@dataclass(frozen=True)
class Refused:
    """A comparison that could not be judged, and why."""

    metric: Metric
    base_label: str
    other_label: str
    reason: str


@dataclass(frozen=True)
class StudyFindings:
    """All findings of a study. Their p are adjusted over ``family`` comparisons, each counted once."""

    against_base: tuple[Finding, ...]
    against_next: tuple[Finding, ...]
    refused: tuple[Refused, ...]
    family: int


def holm(p_values: Sequence[float]) -> list[float]:
    """Holm's step-down adjusted p values, in the order given. S. Holm, Scand. J. Stat. 6, 1979."""
    order = sorted(range(len(p_values)), key=p_values.__getitem__)
    adjusted, running = [0.0] * len(p_values), 0.0
    for rank, place in enumerate(order):
        running = max(running, min(1.0, (len(p_values) - rank) * p_values[place]))
        adjusted[place] = running
    return adjusted


def as_family(findings: Sequence[Finding]) -> list[Finding]:
    """The same findings, judged together: at most 5 % false alarms over all of them."""
    adjusted = holm([finding.p for finding in findings])
    return [f.adjusted(p, len(findings)) for f, p in zip(findings, adjusted, strict=True)]


def judge_study(
    metrics: Sequence[Metric],
    evidence: Evidence,
    labels: Sequence[str],
    *,
    margin: float | Mapping[str, float] = DEFAULT_MARGIN,
    looks: int = 1,
    machines: Mapping[str, str] | None = None,
) -> StudyFindings:
    """Judge every configuration against the first label and against the one before it, in every metric.

    margin: smallest difference that matters, one for all or by metric name (DEFAULT_MARGIN where not named).
    looks: how often the study will be judged in all. machines: label -> its machine, where there is more than one.
    Every configuration of the same machine lends its boot variance where the pooling rule allows it. Raises
    JudgeRefusal for fewer than two labels, a label twice, two metrics of one name, or a margin that is none;
    everything else that is wrong ends in ``refused``.
    """
    names = [metric.name for metric in metrics]
    if len(labels) < 2 or len(set(labels)) != len(labels) or not names or len(set(names)) != len(names):
        raise JudgeRefusal("a study needs a metric, and two configurations or more, each named once")
    pairs = _pairs(len(labels))
    found: dict[tuple[str, int, int], Finding] = {}
    refused: list[Refused] = []
    for metric in metrics:
        one = margin if isinstance(margin, float | int) else margin.get(metric.name, DEFAULT_MARGIN)
        check_margin(one)
        sides = [_side(metric, label, evidence) for label in labels]
        for base, other in pairs:
            lenders = _lenders(sides, (base, other), [(machines or {}).get(label, "") for label in labels])
            answer = _judge(metric, sides[base], sides[other], lenders, margin=one, looks=looks)
            if isinstance(answer, Finding):
                found[metric.name, base, other] = answer
            else:
                refused.append(Refused(metric, labels[base], labels[other], answer))
    family = dict(zip(found, as_family(list(found.values())), strict=True))
    return StudyFindings(
        tuple(finding for (_, base, _), finding in family.items() if base == 0),
        tuple(finding for (_, base, other), finding in family.items() if other == base + 1),
        tuple(refused),
        len(family),
    )


def _pairs(count: int) -> list[tuple[int, int]]:
    against_base = [(0, other) for other in range(1, count)]
    return against_base + [(base, base + 1) for base in range(1, count - 1)]


def _side(metric: Metric, label: str, evidence: Evidence) -> Side | str:
    try:
        return gather(metric, label, evidence.get(metric.name, {}).get(label, ()))
    except JudgeRefusal as refusal:
        return refusal.sentence()


def _lenders(sides: Sequence[Side | str], pair: tuple[int, int], machines: Sequence[str]) -> list[Side]:
    """The further sides of the pair's machine; nobody lends to a pair of two machines."""
    here = machines[pair[0]]
    if machines[pair[1]] != here:
        return []
    return [
        side
        for place, side in enumerate(sides)
        if isinstance(side, Side) and place not in pair and machines[place] == here
    ]


def _judge(
    metric: Metric, one: Side | str, two: Side | str, lenders: Sequence[Side], *, margin: float, looks: int
) -> Finding | str:
    if isinstance(one, str) or isinstance(two, str):
        return one if isinstance(one, str) else str(two)
    try:
        return judge_sides(metric, one, two, margin=margin, lenders=lenders, looks=looks)
    except JudgeRefusal as refusal:
        return refusal.sentence()
