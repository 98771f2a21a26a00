"""STANDBY's step power in the test machine: when the agent says that the power may go, and when it does not."""

from dataclasses import dataclass

from readoff.box.dos import Dos
from readoff.link.steps import GivenStep
from support.agent_box import EXIT_ALL, EXIT_MISSING, record_names
from support.standby_scripted import Scripted, stand_by

POWER = GivenStep("power", "The power goes off and on.")
GOES = GivenStep("wait", "The power goes off now.", seconds=20)


def test_an_empty_spool_and_written_buffers_are_said():
    _, host, exit_ = stand_by(GivenStep("snapshot", label="base"), POWER, GOES)
    assert exit_.code == EXIT_ALL and len(host.store) == 1
    said = [(each.told, each.token, each.at_rest) for each in host.asked]
    assert said[1:3] == [(False, host.asked[1].token, True), (True, POWER.token, True)]
    assert said[3] == (False, GOES.token, True)
    assert exit_.console.decode("cp437").count("The power goes off and on.") == 1


def test_dos_is_asked_to_write_its_buffers_before_it_is_said(monkeypatch):
    flushed = []

    host = Scripted(steps=[POWER, GOES])
    monkeypatch.setattr(Dos, "f_0d", lambda dos, frame: flushed.append(len(host.asked)))
    stand_by(before=lambda box, _: box.line(1).attach(host))
    assert flushed == [1] and host.asked[1].told


@dataclass
class Unwilling(Scripted):
    """A host whose store takes nothing."""

    def __post_init__(self):
        super().__post_init__()
        self.receiver.kept = lambda id, length, check: self.receiver.refuse(id)


def test_with_a_record_that_nobody_keeps_it_is_never_said():
    host = Unwilling(steps=[GivenStep("snapshot", label="base"), POWER, POWER, POWER])
    box, _, exit_ = stand_by(before=lambda box, _: box.line(1).attach(host))
    assert not any(each.told for each in host.asked) and len(host.asked) == 5
    assert not any(each.at_rest for each in host.asked[1:])
    assert len(record_names(box)) == 1
    assert exit_.seconds > 10  # it is not asked again at once


def test_with_keep_what_the_host_has_kept_is_no_hindrance():
    box, host, _ = stand_by(GivenStep("snapshot", label="base"), POWER, options="/S:COM1,38400 /KEEP")
    assert len(record_names(box)) == 1
    assert host.asked[2].told and host.asked[2].at_rest


def test_escape_gives_the_prompt_back_before_it_is_said():
    def before(box, host):
        box.type_at(2.0, "\x1b")

    _, host, exit_ = stand_by(GivenStep("wait", "Busy.", seconds=1), POWER, POWER, POWER, before=before)
    assert exit_.code == EXIT_MISSING
    assert exit_.seconds < 5 and not any(each.told for each in host.asked)


def test_a_host_that_does_not_switch_is_asked_again_at_leisure():
    _, host, exit_ = stand_by(POWER, POWER, POWER)
    assert [each.told for each in host.asked] == [False, True, True, True]
    assert "That is not all" not in exit_.console.decode("cp437")
    assert exit_.seconds > 10
