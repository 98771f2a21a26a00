"""readoff why: from a finding down to the lines that were read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from readoff.cli.common import Place, echo_json, margin_option, store_options, study_option
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.reports.comparison import Evidence
    from readoff.store import Store


@dataclass(frozen=True)
class _Ground:
    """What a finding stands on. metrics: metric of a program -> label -> its readings."""

    sentence: str
    remarks: tuple[str, ...]
    metrics: Mapping[str, Mapping[str, Sequence[Evidence]]]


@click.command()
@click.argument("finding")
@study_option("The study that the finding belongs to: its margins, guard, and earlier runs.")
@margin_option("The smallest difference that matters, 2 unless told. Not with --study.", default=None)
@click.option(
    "--beside",
    multiple=True,
    metavar="LABEL",
    help="Another label that was compared with BASE at the same time (readoff report BASE OTHER LABEL). Several times.",
)
@store_options
def why(
    finding: str, study: Path | None, margin: float | None, beside: tuple[str, ...], place: Place
) -> None:
    """Go from a finding down to its boots, runs, readings, and the lines of the capture.

    FINDING is the short name that readoff study judge prints: BASE~OTHER:PROGRAM:METRIC. Without --study it is judged
    as readoff compare BASE OTHER does.

    \b
    Examples:
      readoff why as-found~zero-ws:replay:rate --study wait-states.toml
      readoff why as-found~zero-ws:replay:rate --beside fast-card
    """
    if study and (beside or margin is not None):
        raise UsageError(
            "a study says itself what is compared, and what matters",
            next_step="Give --study FILE, or --margin and --beside, not both.",
        )
    with place.open_to_look() as store:
        if study:
            ground = _of_study(store, study, finding)
        else:
            ground = _of_labels(store, finding, beside, (2.0 if margin is None else margin) / 100)
        metrics = {
            metric: {label: list(_boots(store, evidence)) for label, evidence in sides.items()}
            for metric, sides in ground.metrics.items()
        }
    if place.as_json:
        echo_json(
            {"finding": finding, "sentence": ground.sentence, "remarks": ground.remarks, "metrics": metrics}
        )
    else:
        _show(finding, ground, metrics)


def _of_study(store: Store, file: Path, name: str) -> _Ground:
    from readoff.cli.study import read_file
    from readoff.reports.study import read_study

    study = read_file(file)
    seen = read_study(store, study)
    verdicts = seen.verdicts()
    every = {each.name.lower(): each for each in (*verdicts.judged, *verdicts.overall)}
    each = every.get(name.lower())
    if each is None:
        raise UsageError(
            f"the study has no finding {name!r}",
            where=str(file),
            next_step="It has: " + ", ".join(one.name for one in every.values()) + ".",
        )
    whole = each in verdicts.overall
    metrics = {
        wanted.title: {label: sides.get(label, ()) for label in (each.base, each.other)}
        for wanted, sides in seen.evidence.items()
        if whole or name.lower().endswith(f":{wanted.program}:{wanted.metric}".lower())
    }
    guard = tuple(f"{notice.about}: {notice.sentence}" for notice in each.blocked)
    return _Ground(each.sentence, each.remarks + guard, metrics)


def _of_labels(store: Store, name: str, beside: Sequence[str], margin: float) -> _Ground:
    """A finding of two labels as they stand in the store, judged as readoff compare and readoff report do.

    beside: labels that are compared with the same base at the same time; OTHER may be among them.
    """
    from readoff.reports import compare_labels
    from readoff.reports.comparison import labels_told
    from readoff.reports.publication import compare_all
    from readoff.store import find

    pair, *rest = name.rsplit(":", 2)
    if len(rest) != 2:
        raise UsageError(
            f"{name!r} names no finding", next_step="A finding is named BASE~OTHER:PROGRAM:METRIC."
        )
    known = find.labels(store)
    splits = [(pair[:at], pair[at + 1 :]) for at, letter in enumerate(pair) if letter == "~"]
    both = next(((base, other) for base, other in splits if base in known and other in known), None)
    if both is None:
        raise UsageError(f"{pair!r} names no two labels", next_step=labels_told(known))
    # One of the family that readoff compare and readoff report judge together, where it is one of them.
    result = compare_all(
        store, both[0], (both[1], *(each for each in dict.fromkeys(beside) if each != both[1])), margin=margin
    )[0]
    found = [each for each in result.compared if (each.task.program, each.metric.name) == _lower(rest)]
    if not found:
        result = compare_labels(store, *both, metric=rest[1], program=rest[0], margin=margin)
        found = list(result.compared)
    if not found:
        raise UsageError(f"no readings of {rest[1]!r} of {rest[0]!r} can be compared")
    sentences = " ".join(each.sentence for each in found)
    metrics = {
        f"{each.metric.name} of {each.task.title}": {both[0]: each.base, both[1]: each.other}
        for each in found
    }
    return _Ground(sentences, result.warnings, metrics)


def _lower(names: Sequence[str]) -> tuple[str, str]:
    """A program's name as a task has it, and a metric's."""
    program, metric = names
    return program.lower(), metric


def _boots(store: Store, evidence: Sequence[Evidence]) -> Iterable[dict[str, Any]]:
    """The boots of one side, each with its value and its readings."""
    from readoff.reports.comparison import by_boot, mean_of

    for boot, members in by_boot(evidence).items():
        fits = all(each.reading.approximate > 0 for each in members)
        fits = fits and len({each.reading.unit for each in members}) == 1
        yield {
            "boot": boot,
            "value": mean_of(members) if fits else None,
            "unit": members[0].reading.unit,
            "readings": [_reading(store, each) for each in members],
        }


def _reading(store: Store, each: Evidence) -> dict[str, Any]:
    from readoff.cli.show import marked
    from readoff.store import find
    from readoff.store.typed import BY_HAND

    full = find.run_in_full(store, str(each.run.number))
    by_hand = each.reading.schema == BY_HAND
    capture = None if each.reading.capture is None else full.captures[each.reading.capture]
    source = "the agent's timer" if capture is None else str(capture.capture.kind)
    return {
        "run": each.run.number,
        "record": each.run.id,
        "repeat": each.run.repeat,
        "value": each.reading.shown,
        "unit": each.reading.unit,
        "schema": each.reading.schema,
        "capture": BY_HAND if by_hand else source,
        "octets": [each.reading.begin, each.reading.end],
        "line": each.reading.line if by_hand else marked(full, each.reading).strip(),
        "came_from": [sighting.came_from for sighting in full.sightings],
    }


def _show(
    name: str, ground: _Ground, metrics: Mapping[str, Mapping[str, Sequence[Mapping[str, Any]]]]
) -> None:
    from readoff.cli import looks
    from readoff.judge.sentence import plain_number

    looks.heading(name)
    looks.say(ground.sentence, indent=2)
    for remark in ground.remarks:
        looks.say(remark, indent=2)
    for metric, sides in metrics.items():
        for label, boots in sides.items():
            looks.heading(f"{label}: {metric}, {looks.counted(len(boots), 'boot')}")
            for boot in boots:
                mean = (
                    "has no mean"
                    if boot["value"] is None
                    else f"{plain_number(boot['value'])} {boot['unit']}"
                )
                looks.say(f"boot {boot['boot']}: {mean}", indent=2)
                for reading in boot["readings"]:
                    where = f"run {reading['run']}, {reading['capture']}, octets {reading['octets'][0]} to "
                    looks.say(f"{where}{reading['octets'][1]}, schema {reading['schema']}", indent=4)
                    looks.say(reading["line"], indent=6)
    looks.say()
    looks.say("A run in full: readoff show RUN")
