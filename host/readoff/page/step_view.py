"""What the view of now shows of a study: the next step in big letters, how far it is, and what was noted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from readoff.reports.study import read_study
from readoff.store import Store
from readoff.studies import Note, Step, StepKind, Study, next_step, progress_of


@dataclass(frozen=True)
class StepShown:
    """A study at this moment. done, planned: boots. notes: the failures and remarks that stand."""

    title: str
    machine: str
    step: Step
    done: int
    planned: int
    labels: Sequence[str]
    programs: Sequence[str]
    notes: Sequence[Note]
    trouble: str = ""

    @property
    def finished(self) -> bool:
        """Whether all boots of the plan are there, so that nothing is left to fail."""
        return self.step.kind is StepKind.FINISHED

    @property
    def words(self) -> str:
        """What is to be done; when all is done, without the command that this page stands for."""
        return "All boots of the plan are there." if self.finished else self.step.words

    @property
    def kind(self) -> str:
        """Who does the step, as people say it."""
        return {
            StepKind.PERSON: "Your hands are needed",
            StepKind.FINISHED: "The plan is done",
            StepKind.RESET: "Reset the machine",
        }.get(self.step.kind, "The machine does this")


@dataclass(frozen=True)
class StudyTrouble:
    """A study that cannot be read at this moment, and why."""

    trouble: str


def step_shown(store: Store, study: Study) -> StepShown:
    """Derives the step afresh from the store. Raises StoreError."""
    done = read_study(store, study).done
    progress = progress_of(study, done)
    return StepShown(
        study.title,
        study.machine,
        next_step(study, done),
        len(progress.standings) - len(progress.open),
        len(progress.standings),
        [each.label for each in study.taken_here],
        [each.name for each in study.programs],
        done.notes,
    )
