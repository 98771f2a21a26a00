"""The guard: does each run come from the configuration that its label says, and from no other difference than the
study allows?

Whatever it finds is said in a sentence and stands against every finding that it touches, until the study file says
why it does not. Volatile facts are left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from readoff.snapshots import Difference, Disagreement, Snapshot, agreed, difference, same_label
from readoff.snapshots.difference import brief, more
from readoff.snapshots.multitasking import multitasking, times_told
from readoff.studies.caches import STAIRCASE, against_what_was_said, between, unsteady
from readoff.studies.clocks import CLOCK, clock_changed, clocks_differ, least_told
from readoff.studies.progress import BootSeen, Done, counted
from readoff.studies.study import ChangeBack, Study

_RESIDENT = "residents."
_MEMORY = ("memory.conventional_kb", "memory.extended_88_kb", "memory.e801_low_kb", "memory.e801_high_64kb")


@dataclass(frozen=True)
class Notice:
    """One thing that the guard found. about: its short name, for the study file. label: the configuration that it is
    about; it stands against every finding with that label on a side. why: what the study file says to it, "" while
    it stands.
    """

    about: str
    label: str
    sentence: str
    why: str = ""


@dataclass(frozen=True)
class Compared:
    """The stable facts in which two configurations differ, sorted by what the study allows."""

    expected: tuple[Difference, ...]
    unexpected: tuple[Difference, ...]


def guard(study: Study, done: Done, shots: Mapping[str, Sequence[Snapshot]]) -> tuple[Notice, ...]:
    """Everything that stands, or would stand, against the study's findings.

    shots: label -> the snapshots of its runs. Notices that the study file explains have their ``why``.
    """
    notices: list[Notice] = []
    for label in study.labels:
        boots = counted(study, done, label)
        if boots:
            notices += _of_boots(study, label, boots)
            notices += _of_label(study, label, shots.get(label, ()))
            notices += _of_caches(study, label, shots.get(label, ()))
    notices += _of_double_labels(study, done)
    notices += _of_programs(study, done)
    notices += _of_machines(study, done)
    for label in study.labels[1:]:
        if shots.get(study.base.label) and shots.get(label) and not study.configuration(label).machine:
            notices += _of_pair(study, label, shots)
    return tuple(replace(each, why=study.why(each.about)) for each in notices)


def standing(notices: Iterable[Notice], base: str, other: str) -> tuple[Notice, ...]:
    """The notices that block a finding about these two."""
    return tuple(each for each in notices if not each.why and each.label in (base, other))


# -- one configuration -----------------------------------------------------------------------------------------


def _of_boots(study: Study, label: str, boots: Sequence[BootSeen]) -> Iterable[Notice]:
    def told(some: Sequence[BootSeen]) -> str:
        return ", ".join(each.boot for each in some[:3]) + more(len(some) - 3)

    wrong = [each for each in boots if each.runs and each.warm is study.cold]
    if wrong:
        was, asked = ("a warm reset", "cold boots") if study.cold else ("switching on", "warm boots")
        sentence = (
            f"{label} was booted by {was} where the study asks for {asked}: {told(wrong)}. (So 0040:0072 says; "
            "there are machines that do not keep it.)"
        )
        yield Notice(f"{label}:{'warm' if study.cold else 'cold'}", label, sentence)
    bare = [each for each in boots if not each.snapshots]
    if bare:
        sentence = f"Nothing shows what the machine was: no snapshot has come of {label}, boot {told(bare)}."
        yield Notice(f"{label}:snapshot", label, sentence)
    unsure = [each for each in boots if each.runs and each.snapshots and each.warm is None]
    if unsure:
        asked = "cold" if study.cold else "warm"
        sentence = (
            f"No snapshot of {label} says whether the boot was {asked}, as the study asks: {told(unsure)}."
        )
        yield Notice(f"{label}:reset", label, sentence)
    configuration = study.configuration(label)
    fitted = configuration.how is ChangeBack.FITTING and not configuration.machine
    if fitted and not configuration.specimen:
        sentence = (
            f"What {label} fits is one specimen, and the study does not say which: a finding speaks of that specimen, "
            "not of its kind."
        )
        yield Notice(f"{label}:specimen", label, sentence)


def _of_label(study: Study, label: str, shots: Sequence[Snapshot]) -> Iterable[Notice]:
    """Facts in which the boots of one label differ among themselves: it is then not one configuration."""
    for each in same_label(shots):
        said = unsteady(label, shots) if each.name.startswith(STAIRCASE) else ""
        yield Notice(f"{label}:{each.name}", label, said or _within(label, each, len(shots)))
    changed = clock_changed(label, shots, least_told(study))
    if changed:
        yield Notice(f"{label}:{CLOCK}", label, changed)


def _of_caches(study: Study, label: str, shots: Sequence[Snapshot]) -> Iterable[Notice]:
    """A configuration that has not the caches that the study says, by its memory staircase."""
    said = study.configuration(label).caches
    sentence = "" if said is None else against_what_was_said(label, said, shots)
    if sentence:
        yield Notice(f"{label}:caches", label, sentence)
    for system in sorted({multitasking(shot.facts) for shot in shots} - {""}):
        yield Notice(f"{label}:multitasking", label, f"{label} was run {times_told(system)}.")


def _within(label: str, each: Disagreement, count: int) -> str:
    if each.name.startswith(_RESIDENT) and "absent" in each.seen:
        ids = [ident for value, ids in each.seen.items() if value != "absent" for ident in ids]
        name = each.name.removeprefix(_RESIDENT)
        return (
            f"The resident program {name} was in memory in {len(ids)} of {count} snapshots of {label} only "
            f"({', '.join(ids[:3])}{more(len(ids) - 3)})."
        )
    begin = "The memory size changed among" if each.name in _MEMORY else "There is a difference among"
    return f"{begin} the snapshots of {label}: {each.sentence()}."


# -- two configurations ------------------------------------------------------------------------------------------


def compared(
    base: Sequence[Snapshot], other: Sequence[Snapshot], allows: Callable[[str], bool] = lambda fact: False
) -> Compared:
    """In what two sides' snapshots differ. allows: whether a fact may differ.

    Facts in which a side disagrees with itself are left out: nothing can be said of them.
    """
    unsure = [each.name for side in (base, other) for each in same_label(side)]
    found = difference(agreed(base), agreed(other), leave_out=unsure)
    return Compared(
        tuple(each for each in found if allows(each.name)),
        tuple(each for each in found if not allows(each.name)),
    )


def _of_pair(study: Study, label: str, shots: Mapping[str, Sequence[Snapshot]]) -> Iterable[Notice]:
    """Facts in which a configuration differs from the base although the study does not let it."""
    base = study.base.label
    found = compared(shots[base], shots[label], study.configuration(label).allows)
    for each in found.unexpected:
        said = between(base, label, shots) if each.name.startswith(STAIRCASE) else ""
        yield Notice(f"{label}:{each.name}", label, said or _between(base, label, each))
    differ = clocks_differ(base, label, shots[base], shots[label], least_told(study))
    if differ and not study.configuration(label).allows(CLOCK):
        yield Notice(f"{label}:{CLOCK}", label, differ)
    if not (
        found.expected or found.unexpected or differ or same_label(shots[base]) or same_label(shots[label])
    ):
        sentence = (
            f"The snapshots of {base} and {label} differ in nothing that the agent can see: was the change not "
            "made, or is it one that the agent cannot see?"
        )
        yield Notice(f"{label}:same", label, sentence)


def _between(base: str, other: str, each: Difference) -> str:
    if each.name.startswith(_RESIDENT) and (each.base is None or each.other is None):
        where = other if each.base is None else base
        return (
            f"The resident program {each.name.removeprefix(_RESIDENT)} is in memory in {where} only, and the study "
            f"does not let {other} differ in it."
        )
    begin = (
        "The memory size is not the same"
        if each.name in _MEMORY
        else "There is a difference that was not planned"
    )
    return f"{begin} between {base} and {other}: {each.sentence()}."


# -- labels, programs and machines -----------------------------------------------------------------------------


def _of_double_labels(study: Study, done: Done) -> Iterable[Notice]:
    """One boot that carries several labels: what was changed while the machine ran, and when?"""
    labels: dict[str, dict[str, None]] = {}
    for label in study.labels:
        for boot in counted(study, done, label):
            labels.setdefault(boot.boot, {})[label] = None
    for boot_name, carried in labels.items():
        for label in carried if len(carried) > 1 else ():
            sentence = f"Boot {boot_name} carries the labels {' and '.join(carried)}: a boot is of one configuration."
            yield Notice(f"{label}:labels", label, sentence)


def _of_programs(study: Study, done: Done) -> Iterable[Notice]:
    """A program that is not the same file everywhere: by its octets where they came home, and by its path."""
    for program in study.programs:
        octets: dict[str, dict[str, None]] = {}
        paths: dict[str, dict[str, None]] = {}
        bare = False
        for label in study.labels:
            for boot in counted(study, done, label):
                for run in boot.runs:
                    if run.program == program.name and run.good:
                        paths.setdefault(run.path.upper(), {})[label] = None
                        if run.file_digest:
                            octets.setdefault(run.file_digest, {})[label] = None
                        else:
                            bare = True
        # The same octets may lie at two places; where some are not known, two places are all there is to see.
        seen = paths if bare and len(octets) < 2 else octets
        if len(seen) > 1:
            told = "; ".join(f"{brief(file)} in {', '.join(labels)}" for file, labels in seen.items())
            sentence = f"{program.name} is not the same file everywhere: {told}."
            for label in dict.fromkeys(label for labels in seen.values() for label in labels):
                yield Notice(f"{label}:program.{program.name}", label, sentence)


def _of_machines(study: Study, done: Done) -> Iterable[Notice]:
    """Runs from another agent than those of the study's machine, or from several."""
    serials: dict[str, dict[str, None]] = {}
    for label in (each.label for each in study.taken_here):
        for boot in counted(study, done, label):
            if not boot.joined:
                serials.setdefault(label, {})[boot.boot.partition("-")[0]] = None
    every = list(dict.fromkeys(serial for each in serials.values() for serial in each))
    for label, own in serials.items():
        strange = [serial for serial in own if serial not in study.agents] if study.agents else []
        if strange:
            told = ", ".join(strange)
            sentence = f"Runs of {label} come from an agent that is not named as this machine's ({told})."
            yield Notice(f"{label}:agent", label, sentence)
        elif not study.agents and len(every) > 1:
            sentence = (
                f"The study's runs come from {len(every)} agents ({', '.join(every)}; {label}: {', '.join(own)}): is "
                "that one machine? Name its agents in the study file."
            )
            yield Notice(f"{label}:agent", label, sentence)
