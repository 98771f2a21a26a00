"""A host at the far end of the test machine's line, in lockstep: the real receiver, a store that is a dictionary."""

from __future__ import annotations

from dataclasses import dataclass, field

from readoff.contract.record import RecordId
from readoff.link.events import Arrived, Event, Offered
from readoff.link.receiver import Receiver


@dataclass
class BoxHost:
    """Keeps everything. dies_after: octets from the agent after which nothing more is heard or said."""

    dies_after: int | None = None
    store: dict[RecordId, bytes] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)
    heard: int = 0
    receiver: Receiver = field(default_factory=Receiver)

    def exchange(self, now: int, octets: bytes) -> bytes:
        """As the test machine's lines ask their peers."""
        self.heard += len(octets)
        if self.dies_after is not None and self.heard > self.dies_after:
            return b""
        for event in self.receiver.receive(octets):
            self.events.append(event)
            if isinstance(event, Offered):
                if event.id in self.store:
                    self.receiver.answer_known(event)
                else:
                    self.receiver.answer_new(event)
            elif isinstance(event, Arrived):
                self.store[event.id] = event.octets
                self.receiver.kept(event.id, len(event.octets), event.check)
        return self.receiver.to_send()
