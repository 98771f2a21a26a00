"""What the agent costs the program: instructions that it adds, memory, stack; counted and held to stated ceilings."""

from __future__ import annotations

import pytest

from readoff.box import agent_cost
from readoff.box.agent_cost import ACTIONS, MACHINES, MOST_POLL, MOST_TICK, POLLS, PRINTED, Typical
from support.agent_bench import SEGMENT, Bench
from support.agent_box import AGENT
from support.commands import run

OTHERS = {"another INT 10h": 8, "another INT 16h": 5, "another INT 21h": 16}


def test_the_ceilings_are_those_that_are_promised() -> None:
    """docs/agent.md: none to computing, 40 a printed octet, 40 a poll whichever way, 20 a tick."""
    promised = {action.name: most for action, most in agent_cost.MOST.items()}
    assert promised == {action.name: 40 for action in (*PRINTED, *POLLS)} | {"pure computing": 0}
    assert {action.name for action in ACTIONS} == promised.keys() | OTHERS.keys()
    assert (MOST_POLL, MOST_TICK) == (40, 20)


@pytest.mark.parametrize("action", ACTIONS, ids=lambda action: action.name)
def test_what_an_action_costs_stays_below_its_ceiling(action: agent_cost.Action) -> None:
    """Guest instructions that the agent adds, all of them: hooks, buffer, check, its part of the writing."""
    added = agent_cost.added(AGENT.read_bytes(), action)
    assert -0.005 < added < agent_cost.MOST.get(action, OTHERS.get(action.name, 0)) + 0.005
    assert (added > 1) == (action is not agent_cost.COMPUTING)


@pytest.mark.parametrize("action", POLLS, ids=lambda action: action.name)
def test_a_poll_costs_no_more_while_keys_wait_to_be_typed(action: agent_cost.Action) -> None:
    assert 1 < agent_cost.added(AGENT.read_bytes(), action, options='/K:"[pause 1800]x"') < MOST_POLL


def test_a_poll_by_the_bios_after_one_by_dos_costs_no_more() -> None:
    both = agent_cost.Action("by DOS, then by the BIOS", b"\xb4\x0b\xcd\x21\xb4\x01\xcd\x16", 2)
    assert 1 < agent_cost.added(AGENT.read_bytes(), both) < MOST_POLL


def test_a_timer_tick_costs_little() -> None:
    """Where a reset was asked for or keys are typed; otherwise the timer's interrupt is not hooked at all."""
    assert 5 < agent_cost.added_a_tick(AGENT.read_bytes()) < 7 < MOST_TICK


def test_a_timer_tick_costs_six_instructions(bench: Bench) -> None:
    """The same on the bench, exactly."""
    bench.poke(bench.at("scratch"), b"\xc3")  # the next handler: back to the bench
    bench.poke(
        bench.at("old_tick"), bench.symbols["scratch"].to_bytes(2, "little") + SEGMENT.to_bytes(2, "little")
    )
    bench.word("ticks_left", 0)
    bench.poke(bench.at("ticks_left") + 2, b"\x01\0")
    counted = bench.count_instructions()
    bench.call("hook_tick")
    assert counted() - 2 == 6  # less the handler's RET and the bench's HLT
    assert bench.octets("ticks_left", 4) == b"\xff\xff\0\0"


def test_memory_and_the_programs_stack_stay_below_their_ceilings() -> None:
    agent = AGENT.read_bytes()
    memory, otherwise = agent_cost.memory_told(agent)
    assert len(agent) <= agent_cost.MOST_FILE and memory <= agent_cost.MOST_MEMORY < otherwise
    assert 0 < agent_cost.programs_stack(agent) <= agent_cost.MOST_STACK


def test_shares_are_clocks_of_clocks() -> None:
    """2,000 octets at 40, 500 polls at 30, 182 ticks at 6: 96,092 instructions; by hand from there."""
    typical = Typical()
    assert typical.instructions(40, 30, 6) == pytest.approx(96_092, abs=1)
    shares = [typical.per_cent(96_092, machine) for machine in MACHINES]
    assert shares == pytest.approx([100 * 96_092 * 20 / 47_727_270, 100 * 96_092 * 3 / 660_000_000])


@pytest.mark.parametrize(("printed", "status"), [(39.5, 0), (40.5, 2)])
def test_the_command_prints_all_of_it(monkeypatch: pytest.MonkeyPatch, printed: float, status: int) -> None:
    """A ceiling that is passed is told. The counting itself is tested above."""
    costs = {action.name: 0.0 if action is agent_cost.COMPUTING else 30.0 for action in ACTIONS}
    costs[PRINTED[0].name] = printed
    monkeypatch.setattr(agent_cost, "added", lambda agent, action: costs[action.name])
    said = run("agent", "--cost", status=status).output
    for word in (
        "READOFF.COM",
        "memory while",
        "own stack",
        "timer tick",
        "8088 at 4.77",
        "486 at 66",
        "at most 40",
    ):
        assert word in said
    for action in ACTIONS:
        assert action.name in said
    assert ("a ceiling is passed" in said) == bool(status)
