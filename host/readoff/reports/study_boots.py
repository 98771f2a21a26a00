"""The boots that a study has in the store, in the order in which they were taken, and what is known of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise

from readoff.reports.comparison import why_not
from readoff.store import Store, find
from readoff.store.boots import ShotRow, boots_with_runs, order_of_coming, sent_files, shot_rows
from readoff.store.captures import RunState
from readoff.store.find import RunRow
from readoff.store.notes import notes
from readoff.studies import BootSeen, Done, Note, Program, RunSeen, Study
from readoff.studies.study import SECOND_PARTS

# Boots whose records came within so many seconds came home together: in which order says nothing.
_TOGETHER = 60.0
# A clock that was never set says 1980 (the first year DOS knows).
_NO_CLOCK = "1981"


@dataclass(frozen=True)
class Member:
    """A run that belongs to a study. label: the configuration that it counts for. joined: from before the study."""

    run: RunRow
    label: str
    program: Program
    joined: bool


@dataclass
class _Boot:
    """A boot of one label being gathered.

    place: of its first record in the order of coming; came: when by the host's clock. began, ended: first and last time
    by the machine's.
    """

    boot: str
    label: str
    joined: bool
    place: int
    came: str
    began: str
    ended: str
    shots: set[str] = field(default_factory=set)
    warm: bool | None = None
    runs: list[RunSeen] = field(default_factory=list)
    probes: list[RunSeen] = field(default_factory=list)
    files: tuple[str, ...] = ()
    elsewhere: bool = False

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
            self.files,
            self.elsewhere,
        )


def done_of(store: Store, study: Study, members: Sequence[Member]) -> Done:
    """What there is of a study. members: its runs."""
    shots = shot_rows(store, study.labels, {each.run.boot for each in members})
    all_boots = {*(each.run.boot for each in members), *(shot.boot for shot in shots)}
    digests = {(each.boot, each.path.upper()): each.digest for each in sent_files(store, all_boots)}
    places = order_of_coming(store, all_boots)
    by_ordinal = {(shot.boot, shot.ordinal): shot for shot in shots}
    boots: dict[tuple[str, str], _Boot] = {}
    for member in members:
        run, program = member.run, member.program
        new = _Boot(
            run.boot, member.label, member.joined, places[run.id], run.came_at, run.dos_time, run.dos_time
        )
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
            boots[key] = _Boot(
                shot.boot, shot.label, False, places[shot.id], shot.came_at, shot.dos_time, shot.dos_time
            )
        if key in boots:
            boots[key].saw(shot)
    if study.probes:
        _add_probes(store, study, boots)
    ran = boots_with_runs(store, all_boots)
    for boot in boots.values():
        boot.elsewhere = not boot.runs and boot.boot in ran
        boot.files = tuple(path for name, path in digests if name == boot.boot)
    ordered, order_from = _in_order(list(boots.values()))
    return Done(tuple(each.seen() for each in ordered), _notes(store, study), order_from)


def _add_probes(store: Store, study: Study, boots: Mapping[tuple[str, str], _Boot]) -> None:
    """The agent's own measurements, which are runs whose program is named so (docs/probes.md)."""
    runs = (run for label in study.labels for run in find.runs(store, label=label))
    for run in sorted(runs, key=lambda run: run.number):
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
    by_place = sorted(boots, key=lambda each: each.place)
    if boots and apart and by_clock[0].began >= _NO_CLOCK:
        jumped = any(_seconds(later.came, earlier.came) > _TOGETHER for earlier, later in pairwise(by_clock))
        doubt = "; the records came in another order, so see that it did not jump" if jumped else ""
        return by_clock, f"the machine's own clock{doubt}"
    return by_place, "the order in which the records came"


def _seconds(earlier: str, later: str) -> float:
    """From one time of the host's clock to another."""
    return (datetime.fromisoformat(later) - datetime.fromisoformat(earlier)).total_seconds()


def _notes(store: Store, study: Study) -> tuple[Note, ...]:
    rows = notes(store, study.machine)
    return tuple(Note(r.number, r.at, r.label, r.program, r.what == "failure", r.text) for r in rows)
