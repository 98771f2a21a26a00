"""When the power is switched, and above all when not. The switching itself is a stand-in here."""

import threading
from dataclasses import replace

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from readoff.link.events import Asked
from readoff.link.steps import GivenStep
from readoff.power import Bench, Cycled, Keeper

SERIAL = 0x11223344
BENCH = Bench("desk", ("11223344",), (("/bin/true",),), (("/bin/true",),))
PERSON = GivenStep("person", "Boot 2 of 6, fast: Switch off and on.", ("Not unwatched.",), seconds=20)


class Rig:
    """A keeper whose switch does what the test says, and a clock of the test's own."""

    def __init__(self, bench=BENCH):
        self.told, self.switched, self.clock = [], 0, 0.0
        self.result, self.gate = Cycled(), threading.Event()
        self.gate.set()
        self.keeper = Keeper(
            bench, self.told.append, switch=self.switch, now=lambda: self.clock, pause=lambda _: None
        )

    def switch(self, bench, tell):
        assert self.gate.wait(10)
        self.switched += 1
        return self.result

    def ask(self, boot=1, token=0, *, told=False, at_rest=True, person=PERSON, serial=SERIAL):
        asked = Asked(serial, boot, token=token, told=told, at_rest=at_rest)
        self.keeper.heard(asked)
        return self.keeper.answer(asked, person)

    def ready(self, boot=1, **more):
        """Asks, gets ready, says so; gives the answer to that."""
        step = self.ask(boot, **more)
        assert step.what == "power", step
        return self.ask(boot, step.token, told=True, **more)

    def settle(self):
        self.keeper.finish()


def test_an_agent_gets_ready_says_so_and_is_told_to_wait():
    rig = Rig()
    step = rig.ask()
    assert step.what == "power" and "Hands off" in step.words and step.cautions == PERSON.cautions
    assert rig.ask() == step, "asking twice is asking once"
    assert rig.switched == 0
    assert rig.ready().what == "wait"
    rig.settle()
    assert rig.switched == 1


@pytest.mark.parametrize(
    "more", [{"told": False}, {"told": True, "token": 7}, {"told": True, "token": PERSON.token}]
)
def test_without_the_agents_word_for_this_very_step_nothing_is_switched(more):
    rig = Rig()
    assert rig.ask(**more).what == "power"
    rig.settle()
    assert rig.switched == 0


def test_records_on_the_way_put_it_off_and_then_a_person_is_asked():
    rig = Rig()
    steps = [rig.ready(at_rest=False) for _ in range(6)]
    assert {each.what for each in steps} == {"power"}
    step = rig.ask(at_rest=False)
    assert step.what == "person" and "not at rest" in step.words
    assert rig.switched == 0


def test_an_agent_of_another_machine_switches_nothing():
    rig = Rig()
    assert rig.ask(serial=SERIAL + 1) == PERSON


def test_while_it_is_switched_every_question_waits_and_none_starts_another():
    rig = Rig()
    rig.gate.clear()
    rig.ready()
    assert rig.ask().what == "wait"
    ready = replace(PERSON, what="power")
    assert rig.ask(token=ready.token, told=True).what == "wait"
    rig.gate.set()
    rig.settle()
    assert rig.switched == 1


def test_a_machine_that_kept_its_power_is_a_persons():
    rig = Rig()
    rig.ready()
    rig.settle()
    step = rig.ask()
    assert step.what == "person" and "kept its power" in step.words and step.cautions == PERSON.cautions
    assert any("kept its power" in line for line in rig.told)


def test_a_command_that_failed_is_told_and_a_person_asked_until_the_plan_has_gone_on():
    rig = Rig()
    rig.result = Cycled("switching off: outlet: did not do it: it ended with status 1")
    rig.ready()
    rig.settle()
    step = rig.ask()
    assert step.what == "person" and "status 1" in step.words
    assert any("a person is needed" in line for line in rig.told)
    rig.clock, rig.result = 1000.0, Cycled()
    following = replace(PERSON, words="Boot 3 of 6, base: Switch off and on.")
    assert rig.ready(boot=2, person=following).what == "wait"
    rig.settle()


def test_between_two_times_it_rests():
    rig = Rig()
    rig.ready()
    rig.settle()
    following = replace(PERSON, words="Boot 3 of 6.")
    step = rig.ready(boot=2, person=following)
    assert step.what == "wait" and "rests" in step.words
    rig.settle()
    assert rig.switched == 1
    rig.clock += BENCH.rest_seconds
    rig.ready(boot=2, person=following)
    rig.settle()
    assert rig.switched == 2


def test_a_boot_that_brings_the_plan_no_further_is_switched_for_twice_and_no_more():
    rig = Rig()
    for boot in (1, 2):
        rig.clock += BENCH.rest_seconds
        assert rig.ready(boot=boot).what == "wait"
        rig.settle()
    rig.clock += BENCH.rest_seconds
    step = rig.ask(boot=3)
    assert step.what == "person" and "switched 2 times for this boot" in step.words
    assert rig.switched == 2


def test_somebody_holds_the_power(tmp_path):
    hold = tmp_path / "HANDS-OFF"
    rig = Rig(replace(BENCH, hold=str(hold)))
    step = rig.ask()
    hold.touch()
    step = rig.ask(token=step.token, told=True)
    assert step.what == "person" and "somebody holds the power" in step.words
    hold.unlink()
    assert rig.ready().what == "wait"
    rig.settle()


def test_a_dry_run_asks_a_person_and_tells_once_what_it_would_start():
    rig = Rig(replace(BENCH, dry_run=True))
    for _ in range(3):
        assert rig.ask().what == "person"
    assert len(rig.told) == 3 and rig.told[0].startswith("dry run: off: /bin/true, ")
    assert rig.switched == 0


def test_a_machine_that_does_not_come_back_is_told():
    rig = Rig(replace(BENCH, boot_seconds=0.05))
    rig.ready()
    rig.keeper._worker.join(5)
    assert any("has not come back in 0.05 s: a person is needed" in line for line in rig.told)


def test_a_mistake_of_our_own_leaves_a_person_to_it(monkeypatch):
    rig = Rig()

    def broken(bench, tell):
        raise RuntimeError("a mistake")

    monkeypatch.setattr(threading, "excepthook", lambda _: None)
    rig.keeper._switch = broken
    rig.ready()
    rig.settle()
    assert "mistake of this program" in rig.ask(boot=2).words


class AnyQuestions(RuleBasedStateMachine):
    """Whatever a line brings, nothing is switched but on the agent's word for the step in hand, with all at rest."""

    def __init__(self):
        super().__init__()
        self.rig, self.allowed, self.last = Rig(), 0, None

    @rule(
        boot=st.integers(0, 3),
        token=st.sampled_from([0, 1, PERSON.token, GivenStep("power", "x").token]),
        told=st.booleans(),
        at_rest=st.booleans(),
        serial=st.sampled_from([SERIAL, 1]),
        number=st.integers(2, 4),
    )
    def any_question(self, boot, token, told, at_rest, serial, number):
        person = replace(PERSON, words=f"Boot {number} of 6.")
        self.last = (
            person,
            self.rig.ask(boot, token, told=told, at_rest=at_rest, serial=serial, person=person),
        )
        self.rig.settle()

    @precondition(lambda self: self.last is not None and self.last[1].what == "power")
    @rule(boot=st.integers(0, 3), at_rest=st.booleans())
    def the_word(self, boot, at_rest):
        person, step = self.last
        answer = self.rig.ask(boot, step.token, told=True, at_rest=at_rest, person=person)
        self.allowed += at_rest and answer.what == "wait" and "goes off now" in answer.words
        self.last = person, answer
        self.rig.settle()

    @rule()
    def time_passes(self):
        self.rig.clock += 100

    @invariant()
    def only_then(self):
        assert self.rig.switched == self.allowed


AnyQuestions.TestCase.settings = settings(max_examples=40, stateful_step_count=20)
TestAnyQuestions = AnyQuestions.TestCase
