"""The agent's end of the line as a state machine, for tests, benches and tools: what READOFF.COM does, in Python.

Time is passed in, in seconds of any clock that does not go back. For each record of its spool in turn:

    state    what comes or passes             goes to   what is sent
    -------  -------------------------------  --------  ----------------------------------------------
    hello    patience                         hello     hello; after all tries: over
    hello    welcome                          asking    offer; at a fast rate sending, as if the host had nothing
    asking   have                             sending   data: the holes, then all after the last one
    asking   patience                         asking    offer; after all tries without progress: next record
    sending  have                             sending   data that was lost, then new data, a window in flight
    sending  nothing to send, patience        asking    offer
    any      kept, same length and check      next      offer of the next record; after the last: bye
    any      refused (busy: wait, ask again)  next      likewise

Between welcome and the first offer the rate is agreed on (readoff.link.rates), where a faster one than the start is
allowed. Where much is lost, or two offers get no answer, it is given up, and all begins with hello again.

A line keeps the order of frames: where a later piece has come, an earlier one that has not come is lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from readoff.contract.record import CHECK_SIZE, RecordId
from readoff.errors import MalformedError
from readoff.link.frames import Message, build_message, limit_of, parse_message
from readoff.link.framing import XON_XOFF, Deframer, Frame, frame
from readoff.link.rates import START, RateSeeker

WINDOW = 8
"""Pieces in flight."""
LOSS_WEIGHT, LOSS_MOST = 2, 24
"""A lost piece counts 2, one that came takes 1 off: where this gets to 24, more than a third is lost for long."""
UNHEARD_MOST = 2
"""Offers without any word from the host, at a rate above the start rate."""


class Verdict(StrEnum):
    """What became of a record at the sender."""

    WAITING = "waiting"
    KEPT = "kept"
    REFUSED = "refused"
    NO_PROGRESS = "no progress"


@dataclass(frozen=True)
class Spooled:
    """One record in the sender's spool."""

    id: RecordId
    octets: bytes

    @property
    def check(self) -> int:
        """Its last four octets, low octet first."""
        return int.from_bytes(self.octets[-CHECK_SIZE:], "little")


@dataclass
class _Flight:
    begin: int
    end: int
    lost: bool = False


class Sender:
    """The agent's end of one line.

    piece: octets of a record in a data frame. patience: seconds without news before it asks
    again. tries: how often it asks without progress. fastest: the least divisor that its port may use.
    """

    def __init__(
        self,
        agent_serial: int,
        boot_nonce: int,
        spool: Sequence[Spooled],
        *,
        piece: int = 1024,
        patience: float = 1.0,
        tries: int = 8,
        xon_xoff: bool = False,
        fastest: int = START,
    ) -> None:
        self.agent_serial, self.boot_nonce, self.xon_xoff = agent_serial, boot_nonce, xon_xoff
        self.verdicts: dict[RecordId, Verdict] = {each.id: Verdict.WAITING for each in spool}
        self.welcomed = False
        self.over = False
        self._spool = list(spool)
        self._accm = XON_XOFF if xon_xoff else 0
        self._deframer = Deframer(limit_of("frame_limit"), self._accm)
        self._piece, self._patience, self._tries = piece, patience, tries
        self.rate = RateSeeker(fastest)
        self._loss = self._unheard = 0
        self._at = 0
        self._flights: list[_Flight] = []
        self._fresh = self._offset = 0
        self._first = True  # no offer of the record has gone out
        self._ahead = False  # pieces follow it unasked, and the host has said nothing yet
        self._next_record()

    @property
    def due(self) -> float:
        """When to call to_send again though nothing was received. Meaningless once it is over."""
        return self.rate.due if self.welcomed and not self.rate.settled else self._due

    @property
    def divisor(self) -> int:
        """What the port should be at when what to_send gives next goes out."""
        return self.rate.divisor

    def receive(self, octets: bytes, now: float) -> None:
        """Takes octets from the line. Never raises; what it can't use is noise."""
        for item in self._deframer.feed(octets):
            if isinstance(item, Frame) and not self.over:
                self._hear(item.payload, now)

    def to_send(self, now: float) -> bytes:
        """The next frame for the line, or nothing when it has none to send now."""
        if self.over:
            return b""
        if not self.welcomed:
            return self._hello(now)
        if not self.rate.settled:
            return self._agree(now)
        if self._at == len(self._spool):
            self.over = True
            left = sum(verdict is not Verdict.KEPT for verdict in self.verdicts.values())
            return self._frame("bye", left=left)
        if self._knows and (piece := self._choose()):
            self._due = now + self._patience
            begin, end = piece
            octets = self._record.octets[begin:end]
            return self._frame("data", id=self._record.id, offset=begin, octets=octets)
        if now < self._due:
            return b""
        return self._offer(now)

    # What is sent ------------------------------------------------------------------------------------------

    @property
    def _record(self) -> Spooled:
        return self._spool[self._at]

    def _hello(self, now: float) -> bytes:
        if now < self._due:
            return b""
        if not self._tries_left:
            self.over = True
            return b""
        self._tries_left -= 1
        self._due = now + self._patience
        return self._frame(
            "hello",
            version=limit_of("link_version"),
            agent_serial=self.agent_serial,
            boot_nonce=self.boot_nonce,
            flags={"xon_xoff": self.xon_xoff},
        )

    def _agree(self, now: float) -> bytes:
        """Part of the talk about the rate; after a failure all begins with hello, at the start rate."""
        payload = self.rate.to_send(now)
        if self.rate.state == "greeting":
            self.welcomed, self._due = False, now
            self._tries_left = self._tries
        elif self.rate.settled:
            self._due = float("-inf")
        return frame(payload, self._accm) if payload else b""

    def _retreat(self) -> bool:
        self._loss = self._unheard = 0
        self._asked = self._knows = self._ahead = False
        self._flights = []
        return self.rate.retreat()

    def _offer(self, now: float) -> bytes:
        self._unheard += 1
        if self._unheard > UNHEARD_MOST and self._retreat():
            return b""
        if not self._tries_left:
            self._close(Verdict.NO_PROGRESS)
            return b""
        self._tries_left -= 1
        self._ahead = self._first and self.divisor < self.rate.start
        self._first, self._asked = False, not self._ahead
        self._knows = self._knows or self._ahead
        self._due = now + self._patience
        record = self._record
        return self._frame("offer", id=record.id, length=len(record.octets), check=record.check)

    def _choose(self) -> tuple[int, int] | None:
        """A piece of what was lost, else of what has not been sent yet, else None; it is in flight then."""
        if sum(not flight.lost for flight in self._flights) >= WINDOW:
            return None
        lost = next((flight for flight in self._flights if flight.lost), None)
        begin = lost.begin if lost else self._fresh
        end = min(begin + self._piece, lost.end if lost else len(self._record.octets))
        if begin >= end:
            return None
        if lost is None:
            self._fresh = end
        elif lost.end == end:
            self._flights.remove(lost)
        else:
            lost.begin = end
        self._flights.append(_Flight(begin, end))
        return begin, end

    def _frame(self, kind: str, **values: object) -> bytes:
        return frame(build_message(kind, **values), self._accm)

    # What is heard -----------------------------------------------------------------------------------------

    def _hear(self, payload: bytes, now: float) -> None:
        try:
            message = parse_message(payload)
        except MalformedError:
            return
        self._unheard = 0
        if message.kind == "welcome" and not self.welcomed:
            self.welcomed = True
            self._piece = max(1, min(self._piece, message.values["data_limit"]))
            self.rate.welcomed(now)
            self._next_record()
        self.rate.hear(message, now)
        if not self.welcomed or self._at == len(self._spool) or "id" not in message.values:
            return
        if message.id != self._record.id:
            return
        if message.kind == "have":
            self._have(message)
        elif message.kind == "kept":
            told = (message.values["length"], message.values["check"])
            if told == (len(self._record.octets), self._record.check):
                self._close(Verdict.KEPT)
        elif message.kind == "refused" and message.values["reason"] == "busy":
            self._knows = self._ahead = False
            self._due = now + self._patience
        elif message.kind == "refused":
            self._close(Verdict.REFUSED)

    def _have(self, message: Message) -> None:
        offset = message.values["offset"]
        holes = [(hole["begin"], hole["end"]) for hole in message.values["holes"]]
        if offset > len(self._record.octets) or any(end > len(self._record.octets) for _, end in holes):
            return
        if offset > self._offset:
            self._tries_left = self._tries
        self._offset = offset
        ahead, self._ahead = self._ahead, False
        if self._asked or (ahead and (holes or offset > self._fresh)):
            self._asked, self._knows = False, True
            self._flights = [_Flight(begin, end, lost=True) for begin, end in holes]
            self._fresh = max([offset, *(end for _, end in holes)])
        else:
            self._fresh = max(self._fresh, offset)
            self._review(offset, holes)

    def _review(self, offset: int, holes: list[tuple[int, int]]) -> None:
        """Drops the flights that have come; one that has not, though a later one has, is lost."""
        came = [_came(flight, offset, holes) for flight in self._flights]
        last = max((number for number, has in enumerate(came) if has), default=-1)
        if last >= 0:
            self._tries_left = self._tries
        for flight, has in zip(self._flights[: last + 1], came, strict=False):
            self._loss = max(0, self._loss - 1) if has else self._loss + LOSS_WEIGHT * (not flight.lost)
            flight.lost = True
        self._flights = [flight for flight, has in zip(self._flights, came, strict=True) if not has]
        if self._loss >= LOSS_MOST:
            self._retreat()

    def _close(self, verdict: Verdict) -> None:
        self.verdicts[self._record.id] = verdict
        self._at += 1
        self._next_record()

    def _next_record(self) -> None:
        self._tries_left = self._tries
        self._due = float("-inf")
        self._flights = []
        self._fresh = self._offset = 0
        self._asked = self._knows = self._ahead = False
        self._first = True


def _came(flight: _Flight, offset: int, holes: list[tuple[int, int]]) -> bool:
    """Whether the host has a flight. It doesn't tell how far its octets go after the last hole: only that the
    piece which ends that hole is there.
    """
    if flight.end <= offset:
        return True
    missing = any(begin < flight.end and flight.begin < end for begin, end in holes)
    return bool(holes) and not missing and flight.begin <= holes[-1][1]
