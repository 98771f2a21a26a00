"""Plays the agent on a real connection: the Sender of readoff.link at the end of a pty or a socket."""

from __future__ import annotations

import os
import select
import socket
import time
import tty
from collections.abc import Callable
from dataclasses import dataclass

from readoff.link.sender import Sender


@dataclass(frozen=True)
class Port:
    """One end of a line, as a file descriptor."""

    descriptor: int
    close: Callable[[], None]

    def read(self, seconds: float) -> bytes | None:
        """What is there; b"" when nothing came in time; None when the other end is gone."""
        if not select.select([self.descriptor], [], [], max(0.0, seconds))[0]:
            return b""
        try:
            return os.read(self.descriptor, 4096) or None
        except OSError:
            return None

    def write(self, octets: bytes) -> None:
        while octets:
            octets = octets[os.write(self.descriptor, octets) :]


def over_socket(tcp_port: int) -> Port:
    """Connects to a listening line."""
    connected = socket.create_connection(("127.0.0.1", tcp_port), timeout=5)
    connected.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    connected.settimeout(None)
    return Port(connected.fileno(), connected.close)


@dataclass(frozen=True)
class Pty:
    """A pty: the agent's end is a Port, the host opens ``path`` like a serial port."""

    port: Port
    path: str


def a_pty() -> Pty:
    """Opens a pty in raw mode."""
    master, slave = os.openpty()
    tty.setraw(slave)

    def close() -> None:
        os.close(slave)
        os.close(master)

    return Pty(Port(master, close), os.ttyname(slave))


def play(sender: Sender, port: Port, *, until: Callable[[], bool] = lambda: False) -> None:
    """Runs the sender on the port until it is over, ``until`` holds, or the other end is gone."""
    while not sender.over and not until():
        octets = sender.to_send(time.monotonic())
        if octets:
            port.write(octets)
        wait = 0.0 if octets else min(0.05, sender.due - time.monotonic())
        heard = port.read(wait)
        if heard is None:
            return
        if heard:
            sender.receive(heard, time.monotonic())
