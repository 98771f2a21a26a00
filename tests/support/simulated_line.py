"""A line between a Sender and a Receiver without any I/O: time is a number, faults are drawn from a seed."""

from __future__ import annotations

import heapq
import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from readoff.contract.record import RecordId
from readoff.link.events import Arrived, Event, Offered
from readoff.link.rates import START
from readoff.link.receiver import Receiver
from readoff.link.sender import Sender, Spooled, Verdict

IDLE = 0.05
"""Seconds of simulated time between two looks at a sender that has nothing to send."""


@dataclass(frozen=True)
class Faults:
    """What a line does. Probabilities are per transmission, but ``flip``: per bit. delay: seconds one way.

    burst: up to 40 octets in a row become noise. double_octet: one comes twice. garbles: divisors at which nothing
    comes through; goes_bad: seconds after which nothing does at any divisor below the start's.
    """

    lose: float = 0.0
    flip: float = 0.0
    double: float = 0.0
    reorder: float = 0.0
    drop_octet: float = 0.0
    cut: float = 0.0
    delay: float = 0.0
    burst: float = 0.0
    double_octet: float = 0.0
    garbles: frozenset[int] = frozenset()
    goes_bad: float = float("inf")


@dataclass
class Desk:
    """The edge and the store in one: keeps what arrives, answers what is asked. failing: draws a refusal."""

    kept: dict[RecordId, bytes] = field(default_factory=dict)
    failing: Callable[[], bool] = lambda: False

    def attend(self, receiver: Receiver, events: Iterable[Event]) -> None:
        """Does what an edge has to do for these events."""
        for event in events:
            if isinstance(event, Offered):
                there = self.kept.get(event.id, b"")
                known = (len(there), there[-4:]) == (event.length, event.check.to_bytes(4, "little"))
                (receiver.answer_known if known else receiver.answer_new)(event)
            elif isinstance(event, Arrived) and self.failing():
                receiver.refuse(event.id, "store_failed")
            elif isinstance(event, Arrived):
                self.kept[event.id] = event.octets
                receiver.kept(event.id, len(event.octets), event.check)


class Line:
    """Carries octets both ways, with faults; counts what the sender put on it.

    Where the two ends' divisors differ, what arrives is garbled. fixed: the host's port does not change its rate.
    """

    def __init__(self, faults: Faults, seed: int, octets_per_second: float | None = None) -> None:
        self.faults, self.random, self.rate = faults, random.Random(seed), octets_per_second
        self.now = 0.0
        self.octets_out = 0
        self.divisors = {"host": START, "agent": START}
        self.fixed = False
        self._in_the_air: list[tuple[float, int, str, int, bytes]] = []
        self._number = 0
        self._free = {"host": 0.0, "agent": 0.0}

    def carry(self, to: str, octets: bytes) -> None:
        """Puts octets on the line towards "host" or "agent"."""
        draw, faults = self.random.random, self.faults
        divisor = self.divisors["agent" if to == "host" else "host"]
        rate = self.rate or 11_520.0 / divisor
        self._free[to] = max(self.now, self._free[to]) + len(octets) / rate
        if to == "host":
            self.octets_out += len(octets)
        for _ in range(2 if draw() < faults.double else 1):
            if draw() >= faults.lose:
                late = draw() * 1.0 if draw() < faults.reorder else 0.0
                self._number += 1
                arrives = self._free[to] + faults.delay + late
                damaged = self._damaged(octets)
                heapq.heappush(self._in_the_air, (arrives, self._number, to, divisor, damaged))

    def _damaged(self, octets: bytes) -> bytes:
        draw, faults = self.random.random, self.faults
        out = bytearray(octets)
        if faults.flip:
            for at in range(len(out)):
                if draw() < 8 * faults.flip:
                    out[at] ^= 1 << self.random.randrange(8)
        if faults.burst and draw() < faults.burst:
            at = self.random.randrange(len(out))
            out[at : at + 40] = self.random.randbytes(len(out[at : at + 40]))
        if faults.double_octet and draw() < faults.double_octet:
            at = self.random.randrange(len(out))
            out[at:at] = out[at : at + 1]
        if draw() < faults.drop_octet:
            del out[self.random.randrange(len(out))]
        if draw() < faults.cut:
            del out[self.random.randrange(len(out)) :]
        return bytes(out)

    def run(self, sender: Sender, receiver: Receiver, desk: Desk, longest: float = 10_000.0) -> list[Event]:
        """Until the sender is over and the line is empty.

        AssertionError when that takes more than ``longest`` simulated seconds.
        """
        events: list[Event] = []
        while not sender.over:
            assert self.now < longest, "the sender does not come to an end"
            if self._free["host"] <= self.now:
                self.divisors["agent"] = getattr(sender, "divisor", START)
                octets = sender.to_send(self.now)
                self.divisors["agent"] = getattr(sender, "divisor", START)
                if octets:
                    self.carry("host", octets)
            arrives = self._in_the_air[0][0] if self._in_the_air else self.now + IDLE
            busy = self._free["host"] if self._free["host"] > self.now else self.now + IDLE
            self.now = max(self.now, min(arrives, busy))
            self._deliver(sender, receiver, desk, events)
            events += receiver.passed(self.now)
            self._set_host(receiver)
        while self._in_the_air:
            self.now = max(self.now, self._in_the_air[0][0])
            self._deliver(sender, receiver, desk, events)
        return events

    def _deliver(self, sender: Sender, receiver: Receiver, desk: Desk, events: list[Event]) -> None:
        while self._in_the_air and self._in_the_air[0][0] <= self.now:
            _, _, to, divisor, octets = heapq.heappop(self._in_the_air)
            bad = divisor in self.faults.garbles or (divisor < START and self.now >= self.faults.goes_bad)
            if bad or divisor != self.divisors[to]:
                octets = self.random.randbytes(len(octets))
            if to == "agent":
                sender.receive(octets, self.now)
                continue
            told = receiver.receive(octets, self.now)
            desk.attend(receiver, told)
            events += told
            answer = receiver.to_send()
            if answer:
                self.carry("agent", answer)
            self._set_host(receiver)

    def _set_host(self, receiver: Receiver) -> None:
        """Sets the host's port, as readoff.arrivals.lines does: when what it sends is out."""
        if not self.fixed and self._free["agent"] <= self.now:
            self.divisors["host"] = receiver.divisor


def spool_of(lengths: Iterable[int], seed: int = 1) -> list[Spooled]:
    """Records of these lengths, all of noise."""
    draw = random.Random(seed)
    return [
        Spooled(RecordId(7, 8, number + 1), draw.randbytes(length)) for number, length in enumerate(lengths)
    ]


def check_invariant(sender: Sender, spool: Iterable[Spooled], desk: Desk) -> None:
    """What was told kept is there, whole, and nothing else is."""
    assert sender.over
    for each in spool:
        if sender.verdicts[each.id] is Verdict.KEPT:
            assert desk.kept[each.id] == each.octets
    assert all(desk.kept[id] in [each.octets for each in spool if each.id == id] for id in desk.kept)
