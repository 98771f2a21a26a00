"""One line's desk: what the receiver tells becomes calls of the clerk, answers, notes and the line's status."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from readoff.arrivals.clerk import Clerk
from readoff.arrivals.told import About, Note, Status, Took
from readoff.errors import ReadoffError, StoreError
from readoff.link.events import (
    AgentSeen,
    Arrived,
    Asked,
    Bye,
    Event,
    LetGo,
    Noise,
    Offered,
    OtherVersion,
    RateGivenUp,
    RateHolds,
    Refused,
    StartedAgain,
    Stray,
)
from readoff.link.rates import HostRate
from readoff.link.receiver import Receiver
from readoff.link.steps import GivenStep

WAIT_SECONDS = 10
"""Seconds after which an agent asks again, when no step could be found for it."""

NOISE_EVERY = 5.0
"""Seconds between two notes of noise from one line."""


class Desk:
    """What the receiver tells -> the clerk, the notes and the status. One for each line. rate: as the receiver's."""

    def __init__(self, clerk: Clerk, status: Status, rate: HostRate | None = None) -> None:
        self.receiver = Receiver(rate)
        self.status = status
        self._clerk = clerk
        self._agent: AgentSeen | None = None
        self._noise_untold = 0
        self._noise_sample = b""
        self._noise_told_at = self._stray_told_at = float("-inf")
        self._strays_untold = 0
        self._step_told: tuple[int, int] | None = None
        self._rate_told: RateHolds | RateGivenUp | None = None

    def attend(self, events: Sequence[Event], write: Callable[[bytes], None]) -> None:
        """Acts on events in order; what is to be answered is written as soon as it is known."""
        for event in events:
            self._one(event)
            self.flush(write)
        self.status.pending = len(self.receiver.unfinished)

    def flush(self, write: Callable[[bytes], None]) -> None:
        """Writes what the receiver has to send."""
        octets = self.receiver.to_send()
        if octets:
            write(octets)

    def note(self, about: About, what: str, octets: int = 0) -> None:
        """Tells something about this line."""
        self._clerk.tell(Note(self.status.name, about, what, octets))

    def _one(self, event: Event) -> None:
        if isinstance(event, AgentSeen | Asked | Offered | Arrived | StartedAgain):
            self.status.left = None
        match event:
            case Offered():
                self._offered(event)
            case Arrived():
                self._arrived(event)
            case Noise():
                self._noise(event)
            case AgentSeen():
                self._seen(event)
            case OtherVersion():
                what = f"the agent speaks version {event.version} of the link, this program {event.ours}"
                self.note(About.AGENT, what)
            case Bye():
                self._agent = None
                self.status.left = event.left
                self.note(About.AGENT, _farewell(event.left))
            case Asked():
                self._asked(event)
            case RateHolds() | RateGivenUp():
                self._rate(event)
            case StartedAgain() | LetGo() | Refused():
                self.note(About.RECORD, _of_a_record(event))
            case Stray():
                self._stray(event)

    def _offered(self, event: Offered) -> None:
        try:
            known = self._clerk.known(event.id, event.length, event.check)
        except StoreError as error:
            self.note(About.STORE, f"record {event.id} has to wait: {error.sentence()}")
            self.receiver.refuse(event.id, "busy")
            return
        (self.receiver.answer_known if known else self.receiver.answer_new)(event)

    def _arrived(self, event: Arrived) -> None:
        came_from = f"{self.status.name} record {event.id}"
        try:
            result = self._clerk.take(event.octets, came_from)
        except StoreError as error:
            self.note(About.STORE, f"record {event.id} was not kept: {error.sentence()}")
            self.receiver.refuse(event.id, "store_failed")
            return
        self.receiver.kept(event.id, len(event.octets), event.check)
        self.status.records += 1
        self.status.last_arrival = time.monotonic()
        self._clerk.tell(Took(self.status.name, came_from, len(event.octets), result))

    def _asked(self, event: Asked) -> None:
        """A step is found and told; where none can be, the agent waits, and a person may read why."""
        try:
            step = self._clerk.step(event)
            self.receiver.answer_step(step)
        except ReadoffError as error:
            step = GivenStep("wait", f"The host finds no step: {error.sentence()}", seconds=WAIT_SECONDS)
            self.receiver.answer_step(step)
        told = event.boot_nonce, step.token
        if told != self._step_told:
            self._step_told = told
            self.note(About.AGENT, f"agent {event.agent_serial:08X} is told ({step.what}): {step.words}")

    def _seen(self, event: AgentSeen) -> None:
        if event != self._agent:
            self._agent = event
            what = f"agent {event.agent_serial:08X}, boot {event.boot_nonce:08X}, is on the line"
            self.note(About.AGENT, what)

    def _rate(self, event: RateHolds | RateGivenUp) -> None:
        """Told when it is another one than the last time."""
        if event == self._rate_told:
            return
        self._rate_told = event
        if isinstance(event, RateHolds):
            self.note(About.SOURCE, f"at {event.rate} bits a second")
        else:
            self.note(
                About.SOURCE, f"nothing comes through at {event.rate} bits a second; back to the start rate"
            )

    def _stray(self, event: Stray) -> None:
        """Told at once, but not one note for each: a line may carry thousands."""
        if time.monotonic() - self._stray_told_at < NOISE_EVERY:
            self._strays_untold += 1
            return
        more = f" (and {self._strays_untold} others before it)" if self._strays_untold else ""
        self.note(About.NOISE, event.what + more)
        self._stray_told_at, self._strays_untold = time.monotonic(), 0

    def _noise(self, event: Noise) -> None:
        self.status.noise += event.octets
        if not self._noise_untold:
            self._noise_sample = event.sample
        self._noise_untold += event.octets
        if time.monotonic() - self._noise_told_at >= NOISE_EVERY:
            self.tell_noise()

    def tell_noise(self) -> None:
        """Tells the noise that was not told yet, in one note."""
        if self._noise_untold:
            what = f"skipped {self._noise_untold} octets that are no frame, beginning with"
            self.note(About.NOISE, f"{what} {self._noise_sample.hex(' ').upper()}", self._noise_untold)
            self._noise_told_at, self._noise_untold = time.monotonic(), 0


def _of_a_record(event: StartedAgain | LetGo | Refused) -> str:
    match event:
        case StartedAgain():
            return f"record {event.id} is asked for again from its beginning: {event.why}"
        case LetGo():
            done = f"{event.received} of {event.length} octets"
            return f"record {event.id} was not finished ({done}); let go"
        case Refused():
            return f"record {event.id} of {event.length} octets was refused: {event.why}"


def _farewell(left: int) -> str:
    return "the agent has nothing more" if not left else f"the agent ends, {left} records stay in its spool"
