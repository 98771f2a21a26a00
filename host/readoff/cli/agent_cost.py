"""readoff agent --cost: what READOFF.COM costs a program, counted while one looks on."""

from __future__ import annotations

import click

from readoff.box import agent_cost as box
from readoff.errors import UsageError

_WIDTH = 40


def show_cost(agent: bytes) -> None:
    """Counts and prints. Raises UsageError where a ceiling is passed: such an agent should not be in use."""
    memory, otherwise = box.memory_told(agent)
    passed = [
        _line("READOFF.COM", len(agent), "octets", box.MOST_FILE),
        _line("memory while a program runs", memory, "octets", box.MOST_MEMORY),
        _line("program's own stack", box.programs_stack(agent), "octets", box.MOST_STACK),
    ]
    _line("memory otherwise", otherwise, "octets")
    click.echo("instructions that it adds, its buffer, checks and part of the writing included:")
    tick = box.added_a_tick(agent)
    passed.append(_line("a timer tick (with /T:seconds,R)", tick, "", box.MOST_TICK))
    costs = {}
    for action in box.ACTIONS:
        costs[action.name] = box.added(agent, action)
        passed.append(_line(action.name, costs[action.name], "", box.MOST.get(action)))
    typical = box.Typical()
    octet, poll = (max(costs[action.name] for action in actions) for actions in (box.PRINTED, box.POLLS))
    count = typical.instructions(octet, poll, tick)
    click.echo(
        f"a run of {typical.seconds:g} s that prints {typical.printed:,} octets and polls the keyboard "
        f"{typical.polls:,} times, by the dearest ways:"
    )
    for machine in box.MACHINES:
        share = typical.per_cent(count, machine)
        _line(f"on {machine.name}", share, "%", digits=3)
    clocks = ", ".join(f"{each.clocks:g} on {each.name}" for each in box.MACHINES)
    click.echo(f"(reckoned with so many clocks an instruction: {clocks})")
    if any(passed):
        raise UsageError("a ceiling is passed", where="readoff agent --cost")


def _line(name: str, value: float, unit: str, most: float | None = None, digits: int = 1) -> bool:
    """One line of the answer; whether its ceiling is passed."""
    shown = f"{value:,}" if isinstance(value, int) else f"{abs(value):,.{digits}f}"
    ceiling = f"at most {most:,}" if most is not None else ""
    click.echo(f"  {name:<{_WIDTH}}{shown:>10} {unit:<8}{ceiling}".rstrip())
    return most is not None and round(value, 2) > most
