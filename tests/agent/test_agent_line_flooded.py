"""Far ends that never fall silent: the agent gives up in seconds of virtual time, keeps the record, and hears ESC.

The flood comes at 115,200 whatever the agent's port is set to: a port at 9600 could not take in so much, so this is
harder than any line.
"""

from __future__ import annotations

import random
from itertools import cycle

import pytest

from readoff.box import AT, XT, Box, MachineSpec
from readoff.contract.record import Completeness
from support.agent_box import EXIT_MISSING, agent_box, readoff, record_names

FLOODS = {
    "a stuck break": b"\0",
    "flags": b"\x7e",
    "escapes": b"\x7d",
    "XOFF": b"\x13",
    "a boot log": b"[    0.000000] booting, 640K ok\r\n",
    "random octets": random.Random(4).randbytes(4001),
}
OCTETS_A_SECOND = 11_520
on_each = pytest.mark.parametrize("spec", [XT, AT], ids=lambda spec: spec.name)


class Flood:
    """A far end that sends the same again and again, without a pause, whatever it hears."""

    def __init__(self, octets: bytes) -> None:
        self._octets = cycle(octets)
        self._sent = 0

    def exchange(self, now: int, octets: bytes) -> bytes:
        due = (now + 1000) * OCTETS_A_SECOND // 1_000_000 - self._sent  # always a millisecond ahead
        self._sent += due
        return bytes(next(self._octets) for _ in range(due))


def flooded(spec: MachineSpec, octets: bytes) -> tuple[Box, bytes]:
    """A box with a record in its spool and a flood on its line."""
    box = agent_box(spec, "WAYS.COM")
    readoff(box, "SNAP /L:base")
    (name,) = record_names(box)
    line = box.line(1)
    line.skip_idle(False)  # the agent counts its looks for a next octet; none is left out
    line.uart.other_divisor = 1
    line.attach(Flood(octets), every=200)
    return box, box.drive("C").read(name)


def given_up(box: Box, tail: str, octets: bytes) -> tuple[str, float]:
    """Run the agent, which must give up and keep the record; what it said, and virtual seconds."""
    (name,) = record_names(box)
    ran = readoff(box, tail)
    assert ran.exit.code == EXIT_MISSING, ran.said
    assert box.drive("C").read(name) == octets
    return ran.said, ran.exit.seconds


@pytest.mark.parametrize("what", FLOODS)
@on_each
def test_a_flood_costs_the_agent_seconds_and_no_record(spec: MachineSpec, what: str) -> None:
    box, octets = flooded(spec, FLOODS[what])
    said, seconds = given_up(box, "SEND /S:COM1" + ",115200,X" * (what == "XOFF"), octets)
    assert "no host answers" in said
    assert seconds < 5


@on_each
def test_standby_on_a_flooded_line_gives_the_prompt_back(spec: MachineSpec) -> None:
    box, octets = flooded(spec, FLOODS["random octets"])
    said, seconds = given_up(box, "STANDBY /S:COM1", octets)
    assert "no host answers" in said and "no longer standing by" in said
    assert seconds < 5


@on_each
def test_a_run_on_a_flooded_line_is_kept(spec: MachineSpec) -> None:
    """It takes no more than a SEND longer than without a line."""
    box, octets = flooded(spec, FLOODS["random octets"])
    alone = readoff(box, "RUN /L:base WAYS.COM")
    there = record_names(box)
    ran = readoff(box, "RUN /L:base /S:COM1 WAYS.COM")
    assert ran.exit.code == EXIT_MISSING and "no host answers" in ran.said
    assert ran.exit.seconds - alone.exit.seconds < 5
    assert record_names(box) == sorted([*there, *ran.records])
    assert ran.run.completeness is Completeness.WHOLE
    assert box.drive("C").read(there[0]) == octets


@pytest.mark.parametrize("command", ["SEND", "STANDBY"])
@on_each
def test_escape_ends_the_wait_on_a_flooded_line(spec: MachineSpec, command: str) -> None:
    box, octets = flooded(spec, FLOODS["a stuck break"])
    box.type_at(0.7, "\x1b")
    said, seconds = given_up(box, f"{command} /S:COM1", octets)
    assert "stopped" in said and "no host answers" not in said
    assert seconds < 2.5
