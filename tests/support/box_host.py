"""A host at the far end of the test machine's line, in lockstep: the real receiver, a store that is a dictionary."""

from __future__ import annotations

from dataclasses import dataclass, field

from readoff.box.line import Line
from readoff.contract.record import RecordId
from readoff.link.events import Arrived, Event, Offered
from readoff.link.rates import HostRate
from readoff.link.receiver import Receiver


@dataclass
class BoxHost:
    """Keeps everything. dies_after: octets from the agent after which nothing more is heard or said.

    line: the box's line; where it is given, the host's port is at a rate of its own, and set as the agreement says.
    fixed: it can't be set. fastest: the least divisor that it agrees to. rates: the divisors of its port so far.
    restarts_after: octets from the agent after which another host takes its place, at the start rate, with the same
    store. moments: virtual microseconds of the first octet, of the first change of rate and of the first record.
    """

    dies_after: int | None = None
    store: dict[RecordId, bytes] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)
    heard: int = 0
    line: Line | None = None
    fastest: int = 1
    fixed: bool = False
    rates: list[int] = field(default_factory=list)
    restarts_after: list[int] = field(default_factory=list)
    moments: dict[str, int] = field(default_factory=dict)
    _set_at: int = 0

    def __post_init__(self) -> None:
        self.receiver = Receiver(HostRate(self.fastest))
        self._set_port(0)

    def exchange(self, now: int, octets: bytes) -> bytes:
        """As the test machine's lines ask their peers."""
        self.heard += len(octets)
        if octets:
            self.moments.setdefault("octet", now)
        if self.restarts_after and self.heard > self.restarts_after[0]:
            self.restarts_after.pop(0)
            self.receiver, self._set_at = Receiver(HostRate(self.fastest)), now
        if self.dies_after is not None and self.heard > self.dies_after:
            return b""
        self._set_port(now)
        for event in [*self.receiver.receive(octets, now / 1e6), *self.receiver.passed(now / 1e6)]:
            self.events.append(event)
            self.moments.setdefault(type(event).__name__, now)
            if isinstance(event, Offered):
                if event.id in self.store:
                    self.receiver.answer_known(event)
                else:
                    self.receiver.answer_new(event)
            elif isinstance(event, Arrived):
                self.store[event.id] = event.octets
                self.receiver.kept(event.id, len(event.octets), event.check)
        out = self.receiver.to_send()
        if out:
            self._set_at = now + len(out) * 10 * 1_000_000 * self.port // 115_200 + 20_000
        return out

    def plug(self, line: Line, every: int = 200) -> None:
        """Begins at the other end of a line (each boot has one of its own), at the start rate."""
        self.line, self._set_at = line, 0
        self.receiver.line_ended()
        self._set_port(0)
        line.attach(self, every=every)

    def _set_port(self, now: int) -> None:
        """The port follows the agreement once what was written is out."""
        if now < self._set_at or (self.fixed and self.rates):
            return
        if not self.rates or self.rates[-1] != self.receiver.divisor:
            self.rates.append(self.receiver.divisor)
        self.port = self.rates[-1]
        if self.line is not None:
            self.line.uart.other_divisor = self.port
