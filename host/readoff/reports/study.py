"""A study and the store: which runs are the study's, in which order its boots were taken, and what was read in them.

Derived afresh from the store every time; the study file holds no state.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from readoff.judge import Better, Metric, Sample
from readoff.reports.comparison import AGENT_TIME, Evidence, LeftOut, held_metrics, samples_of, why_not
from readoff.snapshots import Snapshot
from readoff.store import Store, find
from readoff.store.boots import ShotRow, order_of_coming, sent_files, shot_rows
from readoff.store.captures import RunState
from readoff.store.clocks import why_no_time
from readoff.store.find import ReadingRow, RunRow
from readoff.store.notes import notes
from readoff.store.typed import TypedRow, typed
from readoff.studies import (
    BootSeen,
    Done,
    Gathered,
    Noise,
    Note,
    Notice,
    Program,
    RunSeen,
    Study,
    Verdicts,
    Wanted,
    guard,
    judge,
    noise_of,
)
from readoff.studies.study import SECOND_PARTS

# A clock that was never set says 1980 (the first year DOS knows).
_NO_CLOCK = "1981"


@dataclass(frozen=True)
class Member:
    """A run that belongs to a study. label: the configuration that it counts for. joined: from before the study."""

    run: RunRow
    label: str
    program: Program
    joined: bool


@dataclass(frozen=True)
class StudyInStore:
    """Everything that the store has of a study.

    evidence: wanted metric -> readings with their runs, label by label, excluded boots not among them. left_out:
    runs that carry one of its labels and give no evidence, with the reason. typed: how many numbers of its good runs
    a person typed for what is held; they count where the study says so. shots, runs: label -> snapshots of its
    boots, and its runs, good or not.
    """

    study: Study
    done: Done
    gathered: tuple[Gathered, ...]
    evidence: Mapping[Wanted, Mapping[str, tuple[Evidence, ...]]]
    notices: tuple[Notice, ...]
    left_out: tuple[LeftOut, ...]
    typed: int = 0
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
    done = _done(store, study, members)
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
    return StudyInStore(study, done, gathered, kept, notices, tuple(left_out), count, shots, runs)


# -- which runs --------------------------------------------------------------------------------------------------


def _members(store: Store, study: Study, left_out: list[LeftOut]) -> list[Member]:
    programs = {each.name.lower(): each for each in study.programs}
    out = []
    for run in find.runs(store):
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


# -- boots -------------------------------------------------------------------------------------------------------


@dataclass
class _Boot:
    """A boot of one label being gathered.

    place: of its first record in the order of coming. began, ended: first and last time by the machine's clock.
    """

    boot: str
    label: str
    joined: bool
    place: int
    began: str
    ended: str
    shots: set[str] = field(default_factory=set)
    warm: bool | None = None
    runs: list[RunSeen] = field(default_factory=list)
    probes: list[RunSeen] = field(default_factory=list)

    def at(self, dos_time: str) -> None:
        self.began, self.ended = min(self.began, dos_time), max(self.ended, dos_time)

    def saw(self, shot: ShotRow) -> None:
        self.shots.add(shot.id)
        self.warm = shot.warm if self.warm is None else self.warm

    def seen(self) -> BootSeen:
        return BootSeen(
            self.boot,
            self.label,
            self.warm,
            len(self.shots),
            self.joined,
            tuple(self.runs),
            tuple(self.probes),
        )


def _done(store: Store, study: Study, members: Sequence[Member]) -> Done:
    digests = {(each.boot, each.path.upper()): each.digest for each in sent_files(store)}
    places, shots = order_of_coming(store), shot_rows(store)
    by_ordinal = {(shot.boot, shot.ordinal): shot for shot in shots}
    boots: dict[tuple[str, str], _Boot] = {}
    for member in members:
        run, program = member.run, member.program
        new = _Boot(run.boot, member.label, member.joined, places[run.id], run.dos_time, run.dos_time)
        boot = boots.setdefault((run.boot, member.label), new)
        boot.place = min(boot.place, places[run.id])
        boot.at(run.dos_time)
        reason = why_not(run)
        digest = digests.get((run.boot, program.path.upper()), "")
        boot.runs.append(RunSeen(run.number, run.id, program.name, not reason, reason, run.path, digest))
        if run.snapshot_ordinal is not None and (run.boot, run.snapshot_ordinal) in by_ordinal:
            boot.saw(by_ordinal[run.boot, run.snapshot_ordinal])
    for shot in shots:
        key = shot.boot, shot.label
        if key not in boots and _is_own(study, shot):
            # A boot of which there is no run yet: where the machine is now.
            boots[key] = _Boot(shot.boot, shot.label, False, places[shot.id], shot.dos_time, shot.dos_time)
        if key in boots:
            boots[key].saw(shot)
    if study.probes:
        _add_probes(store, boots)
    ordered, order_from = _in_order(list(boots.values()))
    return Done(tuple(each.seen() for each in ordered), _notes(store, study), order_from)


def _add_probes(store: Store, boots: Mapping[tuple[str, str], _Boot]) -> None:
    """The agent's own measurements, which are runs whose program is named so (docs/probes.md)."""
    for run in find.runs(store):
        begin, _, name = run.program.partition(" ")
        boot = boots.get((run.boot, run.label))
        if run.kind == "run" and begin == "probe" and boot is not None:
            good = run.state == RunState.COMPLETE
            probe = SECOND_PARTS.get(name, name)
            boot.probes.append(RunSeen(run.number, run.id, probe, good, "" if good else why_not(run)))


def _is_own(study: Study, shot: ShotRow) -> bool:
    if shot.label not in study.labels or study.configuration(shot.label).machine:
        return False
    serial = shot.boot.partition("-")[0]
    return shot.came_at >= study.begun and (not study.agents or serial in study.agents)


def _in_order(boots: Sequence[_Boot]) -> tuple[list[_Boot], str]:
    """Boots in the order taken: by the machine's clock where it can be believed, else in the order of coming.

    A clock that was never set, or that begins anew at each power-up, makes boots overlap: it is not believed.
    """
    by_clock = sorted(boots, key=lambda each: each.began)
    apart = all(one.ended < two.began for one, two in pairwise(by_clock))
    if boots and apart and by_clock[0].began >= _NO_CLOCK:
        return by_clock, "the machine's own clock"
    return sorted(boots, key=lambda each: each.place), "the order in which the records came"


def _notes(store: Store, study: Study) -> tuple[Note, ...]:
    rows = notes(store, study.machine)
    return tuple(Note(r.number, r.at, r.label, r.program, r.what == "failure", r.text) for r in rows)


def _shots(store: Store, study: Study, done: Done, members: Sequence[Member]) -> dict[str, list[Snapshot]]:
    """Label -> the snapshots of the study's boots with their facts, excluded boots and all other runs left out.

    Boots that only led to one of the kind asked for (warm, cold) are left out too.
    """
    used = {(member.run.boot, member.run.snapshot_ordinal): member.label for member in members}
    out: dict[str, list[Snapshot]] = {}
    on_the_way = {(each.boot, each.label) for each in done.boots if each.idle_of_other_kind(study)}
    for boot in dict.fromkeys(each.boot for each in done.boots):
        labels = {
            each.label for each in done.boots if each.boot == boot and (boot, each.label) not in on_the_way
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
    for reading in find.readings(store):
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
