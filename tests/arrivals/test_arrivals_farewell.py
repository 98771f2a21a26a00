"""What an agent's last word leaves in the status of its line, and what takes it back."""

import pytest

from readoff.arrivals.clerk import Clerk
from readoff.arrivals.desk import Desk
from readoff.arrivals.told import Status
from readoff.contract.record import RecordId
from readoff.link.events import AgentSeen, Asked, Bye, Noise, StartedAgain
from readoff.link.steps import GivenStep
from support.memory_intake import MemoryIntake

IDENT = RecordId(1, 2, 3)


def _nothing(octets):
    """Answers go nowhere."""


@pytest.fixture
def desk():
    return Desk(Clerk(MemoryIntake(), lambda what: None), Status("line", "line"))


def test_nothing_is_known_before_the_agent_says_it(desk):
    assert desk.status.left is None
    desk.attend([AgentSeen(1, 2, False)], _nothing)
    assert desk.status.left is None


@pytest.mark.parametrize("left", [0, 3])
def test_the_farewell_stays_until_the_agent_speaks_again(desk, left):
    desk.attend([Bye(left), Noise(3, b"abc", "no frame")], _nothing)
    assert desk.status.left == left
    desk.attend([AgentSeen(1, 2, False)], _nothing)
    assert desk.status.left is None


def test_a_record_begun_again_takes_it_back(desk):
    desk.attend([Bye(0), StartedAgain(IDENT, 5, "its length differs")], _nothing)
    assert desk.status.left is None


def test_an_agent_that_asks_for_a_step_takes_it_back():
    clerk = Clerk(MemoryIntake(), lambda what: None)
    clerk.step = lambda asked: GivenStep("nothing", "There is nothing to do.")
    desk = Desk(clerk, Status("line", "line"))
    desk.attend([Bye(0), Asked(1, 2)], _nothing)
    assert desk.status.left is None
