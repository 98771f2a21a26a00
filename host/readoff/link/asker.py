"""An agent that stands by, at the moment when it asks: what READOFF.COM does, in Python, for tests and benches.

    state    what comes or passes             goes to   what is sent
    -------  -------------------------------  --------  -------------------------------------------
    hello    patience                         hello     hello; after all tries: over, without a step
    hello    welcome                          asking    ask
    asking   patience                         asking    ask; after all tries: over, without a step
    asking   step                             over      nothing

Time is passed in, as to the Sender. What a line garbles is asked for again.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from readoff.errors import MalformedError
from readoff.link.events import Asked
from readoff.link.frames import build_message, limit_of, parse_message
from readoff.link.framing import Deframer, Frame, frame


class Asker:
    """Asks once. step: the values of the step's frame when one came. patience: seconds between two tries."""

    def __init__(self, asked: Asked, *, patience: float = 1.0, tries: int = 8) -> None:
        self.asked = asked
        self.step: Mapping[str, Any] | None = None
        self.over = False
        self.due = float("-inf")
        self._welcomed = False
        self._deframer = Deframer(limit_of("frame_limit"))
        self._patience, self._tries, self._tries_left = patience, tries, tries

    def receive(self, octets: bytes, now: float) -> None:
        """Takes octets from the line. Never raises; what it can't use is noise."""
        for item in self._deframer.feed(octets):
            if isinstance(item, Frame) and not self.over:
                self._hear(item.payload, now)

    def to_send(self, now: float) -> bytes:
        """The next frame for the line, or nothing when it has none to send now."""
        if self.over or now < self.due:
            return b""
        if not self._tries_left:
            self.over = True
            return b""
        self._tries_left -= 1
        self.due = now + self._patience
        asked = self.asked
        who = {"agent_serial": asked.agent_serial, "boot_nonce": asked.boot_nonce}
        if not self._welcomed:
            hello = build_message("hello", version=limit_of("link_version"), **who, flags={"xon_xoff": False})
            return frame(hello)
        flags = {"fresh": asked.fresh, "warm": asked.warm, "told": asked.told}
        return frame(build_message("ask", **who, flags=flags, token=asked.token))

    def _hear(self, payload: bytes, now: float) -> None:
        try:
            message = parse_message(payload)
        except MalformedError:
            return
        if message.kind == "welcome" and not self._welcomed:
            self._welcomed, self._tries_left, self.due = True, self._tries, now
        elif message.kind == "step" and self._welcomed:
            self.step, self.over = message.values, True
