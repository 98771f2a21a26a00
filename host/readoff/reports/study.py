"""A study and the store: which runs are the study's, in which order its boots were taken, and what was read in them.

Derived afresh from the store every time; the study file holds no state.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from readoff.judge import Better, Metric, Sample
from readoff.reports.comparison import AGENT_TIME, Evidence, LeftOut, held_metrics, samples_of, why_not
from readoff.reports.study_boots import Member, done_of
from readoff.snapshots import Snapshot
from readoff.store import Store, find, labelled
from readoff.store.clocks import why_no_time
from readoff.store.find import ReadingRow, RunRow
from readoff.store.typed import TypedRow, typed
from readoff.studies import (
    Done,
    Gathered,
    Noise,
    Notice,
    Study,
    Verdicts,
    Wanted,
    guard,
    judge,
    noise_of,
)


@dataclass(frozen=True)
class StudyInStore:
    """Everything that the store has of a study.

    evidence: wanted metric -> readings with their runs, label by label, excluded boots not among them. left_out:
    runs that carry one of its labels and give no evidence, with the reason. typed: how many numbers of its good runs
    a person typed for what is held; they count where the study says so. strangers: label that the study does not have
    -> runs of its programs since it began: a slip at /L:, or another study's. unfound: what the study file names and
    the store does not have, in sentences. shots, runs: label -> snapshots of
    its boots, and its runs, good or not.
    """

    study: Study
    done: Done
    gathered: tuple[Gathered, ...]
    evidence: Mapping[Wanted, Mapping[str, tuple[Evidence, ...]]]
    notices: tuple[Notice, ...]
    left_out: tuple[LeftOut, ...]
    typed: int = 0
    strangers: Mapping[str, int] = field(default_factory=dict)
    unfound: tuple[str, ...] = ()
    shots: Mapping[str, Sequence[Snapshot]] = field(default_factory=dict)
    runs: Mapping[str, Sequence[RunRow]] = field(default_factory=dict)

    @property
    def typed_told(self) -> str:
        """How many numbers a person typed, and whether they count; "" for none."""
        if not self.typed:
            return ""
        what = f"{self.typed} number{' was' if self.typed == 1 else 's were'} typed by a person, not captured"
        if self.study.with_typed:
            return f"{what}, and counted, as the study says."
        return f"{what}, and not counted (with_typed = true in the study counts them)."

    @property
    def noise(self) -> dict[Wanted, Noise]:
        """What is known of each metric's scatter."""
        return {
            each.wanted: noise_of(self.study, each.wanted, each.metric, each.samples)
            for each in self.gathered
        }

    def verdicts(self) -> Verdicts:
        """Judges the study."""
        return judge(self.study, self.done, self.gathered, self.notices)


def unread(study: Study) -> StudyInStore:
    """A study of which no store knows anything yet."""
    gathered = tuple(Gathered(each, _metric(each, []), {}, {}) for each in study.wanted)
    return StudyInStore(study, Done(), gathered, {}, (), ())


def read_study(store: Store, study: Study) -> StudyInStore:
    """Reads what the store has of a study. Raises StoreError."""
    left_out: list[LeftOut] = []
    members = _members(store, study, left_out)
    done = done_of(store, study, members)
    by_hand = _by_hand(store, study, members)
    evidence = _evidence(store, study, members, by_hand, left_out)
    gathered = tuple(_gathered(study, wanted, evidence[wanted]) for wanted in study.wanted)
    kept = {
        wanted: {
            label: tuple(e for e in each if not study.exclusion(e.run.boot)) for label, each in sides.items()
        }
        for wanted, sides in evidence.items()
    }
    shots = _shots(store, study, done, members)
    notices = guard(study, done, shots)
    count = sum(map(len, by_hand.values()))
    runs = {label: [m.run for m in members if m.label == label] for label in study.labels}
    return StudyInStore(
        study,
        done,
        gathered,
        kept,
        notices,
        tuple(left_out),
        typed=count,
        strangers=_strangers(store, study, members),
        unfound=tuple(_unfound(study, done, members)),
        shots=shots,
        runs=runs,
    )


# -- which runs --------------------------------------------------------------------------------------------------


def _members(store: Store, study: Study, left_out: list[LeftOut]) -> list[Member]:
    programs = {each.name.lower(): each for each in study.programs}
    out = []
    for run in _runs_named(store, study):
        program = programs.get(run.program.lower())
        if run.kind != "run" or program is None:
            continue
        label, joined = _label_of(study, run)
        if label and run.arguments.strip() == program.arguments:
            out.append(Member(run, label, program, joined))
        elif label:
            reason = (
                f"its arguments are {run.arguments.strip()!r}, the study's {program.arguments!r}: other work"
            )
            left_out.append(LeftOut(run, "", reason))
        elif run.label in study.labels:
            left_out.append(LeftOut(run, "", _why_no_member(study, run)))
    return out


def _runs_named(store: Store, study: Study) -> list[RunRow]:
    """The runs of the labels that the study names; all where it names some by their ids."""
    labels = dict.fromkeys([*study.labels, *(each.label for each in study.earlier)])
    if not all(labels):
        return find.runs(store)
    runs = (run for label in labels for run in find.runs(store, label=label))
    return sorted(runs, key=lambda run: run.number)


def _strangers(store: Store, study: Study, members: Sequence[Member]) -> dict[str, int]:
    """Label -> how many runs of the study's programs carry it since the study began, and it is none of its labels."""
    names = {each.name.lower() for each in study.programs}
    found: Counter[str] = Counter()
    for label, program, count in labelled.runs_by_label(store, begun=study.begun, agents=study.agents):
        if program.lower() in names and label not in study.labels:
            found[label] += count
    for run in (member.run for member in members if member.run.label in found):
        since = run.came_at >= study.begun
        found[run.label] -= since and (not study.agents or run.boot.partition("-")[0] in study.agents)
    return +found


def _unfound(study: Study, done: Done, members: Sequence[Member]) -> Iterable[str]:
    boots = {each.boot.upper() for each in done.boots}
    for excluded in study.excluded:
        if excluded.boot.upper() not in boots:
            yield f"Boot {excluded.boot} is excluded, and the study has no such boot."
    for earlier in study.earlier:
        if not any(each.joined and earlier.names(each.run.label, each.run.id) for each in members):
            named = ", ".join(earlier.ids) or f"label {earlier.label!r}"
            yield f"Nothing joins {earlier.joins} from before the study: there is no run of its programs by {named}."


def _label_of(study: Study, run: RunRow) -> tuple[str, bool]:
    """(the configuration that a run counts for, whether it joins from before the study); "" for none."""
    earlier = next((each for each in study.earlier if each.names(run.label, run.id)), None)
    if earlier:
        return earlier.joins, True
    if run.label not in study.labels or _why_no_member(study, run):
        return "", False
    return run.label, False


def _why_no_member(study: Study, run: RunRow) -> str:
    if study.begun and run.came_at < study.begun:
        return "it came before the study began; name it under [[earlier]] to let it join"
    serial = run.boot.partition("-")[0]
    here = not study.configuration(run.label).machine
    if here and study.agents and serial not in study.agents:
        return f"agent {serial} is not named as this machine's; name it under agents, or let the run join"
    return ""


def _shots(store: Store, study: Study, done: Done, members: Sequence[Member]) -> dict[str, list[Snapshot]]:
    """Label -> the snapshots of the study's boots with their facts, excluded boots and all other runs left out.

    Boots that have no part in the study are left out too.
    """
    used = {(member.run.boot, member.run.snapshot_ordinal): member.label for member in members}
    out: dict[str, list[Snapshot]] = {}
    no_part = {(each.boot, each.label) for each in done.boots if each.no_part(study)}
    for boot in dict.fromkeys(each.boot for each in done.boots):
        labels = {
            each.label for each in done.boots if each.boot == boot and (boot, each.label) not in no_part
        }
        for shot in find.snapshots(store, boot=boot):
            label = used.get((boot, int(shot.id.rpartition("-")[2], 16)), shot.label)
            if label in labels:
                out.setdefault(label, []).append(shot)
    return out


# -- readings ----------------------------------------------------------------------------------------------------

_Sides = dict[str, tuple[Evidence, ...]]


def _by_hand(store: Store, study: Study, members: Sequence[Member]) -> dict[int, list[TypedRow]]:
    """What a person typed for what is held in the study's good runs, by run."""
    wanted = {(each.program, each.metric) for each in study.wanted}
    programs = {member.run.number: member.program.name for member in members if not why_not(member.run)}
    out: dict[int, list[TypedRow]] = {}
    for each in typed(store):
        if each.stands and each.run is not None and (programs.get(each.run, ""), each.metric) in wanted:
            out.setdefault(each.run, []).append(each)
    return out


def _evidence(
    store: Store,
    study: Study,
    members: Sequence[Member],
    by_hand: Mapping[int, Sequence[TypedRow]],
    left_out: list[LeftOut],
) -> dict[Wanted, _Sides]:
    """Wanted metric -> label -> readings of good runs, excluded boots too; what gives none is told in left_out."""
    by_run: dict[int, list[ReadingRow]] = {}
    labels = {member.run.label for member in members}
    for label in labels if all(labels) else [""]:
        for reading in find.readings(store, label=label):
            by_run.setdefault(reading.run, []).append(reading)
    for run, hand in by_hand.items() if study.with_typed else ():
        by_run.setdefault(run, []).extend(each.as_reading() for each in hand)
    held = held_metrics(store, "")
    out: dict[Wanted, dict[str, list[Evidence]]] = {wanted: {} for wanted in study.wanted}
    for member in members:
        reason = why_not(member.run)
        if reason:
            left_out.append(LeftOut(member.run, "", reason))
            continue
        if study.exclusion(member.run.boot):
            left_out.append(LeftOut(member.run, "", f"excluded: {study.exclusion(member.run.boot)}"))
        if not study.with_typed:
            for each in by_hand.get(member.run.number, ()):
                left_out.append(LeftOut(member.run, each.metric, f"{each.value} {each.unit} was {each.told}"))
        for wanted in study.wanted:
            if wanted.program != member.program.name:
                continue
            rows = [each for each in by_run.get(member.run.number, []) if each.metric == wanted.metric]
            has = [each.metric for each in by_run.get(member.run.number, [])]
            why = _why_none(member.run, wanted, has, held.get(member.run.number, {}))
            if why:
                left_out.append(LeftOut(member.run, wanted.metric, why))
            else:
                out[wanted].setdefault(member.label, []).extend(Evidence(member.run, row) for row in rows)
    return {wanted: {label: tuple(each) for label, each in sides.items()} for wanted, sides in out.items()}


def _why_none(run: RunRow, wanted: Wanted, has: Sequence[str], held: Mapping[str, str]) -> str:
    """Why a good run gives no reading of a metric, or "" where it gives one. has: what it gives."""
    if wanted.metric == AGENT_TIME and (why := why_no_time(run.flags)):
        return why
    if wanted.metric in has:
        return ""
    told = ", ".join(dict.fromkeys(has)) or "none"
    return held.get(wanted.metric) or held.get("") or f"there is no such reading in it (its readings: {told})"


def _gathered(study: Study, wanted: Wanted, sides: Mapping[str, Sequence[Evidence]]) -> Gathered:
    inside: dict[str, tuple[Sample, ...]] = {}
    outside: dict[str, tuple[Sample, ...]] = {}
    for label in study.labels:
        evidence = sides.get(label, ())
        kept = [each for each in evidence if not study.exclusion(each.run.boot)]
        if kept:
            inside[label] = tuple(samples_of(kept))
        if len(kept) < len(evidence):
            outside[label] = tuple(samples_of(e for e in evidence if study.exclusion(e.run.boot)))
    in_order = [each for label in study.labels for each in sides.get(label, ())]
    return Gathered(wanted, _metric(wanted, in_order), inside, outside)


def _metric(wanted: Wanted, evidence: Sequence[Evidence]) -> Metric:
    """The metric as its first reading has it; the judge refuses others in another unit."""
    if not evidence:
        return Metric(wanted.title, "", Better.NEITHER)
    first = evidence[0].reading
    return Metric(wanted.title, first.unit, Better(first.better))
