"""The host's end of the line: octets in, events and octets out.

All state of one line lives here; there is no clock (time is passed in, in seconds) and no port. One frame kind, one
method (``_ON``). For each record that an agent offers:

    state      what comes                      goes to     what is sent or told
    ---------  ------------------------------  ----------  -----------------------------------------------
    unknown    offer                           assembling  Offered; the edge answers:
                 answer_known                  unknown       kept
                 answer_new                    assembling    have
    unknown    data                            unknown     Stray (the agent offers again when nothing answers);
                                                           of what was just kept or refused nothing: it went with
                                                           the offer
    assembling offer, same length and check    assembling  Offered, as above: resumes where it was
    assembling offer, other length or check    assembling  StartedAgain, Offered
    assembling data that leaves a new hole     assembling  have
    assembling data, the K-th since a have     assembling  have
    assembling data with nothing new           assembling  have (the last one was lost)
    assembling data that disagrees             assembling  StartedAgain, have
    assembling data, the last octets, which    assembling  StartedAgain, have; the second time
               are not those of the offer      unknown       refused, Refused
    assembling data, the last octets           unknown     have, Arrived; the edge commits and answers:
                 kept                          unknown       kept
                 refuse                        unknown       refused
    assembling too many others begun           unknown     LetGo (the oldest)

The rate is agreed on as readoff.link.rates says; ``divisor`` is where the port should be once all is out.
An ask is told as Asked, and answer_step sends the edge's answer; nothing of it is remembered here.

``kept`` is sent by nothing but the edge's word. Whatever the line carries, nothing here raises.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from readoff.contract.declared import record_contract
from readoff.contract.record import RecordId
from readoff.errors import MalformedError
from readoff.link.assembly import Added, Assembly
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
from readoff.link.frames import Message, build_message, limit_of, parse_message
from readoff.link.framing import XON_XOFF, Deframer, Skipped, frame
from readoff.link.rates import HostRate, rate_of
from readoff.link.steps import GivenStep, step_values

HOLES_TOLD = 8
"""Holes named in one have frame: 78 octets at most, short enough for a receiver without FIFO to follow."""


class Receiver:
    """The host's end of one line.

    rate: its side of the agreement on a rate; without one the line stays at the start rate. unfinished_limit: records
    being put together at once. acknowledge_every: data frames between two haves.
    """

    def __init__(
        self, rate: HostRate | None = None, *, unfinished_limit: int = 8, acknowledge_every: int = 4
    ) -> None:
        self.rate = rate or HostRate()
        self._now = 0.0
        self._deframer = Deframer(limit_of("frame_limit"))
        self._unfinished_limit = unfinished_limit
        self._acknowledge_every = acknowledge_every
        self._record_limit = record_contract().constants["record_limit"]
        self._unfinished: dict[RecordId, Assembly] = {}
        self._since_have: dict[RecordId, int] = {}
        self._out = bytearray()
        self._events: list[Event] = []
        self._boot = (0, 0)  # of the agent that was heard last
        self._left = 0  # in its spool, by its last word
        self._settled: RecordId | None = None  # kept or refused last: more of it may have been on its way

    # What the edge calls -----------------------------------------------------------------------------------

    def receive(self, octets: bytes, now: float = 0.0) -> list[Event]:
        """Takes octets from the line; gives what happened, in order. Never raises. now: as passed."""
        self._now = now
        for item in self._deframer.feed(octets):
            if isinstance(item, Skipped):
                self.rate.noise()
                self._events.append(Noise(item.octets, item.sample, item.why))
            else:
                self._message(item.payload)
        return self._told()

    def passed(self, now: float) -> list[Event]:
        """To be called now and then, also while nothing comes: after long silence the rate is given up."""
        left = self.rate.divisor
        if self.rate.passed(now):
            self._deframer.finish()
            self._events.append(RateGivenUp(rate_of(left)))
        return self._told()

    def line_ended(self) -> list[Event]:
        """The port is gone, or has been silent for long: a frame that is not closed is given up, and the rate.

        Records that are being put together stay, so that the agent can go on where it was.
        """
        self.rate.back()
        for item in self._deframer.finish():
            if isinstance(item, Skipped):
                self._events.append(Noise(item.octets, item.sample, item.why))
        return self._told()

    def to_send(self) -> bytes:
        """Octets for the line, taken away by this call."""
        octets = bytes(self._out)
        self._out.clear()
        return octets

    def answer_known(self, offered: Offered) -> None:
        """The store has this record already: the agent may let it go."""
        self._forget(offered.id)
        self.kept(offered.id, offered.length, offered.check)

    def answer_new(self, offered: Offered) -> None:
        """The store wants this record: says what is here of it, which may be nothing."""
        assembly = self._unfinished.get(offered.id)
        if assembly is not None:
            self._have(assembly)

    def kept(self, id: RecordId, length: int, check: int) -> None:
        """The record is committed. The only way by which an agent is told so."""
        self._settled = id
        self._send("kept", id=id, length=length, check=check)

    def refuse(self, id: RecordId, reason: str = "store_failed") -> None:
        """The record could not be kept now (reason: a name of the contract's enum refusal)."""
        self._forget(id)
        self._settled = id
        self._send("refused", id=id, reason=reason)

    def answer_step(self, step: GivenStep) -> None:
        """Tells the agent that asked what to do."""
        self._send("step", **step_values(step))

    @property
    def divisor(self) -> int:
        """What the port should be at, once all that to_send gave is out: 115,200 / rate."""
        return self.rate.divisor

    @property
    def unfinished(self) -> tuple[Assembly, ...]:
        """Records that are being put together, the oldest first. To look at, not to change."""
        return tuple(self._unfinished.values())

    # Frames ------------------------------------------------------------------------------------------------

    def _message(self, payload: bytes) -> None:
        try:
            message = parse_message(payload)
        except MalformedError as error:
            self._events.append(Stray(error.sentence()))
            return
        handle = self._ON.get(message.kind)
        if handle is None:
            self._events.append(
                Stray(f"a {message.kind} frame, which only a host sends: is the line looped back?")
            )
            return
        if self.rate.sound(message.kind, self._now):
            self._events.append(RateHolds(rate_of(self.rate.divisor)))
        handle(self, message)

    def _hello(self, message: Message) -> None:
        values, ours = message.values, limit_of("link_version")
        boot = values["agent_serial"], values["boot_nonce"]
        if boot != self._boot:
            self._boot, self._left = boot, 0
        xon_xoff = bool(values["flags"]["xon_xoff"])
        self._deframer.accm = XON_XOFF if xon_xoff else 0
        self._events.append(AgentSeen(values["agent_serial"], values["boot_nonce"], xon_xoff))
        if values["version"] != ours:
            self._events.append(OtherVersion(values["version"], ours))
        flags = {"xon_xoff": xon_xoff}
        self._send("welcome", version=ours, data_limit=limit_of("data_limit"), flags=flags)

    def _offer(self, message: Message) -> None:
        id, length, check = message.id, message.values["length"], message.values["check"]
        if length > self._record_limit:
            self._refuse_itself(id, length, "too_long", "it is longer than a record may be")
            return
        if length == 0:
            self._events.append(Stray(f"an offer of record {id} without octets"))
            return
        begun = self._unfinished.get(id)
        if begun is not None and (begun.length, begun.check) != (length, check):
            self._forget(id)
            why = f"offered again with {length} octets and check {check:08X}h"
            self._events.append(StartedAgain(id, begun.received, why))
            begun = None
        if begun is None:
            self._make_room()
            self._unfinished[id] = Assembly(id, length, check)
        self._events.append(Offered(id, length, check))

    def _data(self, message: Message) -> None:
        assembly = self._unfinished.get(message.id)
        if assembly is None:
            if message.id != self._settled:
                self._events.append(Stray(f"data of record {message.id}, which is not on offer"))
            return
        added = assembly.add(message.values["offset"], message.values["octets"])
        if added is Added.OUTSIDE:
            self._events.append(Stray(f"data of record {message.id} {added.value}"))
            return
        if added is Added.CONFLICT:
            self._start_again(assembly, "its octets came twice, and differ")
            return
        if assembly.complete:
            self._complete(assembly)
            return
        count = self._since_have[assembly.id] = self._since_have.get(assembly.id, 0) + 1
        if added is not Added.GREW or count >= self._acknowledge_every:
            self._have(assembly)

    def _bye(self, message: Message) -> None:
        self._left = message.values["left"]
        self._events.append(Bye(self._left))

    def _ask(self, message: Message) -> None:
        values, flags = message.values, message.values["flags"]
        asked = Asked(
            values["agent_serial"],
            values["boot_nonce"],
            fresh=bool(flags["fresh"]),
            warm=bool(flags["warm"]),
            token=values["token"],
            told=bool(flags["told"]),
            at_rest=not (self._unfinished or self._left),
        )
        self._events.append(asked)

    def _rate(self, message: Message) -> None:
        self._send("agreed", divisor=self.rate.asked(message.values["divisor"], self._now))

    def _trial(self, message: Message) -> None:
        octets = message.values["octets"][: limit_of("trial_size")]
        self._send("heard", number=message.values["number"], octets=octets)

    _ON: dict[str, Callable[[Receiver, Message], None]] = {  # noqa: RUF012 - a table, never changed
        "hello": _hello,
        "offer": _offer,
        "data": _data,
        "bye": _bye,
        "ask": _ask,
        "rate": _rate,
        "trial": _trial,
    }

    # Records -----------------------------------------------------------------------------------------------

    def _complete(self, assembly: Assembly) -> None:
        why = "its last octets are not those that were offered"
        if not assembly.check_holds and assembly.mistaken:
            self._refuse_itself(assembly.id, assembly.length, "store_failed", why)
            return
        if not assembly.check_holds:
            assembly.mistaken = True
            self._start_again(assembly, why)
            return
        self._have(assembly)
        self._forget(assembly.id)
        self._events.append(Arrived(assembly.id, bytes(assembly.octets), assembly.check))

    def _start_again(self, assembly: Assembly, why: str) -> None:
        self._events.append(StartedAgain(assembly.id, assembly.received, why))
        assembly.start_again()
        self._have(assembly)

    def _refuse_itself(self, id: RecordId, length: int, reason: str, why: str) -> None:
        self._events.append(Refused(id, length, why))
        self.refuse(id, reason)

    def _make_room(self) -> None:
        while len(self._unfinished) >= self._unfinished_limit:
            oldest = next(iter(self._unfinished.values()))
            self._forget(oldest.id)
            self._events.append(LetGo(oldest.id, oldest.received, oldest.length))

    def _forget(self, id: RecordId) -> None:
        self._unfinished.pop(id, None)
        self._since_have.pop(id, None)

    def _have(self, assembly: Assembly) -> None:
        self._since_have[assembly.id] = 0
        holes = [{"begin": begin, "end": end} for begin, end in assembly.holes(HOLES_TOLD)]
        self._send("have", id=assembly.id, offset=assembly.offset, holes=holes)

    def _send(self, kind: str, **values: Any) -> None:
        self._out += frame(build_message(kind, **values), self._deframer.accm)

    def _told(self) -> list[Event]:
        events, self._events = self._events, []
        return events
