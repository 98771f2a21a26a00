"""The next step: a bench that does what it is told ends with the whole plan done, whatever is cut on the way."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.studies import (
    BootSeen,
    ChangeBack,
    Configuration,
    Done,
    Excluded,
    Note,
    Program,
    RunSeen,
    StepKind,
    Study,
    Wanted,
    missing,
    next_step,
    progress_of,
)

PROGRAMS = (Program("replay", r"C:\R.COM"), Program("loop", r"C:\L.COM", "20"))


def a_study(*, boots=2, repeats=2, cold=True, fitting=False, excluded=()):
    how = ChangeBack.FITTING if fitting else ChangeBack.SETTING
    configurations = (Configuration("base", "as it was"), Configuration("fast", "no wait states", how))
    wanted = (Wanted("replay", "rate", 0.02),)
    return Study(
        "s", "m", configurations, PROGRAMS, wanted, boots=boots, repeats=repeats, cold=cold, excluded=excluded
    )


def a_run(program, good=True):
    return RunSeen(1, "id", program, good, "" if good else "it hung")


def a_boot(name, label, replay=2, loop=2, snapshots=1, bad=()):
    runs = [a_run("replay")] * replay + [a_run("loop")] * loop + [a_run(each, False) for each in bad]
    return BootSeen(name, label, False, snapshots, False, tuple(runs))


class Bench:
    """An imagined machine that does each step and forgets everything at a cut; its host keeps what came."""

    def __init__(self, study):
        self.study, self.boots, self.number, self.steps = study, [], 1, 0

    @property
    def name(self):
        return f"b{self.number}"

    @property
    def done(self):
        return Done(tuple(self.boots))

    def ask(self):
        step = next_step(self.study, self.done, self.name)
        assert step == next_step(self.study, self.done, self.name)
        self.steps += 1
        if step.kind is StepKind.PERSON and step.then is not None:
            step = step.then  # the person said yes
        if step.kind is StepKind.SNAPSHOT:
            assert all(each.boot != self.name for each in self.boots)
            self.boots.append(BootSeen(self.name, step.label, False, 1))
        elif step.kind is StepKind.RUN:
            here = self.boots[-1]
            assert (here.boot, here.label) == (self.name, step.label)
            self.boots[-1] = replace(here, runs=(*here.runs, a_run(step.program.name)))
        elif step.kind in (StepKind.RESET, StepKind.PERSON):
            self.cut()
        return step

    def cut(self):
        self.number += 1


@settings(max_examples=60)
@given(
    st.sets(st.integers(0, 80), max_size=8),
    st.booleans(),
    st.booleans(),
    st.integers(1, 3),
    st.integers(1, 3),
)
def test_any_resets_and_power_cuts_end_in_the_same_plan(cuts, cold, fitting, boots, repeats):
    study = a_study(cold=cold, fitting=fitting, boots=boots, repeats=repeats)
    bench = Bench(study)
    while bench.ask().kind is not StepKind.FINISHED:
        assert bench.steps < 400
        if bench.steps in cuts:
            bench.cut()
    progress = progress_of(study, bench.done)
    assert not progress.open and not progress.surplus
    for label in ("base", "fast"):
        whole = [each for each in bench.boots if each.label == label and not missing(study, bench.done, each)]
        assert len(whole) == boots
        assert all(len(each.runs) == repeats * len(PROGRAMS) for each in whole)
    assert len(progress.incomplete) <= len(cuts)


def test_the_first_step_is_a_persons_and_names_the_change():
    step = next_step(a_study(), Done())
    assert step.kind is StepKind.PERSON
    assert "Boot 1 of 4" in step.words and step.cautions


def test_a_fresh_boot_begins_with_a_snapshot_once_somebody_says_what_it_is():
    step = next_step(a_study(), Done(), "b1")
    assert (step.kind, step.then.kind) == (StepKind.PERSON, StepKind.SNAPSHOT)
    assert "Make sure that the machine is now" in step.words


def test_runs_go_in_turn_through_the_programs():
    done = Done((a_boot("b1", "base", replay=1, loop=0),))
    step = next_step(a_study(), done, "b1")
    assert (step.kind, step.program.name, step.repeat) == (StepKind.RUN, "loop", 1)
    assert r"C:\L.COM 20" in step.words


def test_warm_boots_reset_themselves_while_the_configuration_stays():
    study = a_study(cold=False, fitting=True)
    labels = [each.planned.label for each in progress_of(study, Done()).open]
    assert labels == ["base", "fast", "fast", "base"]
    done = Done((a_boot("b1", "base"), a_boot("b2", "fast")))
    assert next_step(study, done, "b2").kind is StepKind.RESET
    assert next_step(replace(study, cold=True), done, "b2").kind is StepKind.PERSON


def test_taking_a_part_out_again_has_the_cautions_of_fitting_it():
    study = a_study(fitting=True)
    done = Done((a_boot("b1", "base"), a_boot("b2", "fast"), a_boot("b3", "fast")))
    step = next_step(study, done, "b3")
    assert step.label == "base"
    assert any("unplug" in caution for caution in step.cautions)


def test_a_program_that_fails_is_tried_in_one_more_boot_and_then_asked_about():
    study = a_study()
    once = Done((a_boot("b1", "base", loop=0, bad=["loop"]),))
    assert next_step(study, once, "b1").kind is StepKind.PERSON  # nothing left in this boot
    first = progress_of(study, once).open[0].planned.label
    twice = Done(tuple(a_boot(f"b{n}", first, loop=0, bad=["loop"]) for n in (1, 2)))
    step = next_step(study, twice, "b2")
    assert "loop did not go through in 2 boots" in step.words and "it hung" in step.words
    noted = replace(twice, notes=(Note(1, "", first, "loop", True, "hangs"),))
    assert "did not go through" not in next_step(study, noted, "b2").words
    assert len(progress_of(study, noted).open) == 2


def test_a_configuration_that_failed_is_passed_over():
    study = a_study()
    done = Done(
        (a_boot("b1", "base"), a_boot("b2", "base")), (Note(1, "", "fast", "", True, "does not start"),)
    )
    assert next_step(study, done).kind is StepKind.FINISHED
    remark = replace(done, notes=(Note(1, "", "fast", "", False, "hums"),))
    assert next_step(study, remark).label == "fast"


def test_excluded_and_earlier_boots_fill_no_place():
    boots = tuple(a_boot(f"11223344-0000000{n}", "base") for n in (1, 2))
    study = a_study(excluded=(Excluded("11223344-00000001", "a cable was loose"),))
    assert len(progress_of(study, Done(boots)).open) == 3
    joined = tuple(replace(each, joined=True) for each in boots)
    assert len(progress_of(a_study(), Done(joined)).open) == 4


def test_surplus_boots_are_told():
    done = Done(tuple(a_boot(f"b{n}", "base") for n in range(3)))
    assert [each.boot for each in progress_of(a_study(), done).surplus] == ["b2"]


@pytest.mark.parametrize("asking", ["", "b1"])
def test_finished(asking):
    order = [each.planned.label for each in progress_of(a_study(), Done()).open]
    done = Done(tuple(a_boot(f"b{n}", label) for n, label in enumerate(order, 1)))
    assert next_step(a_study(), done, asking).kind is StepKind.FINISHED
