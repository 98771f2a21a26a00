"""Two labels compared: the store's readings go to the judge, and the snapshots of both sides are held side by side.

Only complete runs give evidence. Whatever is left out is listed with its reason.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from readoff.errors import JudgeRefusal, UsageError
from readoff.judge import DEFAULT_MARGIN, Better, Finding, Metric, Sample, as_family, compare
from readoff.snapshots import Difference, Disagreement, Snapshot, agreed, difference, same_label
from readoff.snapshots.multitasking import multitasking, times_told
from readoff.store import Store, find, labelled
from readoff.store.captures import RunState
from readoff.store.clocks import why_no_time
from readoff.store.find import ReadingRow, RunRow
from readoff.store.typed import TypedRow, typed

# A program that stays resident has done its work; every other outcome says that it was kept from it.
_GOOD_OUTCOMES = ("finished", "stayed_resident")
AGENT_TIME = "elapsed"


@dataclass(frozen=True)
class Task:
    """What was run: the same program with other arguments does other work, and is not compared."""

    program: str
    arguments: str

    @property
    def title(self) -> str:
        """As a person would type it."""
        return f"{self.program} {self.arguments}".rstrip()


@dataclass(frozen=True)
class Evidence:
    """One reading with the run that it came from."""

    run: RunRow
    reading: ReadingRow


def by_boot(side: Sequence[Evidence]) -> dict[str, list[Evidence]]:
    """Readings by the boot that they were taken in."""
    boots: dict[str, list[Evidence]] = {}
    for each in side:
        boots.setdefault(each.run.boot, []).append(each)
    return boots


def mean_of(members: Sequence[Evidence]) -> float:
    """The geometric mean of one boot's readings, which are above zero: what the judge takes the boot for."""
    return math.exp(math.fsum(math.log(e.reading.approximate) for e in members) / len(members))


@dataclass(frozen=True)
class Compared:
    """One metric of one task on both sides: a finding, or why there is none (refusal)."""

    task: Task
    metric: Metric
    base: tuple[Evidence, ...]
    other: tuple[Evidence, ...]
    finding: Finding | None
    refusal: str

    @property
    def sentence(self) -> str:
        """The finding, or the refusal."""
        return self.finding.sentence if self.finding else self.refusal


@dataclass(frozen=True)
class LeftOut:
    """A run that gives no evidence, or none for one metric ("" for all)."""

    run: RunRow
    metric: str
    reason: str


@dataclass(frozen=True)
class Comparison:
    """Everything that was found out about two labels.

    warnings: what a person should know before believing the findings. base_disagrees, other_disagrees: stable
    facts that differ among the runs of one label. unmatched: what only one side has, in words. unasked: metrics that
    both sides have, of which one way is better, and that were not asked for.
    """

    base: str
    other: str
    margin: float
    compared: tuple[Compared, ...]
    left_out: tuple[LeftOut, ...]
    warnings: tuple[str, ...]
    differences: tuple[Difference, ...]
    base_disagrees: tuple[Disagreement, ...]
    other_disagrees: tuple[Disagreement, ...]
    unmatched: tuple[str, ...]
    unasked: tuple[str, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings, without what was refused."""
        return tuple(each.finding for each in self.compared if each.finding)

    @property
    def runs(self) -> tuple[RunRow, ...]:
        """The runs behind the findings and refusals, each once, by number."""
        every = {e.run.number: e.run for each in self.compared for e in (*each.base, *each.other)}
        return tuple(every[number] for number in sorted(every))


Key = tuple[Task, str, str]
"""A task, a metric's name, and its unit."""


def compare_labels(
    store: Store,
    base: str,
    other: str,
    *,
    metric: str = "",
    program: str = "",
    margin: float = DEFAULT_MARGIN,
    every_metric: bool = False,
    with_typed: bool = False,
) -> Comparison:
    """Compares OTHER with BASE in every metric that both have, or in one.

    metric: its name; without it the headline metrics of each schema (and the agent's own time where no schema
    read anything), or with every_metric all of which one way is better. margin: smallest difference that
    matters (0.02 is 2 %). with_typed: count what a person typed for what is held, too; it is said how many, either way.
    Raises UsageError for a label, program or metric that the store does not have;
    what the judge refuses is told in the comparison.
    """
    _check_labels(store, base, other)
    left_out: list[LeftOut] = []
    asked = _Asked(program, metric, every_metric, with_typed)
    sides = [_evidence(store, label, asked, left_out) for label in (base, other)]
    keys = [key for key in sides[0] if key in sides[1]]
    if not keys and not left_out:
        raise UsageError(*_nothing_in_common(sides, base, other, metric, program))
    compared = [_judge(key, sides[0][key], sides[1][key], base, other, margin) for key in keys]
    shots = [labelled.different_snapshots(store, label) for label in (base, other)]
    disagrees = [tuple(same_label(each)) for each in shots]
    unsure = [d.name for side in disagrees for d in side]
    differences = tuple(difference(agreed(shots[0]), agreed(shots[1]), leave_out=unsure))
    return Comparison(
        base,
        other,
        margin,
        tuple(_as_family(compared)),
        tuple(left_out),
        (
            *_typed_told(store, (base, other), asked),
            *_warnings(
                (base, other),
                [sum(1 + len(shot.also) for shot in each) for each in shots],
                disagrees,
                differences,
            ),
            *_multitasking_told((base, other), shots),
        ),
        differences,
        disagrees[0],
        disagrees[1],
        tuple(_unmatched(sides, base, other)),
        tuple(_unasked(store, (base, other), asked)),
    )


def labels_told(labels: Sequence[str]) -> str:
    """The labels of a store, for somebody who named another."""
    return f"Labels in this store: {', '.join(map(repr, labels)) or 'none'}."


def _check_labels(store: Store, base: str, other: str) -> None:
    there = find.labels(store)
    for label in (base, other):
        if label not in there:
            raise UsageError(f"no run carries the label {label!r}", next_step=labels_told(there))
    if base == other:
        raise UsageError("BASE and OTHER are the same label", next_step="Name two configurations.")


@dataclass(frozen=True)
class _Asked:
    """Which readings are wanted."""

    program: str
    metric: str
    every_metric: bool
    with_typed: bool = False

    def wants(self, reading: ReadingRow) -> bool:
        if self.metric:
            return reading.metric == self.metric
        return reading.better != Better.NEITHER and (reading.headline or self.every_metric)


def _unasked(store: Store, labels: Sequence[str], asked: _Asked) -> Iterable[str]:
    """Names of metrics that all labels have, that could be judged, and that nobody asked for."""
    if asked.metric:
        return []
    names = [
        {
            name
            for name, headline in labelled.metrics_judged(store, label=label, program=asked.program)
            if not (headline or asked.every_metric)
        }
        for label in labels
    ]
    return sorted(set.intersection(*names))


def _evidence(store: Store, label: str, asked: _Asked, left_out: list[LeftOut]) -> dict[Key, list[Evidence]]:
    """Readings of one label's complete runs by task and metric; what is left out is added to left_out."""
    out: dict[Key, list[Evidence]] = {}
    by_run: dict[int, list[ReadingRow]] = {}
    for reading in find.readings(
        store,
        label=label,
        program=asked.program,
        metric=asked.metric,
        judged=not asked.metric,
        headline=not (asked.metric or asked.every_metric),
    ):
        by_run.setdefault(reading.run, []).append(reading)
    held = held_metrics(store, asked.metric, label)
    by_hand = _typed_for(store, asked)
    for run in find.runs(store, label=label, program=asked.program):
        reason = why_not(run)
        if reason:
            left_out.append(LeftOut(run, "", reason))
            continue
        hand = by_hand.get(run.number, [])
        for name, why in held.get(run.number, {}).items():
            counted = asked.with_typed and any(name in ("", each.metric) for each in hand)
            if not counted:
                left_out.append(LeftOut(run, name, why))
        if not asked.with_typed:
            left_out += [LeftOut(run, e.metric, f"{e.value} {e.unit} was {e.told}") for e in hand]
        task = Task(run.program.lower(), run.arguments.strip())
        counted_by_hand = [each.as_reading() for each in hand] if asked.with_typed else []
        for reading in (*by_run.get(run.number, []), *counted_by_hand):
            if reading.metric == AGENT_TIME and (why := why_no_time(run.flags)):
                left_out.append(LeftOut(run, AGENT_TIME, why))
            else:
                out.setdefault((task, reading.metric, reading.unit), []).append(Evidence(run, reading))
    return out


def _typed_for(store: Store, asked: _Asked) -> dict[int, list[TypedRow]]:
    """What a person typed, and what is asked for, of each run."""
    out: dict[int, list[TypedRow]] = {}
    for each in typed(store):
        if each.stands and each.run is not None and asked.wants(each.as_reading()):
            out.setdefault(each.run, []).append(each)
    return out


def _typed_told(store: Store, labels: Sequence[str], asked: _Asked) -> Iterable[str]:
    """How many numbers were typed by a person, and whether they count."""
    by_hand = _typed_for(store, asked)
    if not by_hand:
        return
    runs = [run for label in labels for run in find.runs(store, label=label, program=asked.program)]
    count = sum(len(by_hand.get(run.number, ())) for run in runs if not why_not(run))
    if count:
        what = f"{count} number{' was' if count == 1 else 's were'} typed by a person, not captured"
        yield (
            f"{what}, and counted."
            if asked.with_typed
            else f"{what}, and not counted (--with-typed counts them)."
        )


def why_not(run: RunRow) -> str:
    """Why a run gives no evidence at all, or ""."""
    if run.state == RunState.UNFINISHED:
        return "it was started and never ended: the machine hung or lost power"
    if run.state != RunState.COMPLETE:
        return f"its record is {run.state} ({run.problem})"
    if run.outcome not in _GOOD_OUTCOMES:
        return f"the program did not end by itself ({run.outcome.replace('_', ' ')})"
    return ""


def held_metrics(store: Store, metric: str, label: str = "") -> dict[int, dict[str, str]]:
    """run -> metric ("" for a whole capture) -> why it is held. label: of the runs looked at, "" for all."""
    out: dict[int, dict[str, str]] = {}
    for run, name, reason in labelled.held_readings(store, label=label, metric=metric):
        out.setdefault(run, {}).setdefault(name, f"held: {reason}")
    return out


def _judge(
    key: Key,
    base: Sequence[Evidence],
    other: Sequence[Evidence],
    labels_base: str,
    labels_other: str,
    margin: float,
) -> Compared:
    task, name, unit = key
    metric = Metric(name, unit, Better(base[0].reading.better))
    finding, refusal = None, ""
    try:
        finding = compare(
            metric,
            samples_of(base),
            samples_of(other),
            margin=margin,
            base_label=labels_base,
            other_label=labels_other,
        )
    except JudgeRefusal as error:
        refusal = error.sentence()
    return Compared(task, metric, tuple(base), tuple(other), finding, refusal)


def samples_of(evidence: Iterable[Evidence]) -> list[Sample]:
    """Readings as the judge takes them."""
    return [
        Sample(
            boot=each.run.boot,
            value=each.reading.approximate,
            quantum=float(each.reading.quantum),
            run=each.run.number,
            roundings=each.reading.roundings,
            unit=each.reading.unit,
        )
        for each in evidence
    ]


def _as_family(compared: Sequence[Compared]) -> list[Compared]:
    """Several findings at once are several chances of a false alarm: Holm's rule over all of them."""
    adjusted = iter(as_family([each.finding for each in compared if each.finding]))
    return [replace(each, finding=next(adjusted)) if each.finding else each for each in compared]


def _unmatched(sides: Sequence[Mapping[Key, object]], base: str, other: str) -> Iterable[str]:
    for label, has, lacks in ((base, sides[0], sides[1]), (other, sides[1], sides[0])):
        for task, name, unit in has:
            if (task, name, unit) not in lacks:
                yield f"only {label} has {name} ({unit}) of {task.title}"


def _nothing_in_common(
    sides: Sequence[Mapping[Key, object]], base: str, other: str, metric: str, program: str
) -> tuple[str]:
    asked = " ".join(
        f"{name} {value!r}" for name, value in (("metric", metric), ("program", program)) if value
    )
    told = "; ".join(_unmatched(sides, base, other)) or "neither has any"
    return (f"{base!r} and {other!r} have no readings in common{f' for {asked}' if asked else ''}: {told}",)


def _multitasking_told(labels: tuple[str, str], shots: Sequence[Sequence[Snapshot]]) -> Iterable[str]:
    for label, side in zip(labels, shots, strict=True):
        for system in sorted({multitasking(shot.facts) for shot in side} - {""}):
            yield f"{label} was run {times_told(system)}."


def _warnings(
    labels: tuple[str, str],
    counts: Sequence[int],
    disagrees: Sequence[Sequence[Disagreement]],
    differences: Sequence[Difference],
) -> Iterable[str]:
    for label, count, disagreements in zip(labels, counts, disagrees, strict=True):
        if not count:
            yield f"{label} has no snapshot, so nothing shows what it was."
        if disagreements:
            names = ", ".join(each.name for each in disagreements)
            yield f"The snapshots of {label} do not agree with one another, so it is not one configuration: {names}."
    if all(counts) and not differences:
        yield (
            f"The snapshots of {labels[0]} and {labels[1]} differ in nothing that the agent can see: was the change "
            "made, and is it one that the agent cannot see?"
        )
