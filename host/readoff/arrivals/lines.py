"""Lines at work: a thread for each port or connection, with the receiver of readoff.link in it.

A port that can't be opened or vanishes is tried again, at growing intervals; what had come of a record stays with
the receiver, so the agent goes on where it was. Octets are committed by the clerk before the line says "kept".
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable
from typing import TypeVar

from readoff.arrivals.clerk import Clerk
from readoff.arrivals.connections import Address, Connection, SocketConnection, connect, listen
from readoff.arrivals.desk import Desk
from readoff.arrivals.told import About, Note, Status
from readoff.link.rates import rate_of

QUIET = 5.0
"""Seconds of silence after which a frame that is not closed is given up, and noise is told."""
RETRY_FIRST, RETRY_LAST = 0.2, 5.0
"""Seconds between attempts to open a port: doubled each time."""
PEERS_LIMIT = 16
"""Connections to one listening line at a time."""


T = TypeVar("T")


def converse(connection: Connection, desk: Desk, going_on: Callable[[], bool]) -> None:
    """Reads and answers until it is to end. Raises OSError when the line is gone."""
    status, receiver = desk.status, desk.receiver
    divisor = receiver.rate.start
    status.bits = rate_of(divisor)

    def write(octets: bytes) -> None:
        try:
            connection.write(octets)
        except TimeoutError:
            desk.note(About.SOURCE, "the other end takes nothing of what is sent")

    heard = time.monotonic()
    while going_on():
        octets = connection.read()
        now = time.monotonic()
        if octets:
            heard = status.last_activity = now
            status.octets += len(octets)
            events = receiver.receive(octets, now)
            desk.flush(write)  # "have" goes out before the store is asked
            desk.attend(events, write)
        elif now - heard >= QUIET:
            heard = now
            desk.attend(receiver.line_ended(), write)
            desk.tell_noise()
        desk.attend(receiver.passed(now), write)
        if receiver.divisor != divisor and not connection.set_rate(rate_of(receiver.divisor)):
            desk.note(About.SOURCE, f"the port can not be set to {rate_of(receiver.divisor)} bits a second")
            receiver.rate.stay()
        if receiver.divisor != divisor:
            divisor = receiver.divisor
            status.bits = rate_of(divisor)


class _Line(threading.Thread):
    """A thread that works a line until ``stop`` is called."""

    def __init__(self, address: Address, clerk: Clerk) -> None:
        super().__init__(name=f"line {address.text}", daemon=True)
        self.address, self.clerk = address, clerk
        self.status = Status(address.text, "line")
        self._ending = threading.Event()

    def stop(self) -> None:
        """Ends it after the octets in hand; does not wait."""
        self._ending.set()

    def run(self) -> None:
        """Works the line. An error of our own ends the thread and is told, not swallowed."""
        try:
            self._work()
        except Exception as error:
            self._problem(f"no longer worked, by a mistake of this program ({type(error).__name__}: {error})")
            raise
        finally:
            self.status.alive = False

    def _going_on(self) -> bool:
        return not self._ending.is_set()

    def _work(self) -> None:
        raise NotImplementedError

    def _alive(self, what: str) -> None:
        self.status.alive, self.status.problem = True, ""
        self.clerk.tell(Note(self.status.name, About.SOURCE, what))

    def _problem(self, what: str) -> None:
        """Tells it, once until it is something else."""
        if self.status.problem != what:
            self.clerk.tell(Note(self.status.name, About.SOURCE, what))
        self.status.alive, self.status.problem, self.status.bits = False, what, 0

    def _opened(self, opener: Callable[[Address], T], failed: str) -> T | None:
        """What opens the address, tried until it can be opened; None when the line is to end."""
        retry = RETRY_FIRST
        while self._going_on():
            try:
                return opener(self.address)
            except OSError as error:
                self._problem(f"{failed} ({_reason(error)}); it will be tried again")
                self._ending.wait(retry)
                retry = min(2 * retry, RETRY_LAST)
        return None


class PortLine(_Line):
    """A serial port, a URL, or a connection that we make."""

    def _work(self) -> None:
        desk = Desk(self.clerk, self.status, self.address.host_rate())
        while (connection := self._opened(connect, "cannot be opened")) is not None:
            self._alive("open")
            try:
                converse(connection, desk, self._going_on)
            except OSError as error:
                self._problem(f"gone ({_reason(error)}); it will be opened again when it is back")
            finally:
                connection.close()
                desk.attend(desk.receiver.line_ended(), lambda _: None)
                desk.tell_noise()
            self._ending.wait(RETRY_FIRST)


class ListeningLine(_Line):
    """A TCP port that emulators connect to; each connection is a line of its own, with a status of its own.

    tcp_port: the port in use, once ``opened`` is set: with port 0 the system chooses one.
    """

    def __init__(self, address: Address, clerk: Clerk) -> None:
        super().__init__(address, clerk)
        self.opened = threading.Event()
        self.tcp_port = address.tcp_port
        self._peers: list[_Peer] = []
        self._lock = threading.Lock()

    def statuses(self) -> list[Status]:
        """Of the port and of each connection that is open."""
        with self._lock:
            return [self.status, *(peer.status for peer in self._peers)]

    def _work(self) -> None:
        while (listener := self._opened(listen, "cannot listen")) is not None:
            with listener:
                self.tcp_port = listener.getsockname()[1]
                self._alive(f"listening on TCP port {self.tcp_port}")
                self.opened.set()
                while self._going_on():
                    with contextlib.suppress(TimeoutError):
                        self._accept(SocketConnection(listener.accept()[0]))
                    self._sort_out()
        for peer in self._peers:
            peer.stop()
        for peer in self._peers:
            peer.join()
        self._sort_out()

    def _accept(self, connection: SocketConnection) -> None:
        if len(self._peers) >= PEERS_LIMIT:
            connection.close()
            what = f"a connection was turned away: there are {PEERS_LIMIT} already"
            self.clerk.tell(Note(self.status.name, About.SOURCE, what))
            return
        peer = _Peer(self.address, self.clerk, connection)
        with self._lock:
            self._peers.append(peer)
        peer.start()

    def _sort_out(self) -> None:
        """Drops connections that have ended; what they counted stays in the port's own status."""
        for peer in [each for each in self._peers if not each.is_alive()]:
            with self._lock:
                self._peers.remove(peer)
                mine, other = self.status, peer.status
                mine.octets += other.octets
                mine.records += other.records
                mine.noise += other.noise
                mine.left = other.left
                mine.last_arrival = _later(mine.last_arrival, other.last_arrival)
                mine.last_activity = _later(mine.last_activity, other.last_activity)


class _Peer(_Line):
    """One connection to a listening line."""

    def __init__(self, address: Address, clerk: Clerk, connection: SocketConnection) -> None:
        super().__init__(address, clerk)
        self._connection = connection

    def _work(self) -> None:
        desk = Desk(self.clerk, self.status, self.address.host_rate())
        self._alive("a connection was opened")
        try:
            converse(self._connection, desk, self._going_on)
        except OSError as error:
            self._problem(f"a connection has ended ({_reason(error)})")
        finally:
            self._connection.close()
            desk.attend(desk.receiver.line_ended(), lambda _: None)
            desk.tell_noise()


def _later(one: float | None, other: float | None) -> float | None:
    return max((each for each in (one, other) if each is not None), default=None)


def _reason(error: OSError) -> str:
    """What the system says, in short."""
    return error.strerror or str(error) or type(error).__name__
