"""Lines that carry something else, or keep something for themselves: it costs a note, never a record."""

from __future__ import annotations

import random

import pytest

from readoff.box import AT, Box
from readoff.link.events import AgentSeen, Noise
from readoff.link.receiver import Receiver
from support.agent_box import EXIT_ALL, EXIT_MISSING, agent_box, readoff, record_names
from support.box_host import BoxHost

XON, XOFF = 0x11, 0x13
OTHERS = {
    "a modem's words": b"ATZ\r\r\nOK\r\nRING\r\nNO CARRIER\r\n",
    "a boot log": b"[    0.000000] booting, 640K ok\r\n" * 20,
    "noise with flags": random.Random(4).randbytes(600) + b"\x7e\x7d\x7e" * 20,
}


def with_record() -> tuple[Box, bytes]:
    """A box with one record in its spool, full of XON and XOFF, flags and escapes."""
    box = agent_box(AT)
    box.drive("C").write("CONFIG.SYS", bytes([XON, XOFF, 0x7E, 0x7D]) * 500)
    assert readoff(box, "SNAP /L:base").exit.code == EXIT_ALL
    (name,) = record_names(box)
    return box, box.drive("C").read(name)


@pytest.mark.parametrize("seed", range(3))
def test_a_line_that_takes_xon_and_xoff_for_itself_and_sends_its_own(seed: int) -> None:
    """Both ways, end to end: bare ones never arrive, and some come that nobody sent."""
    box, octets = with_record()
    host, line = BoxHost(), box.line(1)
    host.plug(line)
    draw = random.Random(seed)

    def wire(_: int, octet: int) -> bytes:
        passed = b"" if octet in (XON, XOFF) else bytes([octet])
        return passed + (bytes([draw.choice((XON, XOFF))]) if draw.random() < 0.01 else b"")

    line.fault_to_host = line.fault_to_guest = wire
    ran = readoff(box, "SEND /S:COM1,38400,X")
    assert ran.exit.code == EXIT_ALL, ran.said
    assert list(host.store.values()) == [octets]
    assert record_names(box) == []
    (seen,) = {event for event in host.events if isinstance(event, AgentSeen)}
    assert seen.xon_xoff
    noise = sum(event.octets for event in host.events if isinstance(event, Noise))
    assert noise < 100  # what came before the first hello was heard, if anything


@pytest.mark.parametrize("what", OTHERS)
def test_something_else_before_and_in_between(what: str) -> None:
    """It comes to the host before the agent does, and to the agent before the host answers."""
    box, octets = with_record()
    host, line = BoxHost(), box.line(1)
    host.plug(line)
    host.exchange(0, OTHERS[what])
    line.host_wrote(OTHERS[what])
    ran = readoff(box, "SEND /S:COM1")
    assert ran.exit.code == EXIT_ALL, ran.said
    assert list(host.store.values()) == [octets]
    noise = sum(event.octets for event in host.events if isinstance(event, Noise))
    assert 0 < noise <= len(OTHERS[what])


class _Break:
    """A far end that holds the line at space: octets of zeros without end."""

    def exchange(self, now: int, octets: bytes) -> bytes:
        return bytes(4)


def test_a_stuck_break_costs_the_agent_seconds_and_no_record() -> None:
    box, octets = with_record()
    box.line(1).skip_idle(False)  # the agent counts its looks for a next octet; none is left out
    box.line(1).attach(_Break(), every=2000)
    ran = readoff(box, "SEND /S:COM1")
    assert ran.exit.code == EXIT_MISSING
    assert "no host answers" in ran.said
    assert ran.exit.seconds < 5
    (name,) = record_names(box)
    assert box.drive("C").read(name) == octets


def test_a_stuck_break_costs_the_host_a_note() -> None:
    """A million zeros: counted in full, in memory that does not grow."""
    receiver, noise = Receiver(), 0
    for now in range(1000):
        events = [*receiver.receive(bytes(1000), now), *receiver.passed(now)]
        assert all(isinstance(event, Noise) for event in events)
        noise += sum(event.octets for event in events if isinstance(event, Noise))
        assert receiver._deframer.pending <= 2200
    noise += sum(event.octets for event in receiver.line_ended() if isinstance(event, Noise))
    assert noise == 1_000_000
    assert receiver.to_send() == b""
