"""The outside of a serial port: what the host says and hears, faults on the way, peers.

Everything happens at moments of virtual time. A peer inside this process is asked in lockstep and
makes a fully deterministic pair; a live stream (socket, pty) is read with a bounded wait, so that
virtual time does not run ahead of the wall clock while the far end thinks.
"""

from __future__ import annotations

import os
import select
import time
from collections.abc import Callable
from typing import Final, Protocol

from readoff.box.clock import Timetable
from readoff.box.uart import Uart

MICROSECOND: Final = 10**6  # picoseconds

# A fault sees (ordinal from 0, octet) and gives what passes instead: b"" lost, two octets doubled.
Fault = Callable[[int, int], bytes]


def flip(ordinal: int, mask: int = 0x01) -> Fault:
    """Flip bits of octet number so-and-so."""
    return lambda i, octet: bytes([octet ^ mask if i == ordinal else octet])


def drop(ordinal: int, count: int = 1) -> Fault:
    """Lose octets from a number on."""
    return lambda i, octet: b"" if ordinal <= i < ordinal + count else bytes([octet])


def double(ordinal: int) -> Fault:
    """Say an octet twice."""
    return lambda i, octet: bytes([octet]) * (2 if i == ordinal else 1)


class Peer(Protocol):
    """The far end of a line."""

    def exchange(self, now: int, octets: bytes) -> bytes:
        """Virtual microseconds, what arrived since the last call; what the far end sends now."""


class Line:
    """A null-modem cable from the box's port to whoever is at the other end."""

    def __init__(
        self, uart: Uart, timetable: Timetable, now: Callable[[], int], changed: Callable[[], None]
    ) -> None:
        self.uart = uart
        self._timetable = timetable
        self._now = now
        self._changed = changed
        self._heard = bytearray()
        self._counts = {"out": 0, "in": 0}
        self._peer: Peer | None = None
        self._every = 500 * MICROSECOND
        self.delay = 0  # microseconds, each way
        self.fault_to_host: Fault | None = None
        self.fault_to_guest: Fault | None = None
        uart.sent = self._sent
        self.skip_idle()

    def skip_idle(self, skip: bool = True) -> None:
        """Whether, where the guest only waits for the line, the clock moves on to the next event; a line begins so.

        Nothing happens later or earlier for it; only the looks in between are left out. Not for a guest that ends its
        wait after so many looks, nor for a test that counts them.
        """
        self.uart.skip_to = self._skip_to if skip else None

    def _skip_to(self, moment: int | None) -> None:
        if self._peer is None:
            return  # nothing is on its way: looks that the guest counts would take a tick each
        upto = self._timetable.next() if moment is None else min(moment, self._timetable.next())
        self._timetable.move_on(upto)

    def connect(self, connected: bool = True) -> None:
        """Plug the cable in or pull it; octets sent into nothing are lost."""
        self.uart.connected = connected

    def attach(self, peer: Peer, every: int = 500) -> None:
        """Plug a peer in; it is asked every so many virtual microseconds."""
        first = self._peer is None
        self._peer = peer
        self._every = every * MICROSECOND
        self.connect()
        if first:
            self._plan()

    def detach(self) -> None:
        """Pull the cable."""
        self._peer = None
        self.connect(False)

    def _plan(self) -> None:
        self._timetable.at(self._now() + self._every, self._exchange)

    def _exchange(self) -> None:
        if self._peer is None:
            return
        octets = self._peer.exchange(self._now() // MICROSECOND, self.take())
        if octets:
            self.host_wrote(octets)
        self._plan()

    def _sent(self, octet: int) -> None:
        if not self.uart.connected:
            return
        octets = bytes([octet])
        if self.fault_to_host is not None:
            octets = self.fault_to_host(self._counts["out"], octet)
        self._counts["out"] += 1
        self._heard += octets

    def take(self) -> bytes:
        """What the guest sent since the last call."""
        self.uart.run_due()
        octets = bytes(self._heard)
        self._heard.clear()
        return octets

    def host_wrote(self, octets: bytes) -> None:
        """The far end sends octets to the guest, from now on, one after the other."""
        if not self.uart.connected:
            return
        if self.fault_to_guest is not None:
            changed = b""
            for octet in octets:
                changed += self.fault_to_guest(self._counts["in"], octet)
                self._counts["in"] += 1
            octets = changed
        else:
            self._counts["in"] += len(octets)
        if self.delay:
            self._timetable.at(self._now() + self.delay * MICROSECOND, lambda: self._arrive(octets))
        else:
            self._arrive(octets)

    def _arrive(self, octets: bytes) -> None:
        self.uart.arrive(octets)
        self._changed()


class Stream:
    """A peer over a file descriptor (socket or pty). Never blocks longer than ``longest`` seconds a call.

    speed: virtual seconds a second of wall clock at most, while nothing comes; 1 is a line in real time.
    """

    def __init__(self, descriptor: int, *, speed: float = 1.0, longest: float = 0.02) -> None:
        self._descriptor = descriptor
        self._speed = speed
        self._longest = longest
        self._started: tuple[float, int] | None = None
        self.closed = False

    def exchange(self, now: int, octets: bytes) -> bytes:
        """Send, wait as long as virtual time is ahead of the wall clock, receive."""
        if self.closed:
            return b""
        try:
            while octets:
                octets = octets[os.write(self._descriptor, octets) :]
            ready = select.select([self._descriptor], [], [], self._wait(now))[0]
            if not ready:
                return b""
            received = os.read(self._descriptor, 4096)
        except BlockingIOError:
            return b""
        except OSError:
            self.closed = True
            return b""
        self.closed = not received
        return received

    def _wait(self, now: int) -> float:
        wall = time.monotonic()
        if self._started is None:
            self._started = (wall, now)
        started, virtual = self._started
        ahead = (now - virtual) / 1e6 / self._speed - (wall - started)
        if ahead < 0:
            self._started = (wall, now)  # the host was slow; that time is not caught up
            return 0.0
        return min(ahead, self._longest)
