"""Serial lines between an emulator's COM1 and the host, for tests: over TCP, and through a pair of ptys.

Each gives ``serial1``, the text for DOSBox 0.74's configuration. Null-modem over TCP is paced at the line
rate by DOSBox; so is a pty (DOSBox's "directserial", which takes a pty as it takes a real port).
"""

from __future__ import annotations

import os
import selectors
import socket
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

_MOST_WAITING = 65536
"""Octets that a pump holds for a reader that doesn't read; then it stops taking more."""


@dataclass(frozen=True)
class ListeningLine:
    """We listen, DOSBox connects out at its start."""

    listener: socket.socket
    gather_ms: int

    @property
    def port(self) -> int:
        """The TCP port on 127.0.0.1, chosen by the system."""
        return int(self.listener.getsockname()[1])

    @property
    def serial1(self) -> str:
        """For DOSBox's configuration."""
        return f"nullmodem server:127.0.0.1 port:{self.port} transparent:1 txdelay:{self.gather_ms}"

    def accept(self, time_limit: float = 30.0) -> socket.socket:
        """The connection from DOSBox. Raises TimeoutError when none comes within ``time_limit`` seconds."""
        self.listener.settimeout(time_limit)
        connection, _ = self.listener.accept()
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return connection


@contextmanager
def listening_line(gather_ms: int = 12) -> Iterator[ListeningLine]:
    """A TCP port that DOSBox connects to: open before DOSBox starts, as it tries once.

    gather_ms: how long DOSBox gathers what it sends, in its milliseconds; 12 is its default, about what
    a USB adapter's latency timer does.
    """
    with socket.create_server(("127.0.0.1", 0)) as listener:
        yield ListeningLine(listener, gather_ms)


@dataclass(frozen=True)
class DosBoxListens:
    """DOSBox listens, the host connects (``url`` for pyserial) as soon as DOSBox is up."""

    port: int

    @property
    def serial1(self) -> str:
        """For DOSBox's configuration."""
        return f"nullmodem port:{self.port} transparent:1"

    @property
    def url(self) -> str:
        """For pyserial; refused until DOSBox has opened its port."""
        return f"socket://127.0.0.1:{self.port}"


def dosbox_listens() -> DosBoxListens:
    """A line on a TCP port that is free now; someone else could take it before DOSBox does (then it fails)."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return DosBoxListens(int(probe.getsockname()[1]))


@dataclass(frozen=True)
class PtyLine:
    """Two ptys joined by a pump: one end for the emulator, one for the host."""

    emulator_path: str
    host_path: str

    @property
    def serial1(self) -> str:
        """For DOSBox's configuration."""
        return f"directserial realport:{self.emulator_path.removeprefix('/dev/')}"


@contextmanager
def pty_line() -> Iterator[PtyLine]:
    """A line through two ptys, pumped by a thread until the end of the block."""
    ends = [os.openpty(), os.openpty()]
    for master, slave in ends:
        tty.setraw(slave)
        os.set_blocking(master, False)
    wake_read, wake_write = os.pipe()
    masters = (ends[0][0], ends[1][0])
    pump = threading.Thread(target=_pump, args=(*masters, wake_read), name="pty pump", daemon=True)
    pump.start()
    try:
        yield PtyLine(os.ttyname(ends[0][1]), os.ttyname(ends[1][1]))
    finally:
        os.write(wake_write, b"x")
        pump.join()
        for descriptor in (*ends[0], *ends[1], wake_read, wake_write):
            os.close(descriptor)


def _pump(one: int, other: int, wake: int) -> None:
    """Copy octets both ways between two descriptors that don't block, until ``wake`` is readable."""
    opposite = {one: other, other: one}
    waiting: dict[int, bytearray] = {one: bytearray(), other: bytearray()}  # octets to be written there
    with selectors.DefaultSelector() as selector:
        selector.register(wake, selectors.EVENT_READ)
        for descriptor in opposite:
            selector.register(descriptor, selectors.EVENT_READ)
        while True:
            for key, events in selector.select():
                descriptor = key.fd
                if descriptor == wake:
                    return
                if events & selectors.EVENT_READ:
                    with suppress(BlockingIOError):
                        waiting[opposite[descriptor]] += os.read(descriptor, 4096)
                if events & selectors.EVENT_WRITE:
                    with suppress(BlockingIOError):
                        del waiting[descriptor][: os.write(descriptor, waiting[descriptor])]
            for descriptor, there in opposite.items():
                read = selectors.EVENT_READ if len(waiting[there]) < _MOST_WAITING else 0
                write = selectors.EVENT_WRITE if waiting[descriptor] else 0
                _watch(selector, descriptor, read | write)


def _watch(selector: selectors.BaseSelector, descriptor: int, events: int) -> None:
    """Watch a descriptor for exactly these events, none included."""
    if descriptor not in selector.get_map():
        if events:
            selector.register(descriptor, events)
    elif events:
        selector.modify(descriptor, events)
    else:
        selector.unregister(descriptor)
