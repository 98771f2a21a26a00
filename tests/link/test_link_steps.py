"""Asking for a step: what the frames hold, what a person is shown, and a line that garbles the question."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.contract import link_contract
from readoff.errors import ContractError
from readoff.link import Asker, GivenStep, Receiver
from readoff.link.events import AgentSeen, Asked
from readoff.link.frames import build_message, limit_of, parse_message
from readoff.link.framing import frame
from readoff.link.steps import WIDTH, shown_words, step_values
from support.simulated_line import Desk, Faults, Line

ASKED = Asked(0x11223344, 0xA1B2C37E, fresh=True, token=0x7D11137E)
RUN = GivenStep(
    "run", "Boot 1 of 9", label="zero-ws", program="ways", path="C:\\WAYS.COM", arguments="02 12.5"
)
FCS = 4


class Answering(Desk):
    """An edge that knows one answer."""

    def __init__(self, step):
        super().__init__()
        self.step = step

    def attend(self, receiver, events):
        for event in events:
            if isinstance(event, Asked) and self.step is not None:
                receiver.answer_step(self.step)


def asked_over_a_line(step, faults=None, seed=1):
    """The Asker at one end of a line, a Receiver at the other; what the receiver told."""
    asker = Asker(ASKED)
    return asker, Line(faults or Faults(), seed).run(asker, Receiver(), Answering(step))


def test_a_question_and_its_answer():
    asker, heard = asked_over_a_line(RUN)
    assert heard == [AgentSeen(0x11223344, 0xA1B2C37E, False), ASKED]
    assert ASKED.boot == "11223344-A1B2C37E"
    assert asker.step == {
        "what": "run",
        "token": RUN.token,
        "seconds": 0,
        "label": "zero-ws",
        "program": "ways",
        "path": "C:\\WAYS.COM",
        "arguments": "02 12.5",
        "words": "Boot 1 of 9\r\n",
        "keys": "",
        "files": "",
    }


@pytest.mark.parametrize("seed", range(20))
def test_a_line_that_loses_and_garbles_is_asked_again(seed):
    asker, heard = asked_over_a_line(RUN, Faults(lose=0.2, flip=0.001, double=0.2), seed)
    assert asker.step is not None and asker.step["token"] == RUN.token
    assert {each for each in heard if isinstance(each, Asked)} == {ASKED}


def test_a_host_that_knows_no_steps_is_given_up():
    asker, heard = asked_over_a_line(None)
    assert asker.step is None
    assert sum(isinstance(each, Asked) for each in heard) == 8


def test_what_only_a_host_says_is_stray():
    receiver = Receiver()
    (event,) = receiver.receive(frame(build_message("step", **step_values(RUN))))
    assert "which only a host sends" in event.what
    assert receiver.to_send() == b""


def test_every_name_of_the_enum_can_be_said():
    names = link_contract().declarations.enums["what"].values
    assert list(names.values()) == list(range(9))
    for name in names:
        assert parse_message(build_message("step", **step_values(GivenStep(name)))).values["what"] == name


@given(st.builds(GivenStep, st.just("person"), st.text(max_size=3000), st.tuples(st.text(max_size=300))))
@settings(max_examples=200)
def test_any_words_fit_a_frame_and_a_screen(step):
    payload = build_message("step", **step_values(step))
    assert len(payload) + FCS <= limit_of("frame_limit")
    values = parse_message(payload).values
    assert values["token"] == step.token != 0
    lines = values["words"].split("\r\n")
    assert lines[-1] == ""
    assert all(len(line) <= WIDTH and line.isprintable() for line in lines)


def test_long_words_are_cut_and_cautions_never():
    cautions = (
        "Switch off and unplug before anything is plugged or pulled. " * 3,
        "Hold parts by their edges.",
    )
    shown = shown_words("See to it that. " * 200, cautions, 600)
    assert len(shown) <= 600
    assert "...\r\n- Switch off and unplug" in shown
    assert shown.endswith("- Hold parts by their edges.\r\n")
    with pytest.raises(ContractError, match="cautions are too long"):
        shown_words("x", cautions, 100)


def test_what_the_code_page_lacks_is_a_question_mark_to_a_person_and_an_error_in_a_path():
    assert shown_words("naïve 磁碟 \t\x1b[2J", (), 200) == "naïve ??   [2J\r\n"
    with pytest.raises(ContractError, match="code page 437"):
        step_values(GivenStep("run", path="C:\\磁.COM"))
    with pytest.raises(ContractError, match="125 octets"):
        step_values(GivenStep("run", path="C:\\A.COM", arguments="x" * 126))


def test_another_step_another_token():
    steps = [
        RUN,
        GivenStep("run", "Boot 1 of 9", label="zero-ws", program="ways", path="C:\\WAYS.COM"),
        GivenStep("snapshot", "Boot 1 of 9", label="zero-ws"),
        GivenStep("reset", "Boot 1 of 9"),
    ]
    assert len({each.token for each in steps}) == len(steps)
    assert RUN.token == GivenStep(**{name: getattr(RUN, name) for name in RUN.__dataclass_fields__}).token
