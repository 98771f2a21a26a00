"""What an agent that stands by is told: the study's next step, found afresh in the store for each question.

Nothing is remembered between two questions, so resets, power cuts and a host that starts again change nothing.
"""

from __future__ import annotations

from collections.abc import Callable

from readoff.link.events import Asked
from readoff.link.steps import GivenStep, What
from readoff.reports.study import read_study
from readoff.store import Store
from readoff.studies import Step, StepKind, Study, next_step

_WHAT: dict[StepKind, What] = {
    StepKind.RUN: "run",
    StepKind.PROBE: "probe",
    StepKind.SEND: "send",
    StepKind.SNAPSHOT: "snapshot",
    StepKind.RESET: "reset",
    StepKind.PERSON: "person",
    StepKind.FINISHED: "nothing",
}
PERSON_SECONDS = 20
"""Seconds after which an agent that waits for a person asks again: the host may have been told something."""


Power = Callable[[Asked, GivenStep], GivenStep]
"""What the agent is told where the step is a person's, to switch off and on and nothing else."""


def given_step(store: Store, study: Study, asked: Asked, power: Power | None = None) -> GivenStep:
    """The step for an agent that asks. power: switches off and on where the bench can. Raises StoreError.

    What a person is to see to is told first; once the person has said that it is done, what follows from it.
    """
    serial = f"{asked.agent_serial:08X}"
    if study.agents and serial not in study.agents:
        words = f"Agent {serial} is not one of this study's machine; the study file names them under agents."
        return GivenStep("nothing", words)
    done = read_study(store, study).done
    step = next_step(study, done, asked.boot, asked.warm)
    given = _given(step)
    while step.kind is StepKind.SEND and asked.token == given.token:
        # It was tried, and left no record: there is no such file. The run that follows says so, if it is so.
        step = next_step(study, done, asked.boot, asked.warm, past=step.path)
        given = _given(step)
    if step.power_only and power is not None:
        return power(asked, given)
    if asked.told and asked.token == given.token and step.then is not None:
        return _given(step.then)
    return given


def _given(step: Step) -> GivenStep:
    program = step.program
    person = step.kind is StepKind.PERSON
    return GivenStep(
        _WHAT[step.kind],
        step.words,
        step.cautions if person else (),
        seconds=PERSON_SECONDS if person else 0,
        label=step.label if step.kind in (StepKind.RUN, StepKind.SNAPSHOT, StepKind.PROBE) else "",
        program=program.name if program else "",
        path=program.path if program else step.probe or step.path,
        arguments=program.arguments if program else "",
        keys=program.keys if program else "",
        files=program.files if program else "",
    )
