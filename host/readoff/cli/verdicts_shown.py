"""How the verdicts of a study look, in words and for programs."""

from __future__ import annotations

import json
from collections.abc import Sequence
from shlex import quote
from typing import TYPE_CHECKING, Any

from readoff.cli.study_shown import lines

if TYPE_CHECKING:
    from readoff.judge import Finding
    from readoff.reports.study import StudyInStore
    from readoff.studies import Judged, Verdicts


def as_values(seen: StudyInStore, verdicts: Verdicts) -> dict[str, Any]:
    """The verdicts for programs; a finding that is withheld is not in them."""
    return {
        "study": seen.study.title,
        "family": verdicts.family,
        "early": verdicts.early or None,
        "findings": [_values(each) for each in verdicts.judged],
        "overall": [_values(each) for each in verdicts.overall],
        "targets": verdicts.targets,
        "worth": verdicts.worth,
        "drift": [
            {"metric": name, "seen": d.seen if d else None, "sentence": said}
            for name, d, said in verdicts.drifts
        ],
        "order": verdicts.order,
        "order_from": seen.done.order_from,
        "failures": verdicts.failures,
        "remarks": verdicts.remarks,
        "guard": verdicts.notices,
        "typed": seen.typed,
        "with_typed": seen.study.with_typed,
        "left_out": [
            {"run": each.run.number, "label": each.run.label, "metric": each.metric, "reason": each.reason}
            for each in seen.left_out
        ],
    }


def _values(each: Judged) -> dict[str, Any]:
    return {
        "name": each.name,
        "base": each.base,
        "other": each.other,
        "verdict": each.verdict,
        "sentence": each.sentence,
        "finding": each.given.as_dict() if each.given else None,
        "refusal": each.refusal or None,
        "blocked": each.blocked,
        "remarks": each.remarks,
        "failures": each.failures,
    }


def show(seen: StudyInStore, verdicts: Verdicts, asked: str) -> None:
    """Prints the verdicts: findings first, then what they rest on and what stands against them.

    asked: the study's file and where its store is, as a further command names them.
    """
    from readoff.cli import looks
    from readoff.cli.compare import grouped

    looks.heading(f"{seen.study.title} ({seen.study.machine})")
    if not seen.done.boots:
        looks.say("There are no runs of it yet.", indent=2)
        looks.say(f"What to do next: readoff study status {asked}", indent=2, wrap=False)
        lines("Failures that were noted", [each.sentence() for each in verdicts.failures])
        lines("Left out", list(grouped(seen.left_out)))
        return
    if verdicts.early:
        looks.say(verdicts.early, indent=2)
    if seen.typed:
        looks.say(seen.typed_told, indent=2)
    _judged(verdicts.judged)
    _table(verdicts)
    if verdicts.overall:
        looks.heading("Over all metrics: geometric mean of ratios, above 1 is better")
        _judged(verdicts.overall)
    lines("Targets", verdicts.targets)
    lines("What it is worth", verdicts.worth)
    lines("Drift over the session", [f"{name}: {said}" for name, _, said in verdicts.drifts])
    if seen.done.order_from:
        looks.say(f"The order of the boots is known from {seen.done.order_from}.", indent=2)
    lines("Order", verdicts.order)
    lines("Failures that were noted", [each.sentence() for each in verdicts.failures])
    lines("Remarks", [each.sentence() for each in verdicts.remarks])
    standing = [f"{each.about}: {each.sentence}" for each in verdicts.notices if not each.why]
    lines("The guard: stands until the study file explains it", standing)
    _how_to_explain(verdicts)
    explained = [
        f"{each.about}: {each.sentence} Explained: {each.why}" for each in verdicts.notices if each.why
    ]
    lines("The guard: explained", explained)
    lines("Left out", list(grouped(seen.left_out)))
    lines("Named in the study file, and not found", seen.unfound)
    looks.say()
    name = next((each.name for each in verdicts.judged if each.given), "NAME")
    looks.say(f"Down to the lines that were read: readoff why {quote(name)} --study {asked}", wrap=False)
    looks.say(f"To publish it: readoff report FOLDER --study {asked} --bundle", wrap=False)


def _how_to_explain(verdicts: Verdicts) -> None:
    """What to write into the study file for the first thing that nobody explained; nothing where there is none."""
    from readoff.cli import looks

    about = next((each.about for each in verdicts.notices if not each.why), "")
    if about:
        looks.say(
            "Where it does no harm, write into the study file, one table for each, and say why:", indent=2
        )
        for line in ("[[explanations]]", f"about = {json.dumps(about, ensure_ascii=False)}", 'why = "…"'):
            looks.say(line, indent=4)


def _judged(judged: Sequence[Judged]) -> None:
    from readoff.cli import looks

    for each in judged:
        looks.say()
        looks.say(each.name)
        looks.say(each.sentence, indent=2)
        for remark in each.remarks:
            looks.say(remark, indent=2)


def _figures(finding: Finding | None) -> Sequence[str]:
    if finding is None:
        return "", "", "", ""
    span = finding.interval95
    boots = f"{finding.base_boots} + {finding.other_boots}"
    return f"{finding.ratio:.4f}", f"{span.low:.4f}", f"{span.high:.4f}", boots


def _table(verdicts: Verdicts) -> None:
    from readoff.cli import looks

    rows = [
        (
            each.name,
            *_figures(each.given),
            each.verdict,
        )
        for each in verdicts.judged
    ]
    if verdicts.findings:
        share = f"{verdicts.family} comparisons share the 5 %; " if verdicts.family > 1 else ""
        looks.heading(f"In figures ({share}from, to: 95 % interval)")
        columns = ("finding", "ratio", "from", "to", "boots", "verdict")
        looks.print_table(columns, rows, right=("ratio", "from", "to"))
