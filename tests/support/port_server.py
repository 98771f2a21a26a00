"""A port server by RFC 2217 in a thread: pyserial's PortManager in front of a port, for one client."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import serial
import serial.rfc2217


class _NoModemLines(serial.Serial):
    """A pty as a serial port: it has no modem lines, so some are made up."""

    cts = dsr = cd = True
    ri = False

    def _update_dtr_state(self) -> None:
        pass

    def _update_rts_state(self) -> None:
        pass


class _Sender:
    """What PortManager writes its answers to."""

    def __init__(self, connection: socket.socket) -> None:
        self.write = connection.sendall


@contextmanager
def port_server(path: str) -> Iterator[str]:
    """Serves the serial port at ``path``; gives its URL for pyserial."""
    ending = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.settimeout(0.1)
        thread = threading.Thread(target=_serve, args=(listener, path, ending), name="port server")
        thread.start()
        try:
            yield f"rfc2217://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            ending.set()
            thread.join()


def _serve(listener: socket.socket, path: str, ending: threading.Event) -> None:
    while not ending.is_set():
        with contextlib.suppress(TimeoutError):
            connection, _ = listener.accept()
            with connection, _NoModemLines(path, timeout=0) as port:
                connection.settimeout(0.005)
                _bridge(connection, port, ending)
            return


def _bridge(connection: socket.socket, port: serial.Serial, ending: threading.Event) -> None:
    manager = serial.rfc2217.PortManager(port, _Sender(connection))
    while not ending.is_set():
        with contextlib.suppress(TimeoutError):
            octets = connection.recv(4096)
            if not octets:
                return
            port.write(b"".join(manager.filter(octets)))
        octets = port.read(4096)
        if octets:
            connection.sendall(b"".join(manager.escape(octets)))
