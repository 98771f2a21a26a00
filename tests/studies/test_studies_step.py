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
from readoff.studies.step import KIND_TRIES

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
    """An imagined machine that does each step and forgets everything at a cut; its host keeps what came.

    mark: what it says of how it was booted: the truth, or always the same. switched: how often a person had to.
    """

    def __init__(self, study, mark="true"):
        self.study, self.boots, self.number, self.steps = study, [], 1, 0
        self.mark, self.really_warm, self.switched = mark, False, 0

    @property
    def warm(self):
        return self.really_warm if self.mark == "true" else self.mark == "always warm"

    @property
    def name(self):
        return f"b{self.number}"

    @property
    def done(self):
        return Done(tuple(self.boots))

    def ask(self):
        step = next_step(self.study, self.done, self.name, self.warm)
        assert step == next_step(self.study, self.done, self.name, self.warm)
        self.steps += 1
        if step.kind is StepKind.PERSON and step.then is not None:
            step = step.then  # the person said yes
        if step.kind is StepKind.SNAPSHOT:
            assert all(each.boot != self.name for each in self.boots)
            self.boots.append(BootSeen(self.name, step.label, self.warm, 1))
        elif step.kind is StepKind.RUN:
            here = self.boots[-1]
            assert (here.boot, here.label) == (self.name, step.label)
            self.boots[-1] = replace(here, runs=(*here.runs, a_run(step.program.name)))
        elif step.kind is StepKind.RESET:
            self.cut(warm=True)
        elif step.kind is StepKind.PERSON:
            self.switched += step.power_only
            self.cut(warm="Then reset it" in step.words)
        return step

    def cut(self, *, warm=False):
        self.number += 1
        self.really_warm = warm


@settings(max_examples=60)
@given(
    st.sets(st.integers(0, 80), max_size=8),
    st.booleans(),
    st.booleans(),
    st.integers(1, 3),
    st.integers(1, 3),
    st.sampled_from(["true", "always warm", "always cold"]),
)
def test_any_resets_and_power_cuts_end_in_the_same_plan(cuts, cold, fitting, boots, repeats, mark):
    study = a_study(cold=cold, fitting=fitting, boots=boots, repeats=repeats)
    bench = Bench(study, mark)
    while bench.ask().kind is not StepKind.FINISHED:
        assert bench.steps < 400
        if bench.steps in cuts:
            bench.cut(warm=bench.steps % 2 == 0)
    progress = progress_of(study, bench.done)
    assert not progress.open and not progress.surplus
    for label in ("base", "fast"):
        whole = [each for each in bench.boots if each.label == label and not missing(study, bench.done, each)]
        assert len(whole) == boots
        assert all(len(each.runs) == repeats * len(PROGRAMS) for each in whole)
        # Nothing is run in a boot of the other kind, unless so many follow each other that the mark is not believed.
        if mark == "true" and len(cuts) < KIND_TRIES - 1:
            assert all(each.warm is not cold for each in bench.boots if each.runs)
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
    step = next_step(replace(study, cold=True), done, "b2")
    assert step.kind is StepKind.PERSON and step.power_only


def an_idle_boot(name, label, warm):
    return BootSeen(name, label, warm, 1)


def test_a_boot_of_the_other_kind_is_made_again_before_anything_runs_in_it():
    warm_study = a_study(cold=False)
    step = next_step(warm_study, Done((an_idle_boot("b1", "base", False),)), "b1")
    assert step.kind is StepKind.RESET and "the study asks for warm" in step.words
    cold_study = a_study()
    step = next_step(cold_study, Done((an_idle_boot("b1", "base", True),)), "b1")
    assert step.kind is StepKind.PERSON and step.power_only and "the study asks for cold" in step.words
    # Not known: it is gone on with.
    assert next_step(cold_study, Done((an_idle_boot("b1", "base", None),)), "b1").kind is StepKind.RUN


def test_a_machine_that_never_shows_the_kind_asked_for_is_not_reset_for_ever():
    study = a_study(cold=False)
    idle = [an_idle_boot(f"b{number}", "base", False) for number in range(KIND_TRIES)]
    assert next_step(study, Done(tuple(idle[:-1])), idle[-2].boot).kind is StepKind.RESET
    assert next_step(study, Done(tuple(idle)), idle[-1].boot).kind is StepKind.RUN
    # A boot of the other configuration between them: it is to be found out again.
    between = Done((*idle[:-1], a_boot("b", "fast"), idle[-1]))
    assert next_step(study, between, idle[-1].boot).kind is StepKind.RESET


def test_a_person_who_changed_a_setting_by_a_reset_is_asked_to_switch_off():
    study = a_study()
    step = next_step(study, Done(), "b1", True)
    assert step.kind is StepKind.PERSON and "Switch off" in step.words
    assert step.then is not None and step.then.kind is StepKind.SNAPSHOT


def test_boots_on_the_way_lack_nothing():
    study = a_study(cold=False)
    progress = progress_of(study, Done((an_idle_boot("b1", "base", False),)))
    assert not progress.incomplete and len(progress.open) == 4


def test_taking_a_part_out_again_has_the_cautions_of_fitting_it():
    study = a_study(fitting=True)
    done = Done((a_boot("b1", "base"), a_boot("b2", "fast"), a_boot("b3", "fast")))
    step = next_step(study, done, "b3")
    assert step.label == "base"
    assert any("unplug" in caution for caution in step.cautions)
    order = [step.words.index(each) for each in ("Switch off", "unplug it", "as it was", "switch on again")]
    assert order == sorted(order)  # nothing is fitted before the plug is out


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
