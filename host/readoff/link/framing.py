"""Frames on an asynchronous line: RFC 1662, section 4 (octet-stuffed framing) and appendix C.3 (32-bit FCS).

7E opens and closes a frame (one 7E may do both); 7D and 7E, and the control octets that a map asks for, are
sent as 7D and the octet XOR 20h; the check sum runs over the unescaped octets and goes out low octet first.
The map (ACCM) has bit n set for "control octet n is escaped when sent, and thrown away when it arrives bare".

Nothing that arrives raises anything. What is no frame comes out as Skipped, so that every octet is accounted
for: fed == flags + octets of frames + skipped + removed + pending.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass

FLAG = 0x7E
ESCAPE = 0x7D
FLIP = 0x20
XON_XOFF = 1 << 0x11 | 1 << 0x13
SAMPLE_SIZE = 16

_FLAG = bytes([FLAG])
_ESCAPED = re.compile(bytes([ESCAPE]) + rb"(.)", re.DOTALL)
_FLIPPED = {bytes([octet]): bytes([octet ^ FLIP]) for octet in range(256)}


@dataclass(frozen=True)
class Fcs:
    """A frame check sequence: its size in octets and how it is computed over the unescaped octets."""

    size: int
    of: Callable[[bytes], int]


FCS32 = Fcs(4, zlib.crc32)


@dataclass(frozen=True)
class Frame:
    """What a frame carried, its check sum verified and removed."""

    payload: bytes


@dataclass(frozen=True)
class Skipped:
    """Octets that were no frame. octets: how many, as they came. sample: the first few. why: for a person."""

    octets: int
    sample: bytes
    why: str


def frame(payload: bytes, accm: int = 0, fcs: Fcs = FCS32) -> bytes:
    """The octets that carry ``payload``: 7E, payload and check sum escaped, 7E. accm: control octets to escape."""
    plain = payload + fcs.of(payload).to_bytes(fcs.size, "little")
    for octet in (ESCAPE, FLAG, *_mapped(accm)):
        plain = plain.replace(bytes([octet]), bytes([ESCAPE, octet ^ FLIP]))
    return _FLAG + plain + _FLAG


def _mapped(accm: int) -> Iterable[int]:
    return (octet for octet in range(32) if accm >> octet & 1)


class Deframer:
    """Octets in any pieces -> frames, and notes of what was skipped. Memory: at most twice ``limit`` octets.

    limit: octets in the longest unescaped frame, check sum included.
    """

    def __init__(self, limit: int, accm: int = 0, fcs: Fcs = FCS32) -> None:
        self.limit = limit
        self.fcs = fcs
        self.removed = 0
        self.flags = 0
        self._raw = bytearray()
        self._overlong = False
        self.accm = accm

    @property
    def accm(self) -> int:
        """Control octets that are thrown away when they arrive bare, as a map."""
        return self._accm

    @accm.setter
    def accm(self, accm: int) -> None:
        self._accm = accm
        self._unwanted = bytes(_mapped(accm))

    @property
    def pending(self) -> int:
        """Octets of a frame that is not closed yet, escaped as they came."""
        return len(self._raw)

    def feed(self, octets: bytes) -> list[Frame | Skipped]:
        """Takes more octets; gives what they completed, in order."""
        out: list[Frame | Skipped] = []
        first, *others = octets.split(_FLAG)
        self._more(first, out)
        for piece in others:
            self._close(out)
            self._more(piece, out)
        return out

    def finish(self) -> list[Frame | Skipped]:
        """Gives up on the frame that is not closed: the line has ended, or has been quiet for long."""
        out: list[Frame | Skipped] = []
        if self._raw:
            self._skip(out, bytes(self._raw), "a frame that never ended")
        self._raw.clear()
        self._overlong = False
        return out

    def _more(self, piece: bytes, out: list[Frame | Skipped]) -> None:
        if self._unwanted:
            kept = piece.translate(None, self._unwanted)
            self.removed += len(piece) - len(kept)
            piece = kept
        self._raw += piece
        if len(self._raw) > 2 * self.limit:
            self._overlong = True
        if self._overlong and self._raw:
            self._skip(out, bytes(self._raw), "longer than a frame may be")
            self._raw.clear()

    def _close(self, out: list[Frame | Skipped]) -> None:
        self.flags += 1
        raw = bytes(self._raw)
        self._raw.clear()
        if self._overlong or not raw:
            self._overlong = False
            return
        if raw[-1] == ESCAPE:
            self._skip(out, raw, "given up by its sender (7D 7E)")
            return
        plain = _ESCAPED.sub(_flip, raw) if ESCAPE in raw else raw
        size = self.fcs.size
        if len(plain) <= size:
            self._skip(out, raw, "too short for a frame")
        elif len(plain) > self.limit:
            self._skip(out, raw, "longer than a frame may be")
        elif self.fcs.of(plain[:-size]) != int.from_bytes(plain[-size:], "little"):
            self._skip(out, raw, "no frame, or one whose check sum does not hold")
        else:
            out.append(Frame(plain[:-size]))

    @staticmethod
    def _skip(out: list[Frame | Skipped], octets: bytes, why: str) -> None:
        """Notes octets; neighbours skipped for the same reason become one note."""
        last = out[-1] if out else None
        if isinstance(last, Skipped) and last.why == why:
            sample = (last.sample + octets)[:SAMPLE_SIZE]
            out[-1] = Skipped(last.octets + len(octets), sample, why)
        else:
            out.append(Skipped(len(octets), octets[:SAMPLE_SIZE], why))


def _flip(escaped: re.Match[bytes]) -> bytes:
    return _FLIPPED[escaped[1]]
