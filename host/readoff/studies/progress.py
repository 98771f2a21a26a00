"""How far a study has come, derived from what the store holds and from nothing else.

So any number of resets, power cuts and restarts of the host changes nothing: the same runs give the same answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from readoff.studies.order import PlannedBoot, boots_in_order
from readoff.studies.study import Program, Study

# What failed so often under one label is a result to be noted, or something to be put right.
MOST_TRIES = 2


@dataclass(frozen=True)
class RunSeen:
    """A run of one of the study's programs. good: whether it can be evidence; why_not: else why it cannot."""

    number: int
    id: str
    program: str
    good: bool
    why_not: str = ""
    path: str = ""
    file_digest: str = ""


@dataclass(frozen=True)
class BootSeen:
    """One boot of one configuration. warm: None where no snapshot says. snapshots: how many there are of it.

    joined: whether it comes from before the study. runs: in order. probes: the agent's own, program being the name.
    files: paths of what came home in it, in capitals. elsewhere: whether programs ran in it, none for this study.
    """

    boot: str
    label: str
    warm: bool | None = None
    snapshots: int = 0
    joined: bool = False
    runs: tuple[RunSeen, ...] = ()
    probes: tuple[RunSeen, ...] = ()
    files: tuple[str, ...] = ()
    elsewhere: bool = False

    def idle_of_other_kind(self, study: Study) -> bool:
        """Whether it is known to be of the other kind (warm, cold) than the study asks for, and nothing was run in it.

        Such a boot is on the way to one that counts, and is no evidence of anything.
        """
        return not self.runs and self.warm is study.cold

    def no_part(self, study: Study) -> bool:
        """Whether it has no part in the study: on the way to a boot that counts, or used for something else alone."""
        return self.elsewhere or self.idle_of_other_kind(study)

    def good_runs(self, program: Program) -> int:
        """How many runs of a program can be evidence."""
        return sum(run.good for run in self.runs if run.program == program.name)

    def failed(self, program: Program) -> bool:
        """Whether a run of a program did not end as it should."""
        return any(not run.good for run in self.runs if run.program == program.name)


@dataclass(frozen=True)
class Note:
    """What the tester wrote down: a failure is a result, a remark is only shown. program: "" for all of them."""

    number: int
    at: str
    label: str
    program: str
    failure: bool
    text: str

    def sentence(self) -> str:
        """In one line."""
        about = f"{self.label}, {self.program}" if self.program else self.label
        return f"{about}: {self.text}"


@dataclass(frozen=True)
class Done:
    """What there is of a study. boots: in the order in which they were taken; order_from: how that is known."""

    boots: tuple[BootSeen, ...] = ()
    notes: tuple[Note, ...] = ()
    order_from: str = ""

    def fails(self, label: str, program: str = "") -> Note | None:
        """The noted failure of a configuration as a whole or, with a program, of that program in it."""
        return next(
            (n for n in self.notes if n.failure and n.label == label and n.program in {"", program}), None
        )


@dataclass(frozen=True)
class Standing:
    """One boot of the plan with what became of it. boot: the boot that fills it. note: the failure instead."""

    planned: PlannedBoot
    boot: BootSeen | None = None
    note: Note | None = None

    @property
    def settled(self) -> bool:
        """Whether nothing is left to do for it."""
        return self.boot is not None or self.note is not None


@dataclass(frozen=True)
class Progress:
    """The plan held against what there is.

    incomplete: boots that lack runs, but for those that have no part in the study. surplus: complete boots
    beyond the plan. They are evidence all the same.
    """

    standings: tuple[Standing, ...]
    incomplete: tuple[BootSeen, ...]
    surplus: tuple[BootSeen, ...]

    @property
    def open(self) -> tuple[Standing, ...]:
        """What is still to be done, in order."""
        return tuple(each for each in self.standings if not each.settled)


def missing(study: Study, done: Done, boot: BootSeen) -> dict[str, int]:
    """Program -> how many good runs a boot still lacks; programs that are noted as failing are not asked for."""
    return {
        program.name: lacking
        for program in study.programs
        if not done.fails(boot.label, program.name)
        and (lacking := study.repeats - boot.good_runs(program)) > 0
    }


def missing_probes(study: Study, done: Done, boot: BootSeen) -> tuple[str, ...]:
    """The probes that a boot is still to begin with.

    Each is tried once in a boot; one that hangs is not asked for ever.
    """
    boots = [each for each in own_boots(study, done) if each.label == boot.label]

    def wanted(name: str) -> bool:
        there = boots if study.probe_once else [boot]
        if any(
            probe.program == name and (probe.good or each is boot) for each in there for probe in each.probes
        ):
            return False
        hung = [each for each in boots if any(p.program == name and not p.good for p in each.probes)]
        return len(hung) < MOST_TRIES

    return tuple(name for name in study.probes if wanted(name))


def missing_files(study: Study, boot: BootSeen, past: str = "") -> tuple[str, ...]:
    """The programs' files that are still to come home in a boot, before anything runs in it. past: as in next_step."""
    if not study.send_programs or boot.runs:
        return ()
    paths = tuple(dict.fromkeys(program.path for program in study.programs))
    rest = paths[paths.index(past) + 1 :] if past in paths else paths
    return tuple(path for path in rest if path.upper() not in boot.files)


def own_boots(study: Study, done: Done) -> list[BootSeen]:
    """The boots that fill the plan: of the study's machine, taken for the study, and not excluded."""
    here = {each.label for each in study.taken_here}
    return [b for b in done.boots if b.label in here and not b.joined and not study.exclusion(b.boot)]


def progress_of(study: Study, done: Done) -> Progress:
    """The plan held against the boots of the study that are not excluded: the n-th boot fills the n-th place."""
    own = own_boots(study, done)
    complete = [each for each in own if each.runs and not missing(study, done, each)]
    waiting: dict[str, list[BootSeen]] = {each.label: [] for each in study.taken_here}
    for boot in complete:
        waiting[boot.label].append(boot)
    standings = []
    for planned in boots_in_order(study):
        boots = waiting[planned.label]
        if boots:
            standings.append(Standing(planned, boot=boots.pop(0)))
        else:
            standings.append(Standing(planned, note=done.fails(planned.label)))
    return Progress(
        tuple(standings),
        tuple(each for each in own if each not in complete and not each.no_part(study)),
        tuple(boot for boots in waiting.values() for boot in boots),
    )


def counted(study: Study, done: Done, label: str) -> Sequence[BootSeen]:
    """The boots of one configuration that the guard looks at."""
    return [
        each
        for each in done.boots
        if each.label == label and not each.elsewhere and not study.exclusion(each.boot)
    ]
