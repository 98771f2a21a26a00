"""The next step of a study: a pure function of the study and what there is of it.

Whoever drives a machine (a person who reads ``readoff study status``, or an agent that asks over a line) does one
step and asks again. Nothing else is remembered anywhere.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import takewhile

from readoff.studies.order import PlannedBoot
from readoff.studies.progress import (
    MOST_TRIES,
    BootSeen,
    Done,
    Progress,
    missing,
    missing_files,
    missing_probes,
    own_boots,
    progress_of,
)
from readoff.studies.study import ChangeBack, Configuration, Program, Study

# So many boots in a row that seem to be of the other kind than was asked for: the machine does not show what they are.
KIND_TRIES = 3


class StepKind(StrEnum):
    """What is to be done. PERSON: only a person can do it."""

    RUN = "run"
    PROBE = "probe"
    SEND = "send"
    SNAPSHOT = "snapshot"
    RESET = "reset"
    PERSON = "person needed"
    FINISHED = "finished"


@dataclass(frozen=True)
class Step:
    """One step. label: the configuration that it belongs to. boot: its number in the plan, 0 where none.

    program, repeat: what is run, and which run of it in this boot (RUN). probe: its name (PROBE). path: of a file
    that is to come home (SEND). words: for the person. cautions: what goes with it. then: what follows when the person
    has said that it is done. power_only: nothing but switching off and on is asked of the person.
    """

    kind: StepKind
    words: str
    label: str = ""
    boot: int = 0
    program: Program | None = None
    repeat: int = 0
    cautions: tuple[str, ...] = ()
    then: Step | None = None
    power_only: bool = False
    probe: str = ""
    path: str = ""


_OFF = "Switch off, leave it off for half a minute so that the drives stop, and switch on again."
_UNPLUG = "Switch off, leave it off for half a minute so that the drives stop, and unplug it."
_PLUG = "Plug it in, and switch on again."
_SETTING_CAUTIONS = (
    "Write down how it was before you change it.",
    "A setting that the machine cannot stand may spoil a disk that is written to at that moment: use one whose content "
    "is kept elsewhere.",
)
_FITTING_CAUTIONS = (
    "Switch off and unplug before anything is plugged or pulled; mains and picture tubes stay dangerous after that.",
    "Discharge yourself on the grounded case, and hold parts by their edges.",
    "Do not open power supplies or monitors; what you are not sure of is for a qualified technician.",
)
_OTHER_CAUTIONS = ("Do not leave an old machine running unwatched.",)


def next_step(
    study: Study, done: Done, asking: str = "", warm: bool | None = None, *, past: str = ""
) -> Step:
    """What is to be done next.

    asking: the boot of the machine that asks; "" where a person does, who is taken to be at the last boot seen.
    warm: whether that boot was a warm reset, as its agent says; None where nobody does. past: a file that did not come
    home when it was asked for: it and those before it are not asked for again.
    """
    progress = progress_of(study, done)
    if not progress.open:
        return Step(StepKind.FINISHED, "All boots of the plan are there. See: readoff study judge FILE")
    here = _here(study, done, progress, asking)
    if here is not None and _other_kind(study, done, here):
        return _again(study, progress, here)
    if here is not None:
        step = _within(study, done, progress, here, past)
        if step is not None:
            return step
    target = progress.open[0].planned
    stuck = _stuck(study, done, target.label)
    if stuck is not None:
        return stuck
    own = own_boots(study, done)
    last = own[-1].label if own else ""
    change = _Change(study, target, last)
    if asking and all(each.boot != asking for each in done.boots):
        return _fresh(change, warm)
    return _new_boot(change)


def _here(study: Study, done: Done, progress: Progress, asking: str) -> BootSeen | None:
    """The boot that can be gone on with: the one that asks, or the last seen, while its label is still wanted."""
    own = [each for each in own_boots(study, done) if not asking or each.boot == asking]
    wanted = {each.planned.label for each in progress.open}
    return own[-1] if own and own[-1].label in wanted else None


def _other_kind(study: Study, done: Done, here: BootSeen) -> bool:
    """Whether a boot with nothing in it yet is of the other kind than asked for, so that it has to be made again.

    Not for ever: where such boots follow each other, the machine does not show how it was booted. The guard says so.
    """
    if not here.idle_of_other_kind(study):
        return False
    earlier = takewhile(
        lambda each: each.label == here.label and each.idle_of_other_kind(study),
        (each for each in reversed(own_boots(study, done)) if each.boot != here.boot),
    )
    return sum(1 for _ in earlier) < KIND_TRIES - 1


def _again(study: Study, progress: Progress, here: BootSeen) -> Step:
    """The boot that is to take the place of one of the other kind: nothing else has to change."""
    target = next(each.planned for each in progress.open if each.planned.label == here.label)
    step = _new_boot(_Change(study, target, here.label))
    was, asked = ("a warm reset", "cold") if study.cold else ("switching on", "warm")
    return replace(step, words=f"{step.words} (This boot was {was}, and the study asks for {asked} boots.)")


def _within(study: Study, done: Done, progress: Progress, here: BootSeen, past: str) -> Step | None:
    """The next run of a boot that is not complete; None where nothing is left to be tried in it."""
    lacking = missing(study, done, here)
    able = [p for p in study.programs if p.name in lacking and not here.failed(p)]
    if not able:
        return None
    for path in missing_files(study, here, past):
        return _send(study, progress, here, path)
    for probe in missing_probes(study, done, here):
        return _probe(study, progress, here, probe)
    program = max(able, key=lambda each: lacking[each.name])  # in turn: one run of each, then the next
    number = _number(progress, here)
    repeat = study.repeats - lacking[program.name] + 1
    which = f"run {program.name} ({program.line}), {repeat} of {study.repeats}"
    words = f"{_boot_words(study, number, here.label)}: {which}."
    return Step(StepKind.RUN, words, here.label, number, program, repeat)


def _probe(study: Study, progress: Progress, here: BootSeen, probe: str) -> Step:
    """One of the agent's own measurements, before anything is run."""
    number = _number(progress, here)
    words = (
        f"{_boot_words(study, number, here.label)}: the agent's own probe of {probe} (READOFF PROBE {probe})."
    )
    return Step(StepKind.PROBE, words, here.label, number, probe=probe)


def _send(study: Study, progress: Progress, here: BootSeen, path: str) -> Step:
    """A program's file comes home before it is run, so that the guard can tell one that was changed."""
    number = _number(progress, here)
    words = f"{_boot_words(study, number, here.label)}: {path} comes home (READOFF SEND {path})."
    return Step(StepKind.SEND, words, here.label, number, path=path)


def _number(progress: Progress, here: BootSeen) -> int:
    """The number in the plan of the boot that is gone on with."""
    return next(each.planned.number for each in progress.open if each.planned.label == here.label)


def _boot_words(study: Study, number: int, label: str) -> str:
    return f"Boot {number} of {study.boots * len(study.taken_here)}, {label}"


def _stuck(study: Study, done: Done, label: str) -> Step | None:
    """A program that failed too often under a label: going on would be a machine that hangs for ever."""
    boots = [each for each in own_boots(study, done) if each.label == label]
    for program in study.programs:
        failed = [boot for boot in boots if boot.failed(program) and boot.good_runs(program) < study.repeats]
        if len(failed) >= MOST_TRIES and not done.fails(label, program.name):
            why = next(r.why_not for r in failed[-1].runs if r.program == program.name and not r.good)
            return Step(
                StepKind.PERSON,
                f"{program.name} did not go through in {len(failed)} boots of {label} ({why}). A failure is a result: "
                f'note it with readoff study note FILE --label "{label}" --program "{program.name}" "what it did", or '
                "put it right and exclude those boots in the study file, saying why.",
                label,
                cautions=_OTHER_CAUTIONS,
            )
    return None


@dataclass(frozen=True)
class _Change:
    """From the configuration seen last ("" for none) to the one of the next boot."""

    study: Study
    target: PlannedBoot
    last: str

    @property
    def configuration(self) -> Configuration:
        return self.study.configuration(self.target.label)

    @property
    def same(self) -> bool:
        return self.target.label == self.last

    @property
    def fitting(self) -> bool:
        """Whether a part is to be fitted, or to be taken out again."""
        labels = {self.target.label, self.last} - {""}
        return any(self.study.configuration(label).how is ChangeBack.FITTING for label in labels)

    @property
    def begin(self) -> str:
        return _boot_words(self.study, self.target.number, self.target.label)

    @property
    def cautions(self) -> tuple[str, ...]:
        return (_FITTING_CAUTIONS if self.fitting else _SETTING_CAUTIONS) + _OTHER_CAUTIONS


@dataclass(frozen=True)
class BootWords:
    """What a person is told about a boot of the plan. before: ahead of it; within: when it has begun."""

    before: str
    within: str
    cautions: tuple[str, ...]


def boot_words(study: Study, planned: PlannedBoot, last: str) -> BootWords:
    """The words for a boot of the plan; last: the configuration before it, "" for none."""
    change = _Change(study, planned, last)
    step = _new_boot(change)
    return BootWords(step.words, _sure(change), step.cautions)


def _sure(change: _Change) -> str:
    return f"{change.begin}. Make sure that the machine is now: {change.configuration.changes}."


def _fresh(change: _Change, warm: bool | None) -> Step:
    """A boot that nothing is known of yet: its snapshot comes first, for it carries the label."""
    label, number = change.target.label, change.target.number
    snapshot = Step(StepKind.SNAPSHOT, f"{change.begin}: take a snapshot.", label, number)
    if change.same:
        return snapshot
    if warm and change.study.cold:
        # It has to be switched off anyway; a person who says that it was gets a snapshot, and the guard looks on.
        return replace(_new_boot(change), then=snapshot)
    return Step(StepKind.PERSON, _sure(change), label, number, cautions=change.cautions, then=snapshot)


def _new_boot(change: _Change) -> Step:
    label, number = change.target.label, change.target.number
    if change.same:
        if not change.study.cold:
            words = f"{change.begin}: reset the machine."
            return Step(StepKind.RESET, words, label, number, cautions=_OTHER_CAUTIONS)
        words = f"{change.begin}: {_OFF}"
        return Step(StepKind.PERSON, words, label, number, cautions=_OTHER_CAUTIONS, power_only=True)
    made = f"See to it that the machine is: {change.configuration.changes}."
    if change.fitting:
        words = f"{change.begin}. {_UNPLUG} {made} {_PLUG}"
    else:
        words = f"{change.begin}. {made}" + (f" {_OFF}" if change.study.cold else "")
    words += "" if change.study.cold else " Then reset it."
    return Step(StepKind.PERSON, words, label, number, cautions=change.cautions)
