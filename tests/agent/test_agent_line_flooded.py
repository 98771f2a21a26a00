"""Far ends that never fall silent: the agent gives up in seconds of virtual time, keeps the record, and hears ESC.

The flood comes at 115,200 whatever the agent's port is set to: a port at 9600 could not take in so much, so this is
harder than any line.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from itertools import count, cycle

import pytest

from readoff.box import AT, XT, Box, MachineSpec
from readoff.contract.record import Completeness
from readoff.link.events import Event, Offered
from readoff.link.frames import build_message
from readoff.link.framing import frame
from support.agent_box import EXIT_MISSING, agent_box, readoff, record_names
from support.agent_line import BASE, MILLISECOND, LineBench
from support.box_host import BoxHost
from support.line_records import record, record_id

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

    def __init__(self, octets: bytes, since: int = 0) -> None:
        self._octets = cycle(octets)
        self._sent = since * OCTETS_A_SECOND // 1_000_000

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


@dataclass
class Babbles(BoxHost):
    """A host that begins to send the same without end once it has heard so many octets, at the rate agreed on."""

    after: int = 0
    flood: Flood | None = None

    def exchange(self, now: int, octets: bytes) -> bytes:
        if self.flood is None and self.heard + len(octets) > self.after:
            self.flood = Flood(FLOODS["random octets"], now)
        return self.flood.exchange(now, octets) if self.flood else super().exchange(now, octets)


@on_each
def test_a_host_that_begins_to_babble_in_the_middle_of_a_record(spec: MachineSpec) -> None:
    """Both ports are at 115,200 then. Two offers in vain, 7 s at the start rate, and the agent gives up."""
    box = agent_box(spec)
    readoff(box, "SNAP /L:base")
    (name,) = record_names(box)
    octets = box.drive("C").read(name)
    host, line = Babbles(after=700), box.line(1)
    host.plug(line)
    line.skip_idle(False)
    said, seconds = given_up(box, "SEND /S:COM1", octets)
    assert line.uart.other_divisor == 1 and host.flood is not None
    assert "no longer answers" in said
    assert seconds < 15


# ---- on the bench


@pytest.mark.parametrize("reads", [30, 1000, 4000, 9000])
def test_a_port_that_is_gone_all_of_a_sudden(reads: int) -> None:
    """All its registers read FFh from then on: something has come, and all was sent, for ever."""
    octets = record(1, 9000)
    line = LineBench({"A.RDO": octets})
    line.uart.skip_to = None
    left = count(reads, -1)
    for register in range(8):
        there = line.bench.ports_in[BASE + register]
        line.bench.ports_in[BASE + register] = lambda there=there: there() if next(left) > 0 else 0xFF
    assert line.offer() == 1
    assert next(left) < 0
    assert "the port does not send" in line.said
    assert line.seconds < 8
    assert line.spool == {"A.RDO": octets}


def test_a_host_that_is_busy_all_the_time_unasked() -> None:
    """Ten times a second. Sixteen offers, a second each."""
    octets = record(1, 3000)
    line = LineBench({"A.RDO": octets})
    line.answers = lambda event: busy() if isinstance(event, Offered) and not told else None
    told: list[float] = []

    def busy() -> None:
        told.append(line.seconds)
        line.receiver.refuse(record_id(1), "busy")
        line.pump()
        line.timetable.at(line.engine.now() + 100 * MILLISECOND, busy)

    assert line.offer() == 1
    assert len(told) > 100
    assert line.seconds < 22
    assert line.spool == {"A.RDO": octets}


@pytest.mark.parametrize("what", ["random octets", "frames about another record"])
def test_a_host_that_answers_each_offer_with_garbage(what: str) -> None:
    """Neither is a word from the host about the record: it is given up as a silent one is, rate by rate."""
    octets = record(1, 3000)
    line = LineBench({"A.RDO": octets, "B.RDO": record(2, 3000)})
    draw = random.Random(5)
    other = frame(build_message("have", id=record_id(9), offset=0, holes=[]))

    def garbage(event: Event) -> None:
        if isinstance(event, Offered):
            line.to_uart(draw.randbytes(200) if what == "random octets" else other)

    line.answers = garbage
    assert line.offer() == 2
    assert line.said.count("no longer answers") == 1
    assert line.seconds < 18
    assert sorted(line.spool) == ["A.RDO", "B.RDO"]


def test_xoff_holds_no_agent() -> None:
    """With X a bare XOFF is something of the line's own: nothing waits for an XON that never comes."""
    line = LineBench({"A.RDO": record(1, 3000)})
    line.bench.put("option_xon_xoff", b"\x01")
    line.uart.arrive(b"\x13")
    line.answers = lambda event: (line.to_uart(b"\x13"), line.keep_all(event))[1]
    assert line.offer() == 0
    assert line.spool == {} and line.store.keys() == {record_id(1)}
    assert line.seconds < 3
