"""Connections to an old machine: a serial port, or a TCP socket in its place; and how each is written.

COM3   /dev/ttyUSB0   /dev/ttyUSB0,38400      a serial port; 8 data bits, no parity, 1 stop bit, no flow control
socket://HOST:PORT                            octets over TCP, we connect
rfc2217://HOST:PORT                           a port server (RFC 2217), and any other URL of pyserial
listen:HOST:PORT                              octets over TCP, others connect to us; loopback, unless all is said
                                              by a HOST of another interface

A line begins at 9600 bits a second; agent and host agree on the fastest that holds, 115,200 at most, or the rate given
after a comma. A rate below 9600 is the start itself, and both sides have to be given it.
"""

from __future__ import annotations

import contextlib
import re
import socket
import time
from dataclasses import dataclass
from typing import Protocol

import serial

from readoff.errors import LineError
from readoff.link.rates import HostRate, divisor_of, rate_of

FASTEST_RATE = 115_200
READ_WAIT = 0.1
"""Seconds that a read waits for octets."""
WRITE_WAIT = 2.0
"""Seconds that a write waits for a line that takes nothing."""
CONNECT_WAIT = 3.0
"""Seconds that connecting may take."""
try:
    import termios

    NOT_SETTABLE: tuple[type[Exception], ...] = (OSError, ValueError, NotImplementedError, termios.error)
except ImportError:  # a system without terminals of this kind
    NOT_SETTABLE = (OSError, ValueError, NotImplementedError)

READ_AT_MOST = 65_536
OUT_WAIT = 0.03
"""Seconds for what a port still holds when the system says that all is out."""


class Connection(Protocol):
    """An open line. All raise OSError when it is gone."""

    def read(self) -> bytes:
        """What has come, at once; else waits READ_WAIT, and gives b"" when nothing came."""
        ...

    def write(self, octets: bytes) -> None:
        """Sends. Raises TimeoutError when the other end takes nothing for WRITE_WAIT."""
        ...

    def set_rate(self, rate: int) -> bool:
        """Goes to another rate once all that was written is out; False when the port won't. May be gone then."""
        ...

    def close(self) -> None:
        """Closes; may be called twice."""
        ...


@dataclass(frozen=True)
class Address:
    """A line, as written. form: "port", "url", "socket" or "listen". place: the port's name or URL, else the host.

    rate: the fastest that may be agreed on.
    """

    text: str
    form: str
    place: str
    rate: int = FASTEST_RATE
    tcp_port: int = 0

    def host_rate(self) -> HostRate:
        """The host's side of the agreement on a rate, for a line that is opened."""
        return HostRate(divisor_of(self.rate))


# What pySerial opens (its documentation, "URL Handlers"), beside what is opened here.
_SCHEMES = ("alt", "cp2110", "hwgrep", "loop", "rfc2217", "spy")


def parse_address(text: str) -> Address:
    """Reads a line's address. Raises LineError saying what is wrong and how lines are written."""
    place, comma, told = text.rpartition(",")
    if not comma:
        place, told = text, str(FASTEST_RATE)
    if not place:
        raise _wrong(text, "no port is named")
    if not told.isascii() or not told.isdigit() or not 50 <= int(told) <= FASTEST_RATE:
        raise _wrong(text, f"{told!r} is no rate between 50 and {FASTEST_RATE}")
    for prefix, form in (("listen:", "listen"), ("socket://", "socket")):
        if place.lower().startswith(prefix):
            host, port = _host_and_port(text, place[len(prefix) :].rstrip("/"))
            return Address(text, form, host, int(told), port)
    if "://" not in place:
        return Address(text, "port", place, int(told))
    scheme = place.partition("://")[0].lower()
    if scheme not in _SCHEMES:
        raise _wrong(text, f"no line is written {scheme}://")
    return Address(text, "url", place, int(told))


def _host_and_port(text: str, rest: str) -> tuple[str, int]:
    found = re.fullmatch(r"(?:\[([^\]]+)\]|([^:]*)):([0-9]{1,5})", rest)
    if found is None or not int(found[3]) <= 65_535:
        raise _wrong(text, "after the host there is no TCP port")
    return found[1] or found[2] or "127.0.0.1", int(found[3])


def _wrong(text: str, what: str) -> LineError:
    return LineError(
        what,
        where=text,
        next_step="Lines are written COM3, /dev/ttyUSB0,38400, socket://HOST:PORT, rfc2217://HOST:PORT"
        " or listen:HOST:PORT.",
    )


def connect(address: Address) -> Connection:
    """Opens a line of any form but "listen". Raises OSError when that is not possible now."""
    if address.form == "socket":
        return SocketConnection(socket.create_connection((address.place, address.tcp_port), CONNECT_WAIT))
    return SerialConnection(address)


def listen(address: Address) -> socket.socket:
    """Opens the TCP port of a "listen" line. Raises OSError."""
    family = socket.AF_INET6 if ":" in address.place else socket.AF_INET
    listener = socket.create_server((address.place, address.tcp_port), family=family, backlog=4)
    listener.settimeout(READ_WAIT)
    return listener


class SerialConnection:
    """A serial port, or a URL of pyserial, raw: 8N1, no flow control, nothing translated; at the start rate."""

    def __init__(self, address: Address) -> None:
        try:
            start = rate_of(address.host_rate().start)
            self._port = serial.serial_for_url(
                address.place, baudrate=start, timeout=READ_WAIT, do_not_open=True
            )
            if address.form == "port":  # pyserial's port servers know neither of these
                self._port.write_timeout = WRITE_WAIT
                self._port.exclusive = True
            self._port.open()
        except (ValueError, NotImplementedError) as error:
            raise OSError(f"{address.text}: {error}") from error
        # USB adapters gather octets for 16 ms unless told not to. A hint: a pty, say, knows nothing of it.
        with contextlib.suppress(OSError, ValueError, NotImplementedError, AttributeError):
            self._port.set_low_latency_mode(True)

    def read(self) -> bytes:
        """As Connection.read. One octet is waited for, the rest taken: asking for more would wait for more."""
        octets: bytes = self._port.read(min(READ_AT_MOST, max(1, self._port.in_waiting)))
        return octets

    def write(self, octets: bytes) -> None:
        """As Connection.write."""
        try:
            self._port.write(octets)
        except serial.SerialTimeoutException as error:
            raise TimeoutError("the line takes nothing") from error

    def set_rate(self, rate: int) -> bool:
        """As Connection.set_rate. A port that was told a rate it can't have is told the one before again."""
        before = self._port.baudrate
        try:
            self._port.flush()
            time.sleep(OUT_WAIT)
            self._port.baudrate = rate
        except NOT_SETTABLE:
            with contextlib.suppress(*NOT_SETTABLE):
                self._port.baudrate = before
            return False
        return True

    def close(self) -> None:
        """As Connection.close."""
        with contextlib.suppress(OSError):
            self._port.close()


class SocketConnection:
    """A TCP connection in the place of a serial line."""

    def __init__(self, connected: socket.socket) -> None:
        self._socket = connected
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.settimeout(READ_WAIT)

    def read(self) -> bytes:
        """As Connection.read."""
        try:
            octets = self._socket.recv(READ_AT_MOST)
        except TimeoutError:
            return b""
        if not octets:
            raise ConnectionResetError("the other end has closed the connection")
        return octets

    def write(self, octets: bytes) -> None:
        """As Connection.write."""
        self._socket.settimeout(WRITE_WAIT)
        try:
            self._socket.sendall(octets)
        finally:
            self._socket.settimeout(READ_WAIT)

    def set_rate(self, rate: int) -> bool:
        """As Connection.set_rate. There is no port here; what is behind the connection sees to its own rate."""
        return True

    def close(self) -> None:
        """As Connection.close."""
        self._socket.close()
