"""What the agent costs the program: instructions that it adds, counted and bounded as docs/agent.md says."""

from __future__ import annotations

import pytest

from readoff.box import AT
from support.agent_bench import SEGMENT, Bench
from support.agent_box import agent_box, run_under_agent
from support.box_programs import run_source

COST = """
main:   mov     cx, {count}
.next:  push    cx
        {body}
        pop     cx
        loop    .next
        exit
"""
# What docs/agent.md says of the cost: (calls, most instructions that the agent adds to each).
COSTS = {
    "a printed octet": ("mov dl, 'x'\n mov ah, 2\n int 21h", 110),
    "an octet by INT 29h": ("mov al, 'x'\n int 29h", 75),
    "an octet by the BIOS": ("mov ax, 0E41h\n mov bx, 7\n int 10h", 55),
    "another INT 10h": ("mov ah, 3\n mov bh, 0\n int 10h", 7),
    "another INT 21h": ("mov ah, 19h\n int 21h", 30),
    "a keyboard poll": ("mov ah, 1\n int 16h", 40),
    "another INT 16h": ("mov ah, 2\n int 16h", 3),
    "a write to a handle that is no console": (
        "mov bx, 4\n mov cx, 1\n mov dx, 100h\n mov ah, 40h\n int 21h",
        30,
    ),
    "pure computing": ("nop", 0),
}


def instructions(body: str, *, under: bool, count: int) -> int:
    box = agent_box(AT)
    source = COST.format(body=body, count=count)
    with box.counting() as counted:
        if under:
            run_under_agent(box, source)
        else:
            run_source(box, source)
        return counted()


@pytest.mark.parametrize("name", COSTS)
def test_the_cost_to_the_program_is_counted_and_bounded(name: str) -> None:
    """Guest instructions that the agent adds a call, all of them: hooks, buffer, check, its part of the writing."""
    body, most = COSTS[name]
    more = {under: instructions(body, under=under, count=300) for under in (True, False)}
    less = {under: instructions(body, under=under, count=100) for under in (True, False)}
    added = (more[True] - less[True] - more[False] + less[False]) / 200
    assert 0 <= added <= most, added


def test_a_timer_tick_costs_six_instructions(bench: Bench) -> None:
    """Where a reset was asked for; otherwise the timer's interrupt is not hooked at all."""
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
