"""The page's server, in a thread of its own: bound at once, so that whoever starts it knows whether it is there."""

from __future__ import annotations

import ipaddress
import secrets
import socket
import threading

import uvicorn

from readoff.errors import UsageError
from readoff.page.app import Look, Page
from readoff.page.guard import Door

DEFAULT_HOST, DEFAULT_PORT = "127.0.0.1", 8486
END_WAIT = 5.0
"""Seconds that open connections have to end."""


def parse_address(text: str) -> tuple[str, int]:
    """HOST, PORT, HOST:PORT, [ADDRESS] or [ADDRESS]:PORT; "" for the default. Raises UsageError."""
    host, port = text, ""
    if text.isdecimal():
        host, port = "", text
    elif text.startswith("["):
        host, _, port = text[1:].partition("]")
        port = port.removeprefix(":")
    elif text.count(":") == 1:
        host, _, port = text.partition(":")
    number = int(port) if port.isascii() and port.isdecimal() and len(port) < 6 else -1
    if port and not 0 <= number <= 65535:
        raise UsageError(
            f"{text!r} is no address for the page", next_step="Write HOST:PORT, such as 127.0.0.1:8486."
        )
    return host or DEFAULT_HOST, number if port else DEFAULT_PORT


def is_loopback(host: str) -> bool:
    """Whether only this computer reaches an address."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"


def _own_address() -> str:
    """An IPv4 address by which others in the network find this computer; 127.0.0.1 where it has no way out.

    Asks the system which of its addresses it would send from. Nothing is sent: connecting a datagram socket only
    looks at the routes, and the address is one for documentation (RFC 5737). The computer's own name is no help: it
    may not resolve, or only to loopback.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])


class PageServer:
    """Serves the page from ``start`` to ``stop``.

    host, port: where; port 0 lets the system choose. Beyond loopback a token is made, which ``link`` carries.
    Raises UsageError when the address cannot be had, StoreError when the store cannot be read.
    """

    def __init__(self, look: Look, host: str = DEFAULT_HOST, port: int = DEFAULT_PORT) -> None:
        self._socket = _bind(host, port)
        try:
            self.port = int(self._socket.getsockname()[1])
            self.door = Door(host, self.port, "" if is_loopback(host) else secrets.token_urlsafe(24))
            self._server: uvicorn.Server | None = None
            page = Page(look, self.door, self._going_on)
        except BaseException:
            self._socket.close()
            raise
        self._server = uvicorn.Server(
            uvicorn.Config(
                page.asgi,
                log_config=None,
                access_log=False,
                server_header=False,
                lifespan="on",
                limit_concurrency=400,
                timeout_graceful_shutdown=int(END_WAIT),
            )
        )
        self._thread = threading.Thread(target=self._run, name="page", daemon=True)

    @property
    def link(self) -> str:
        """What to open in a browser."""
        host = self.door.host
        if host in ("0.0.0.0", "::"):  # any address of this computer's will do
            host = _own_address() if host == "0.0.0.0" else "::1"
        shown = f"[{host}]" if ":" in host else host
        token = f"?token={self.door.token}" if self.door.token else ""
        return f"http://{shown}:{self.port}/{token}"

    def start(self) -> None:
        """Begins to serve."""
        self._thread.start()

    def stop(self) -> None:
        """Ends every stream and connection, and waits for that."""
        assert self._server is not None  # since __init__
        self._server.should_exit = True
        self._thread.join(2 * END_WAIT)

    def is_alive(self) -> bool:
        """Whether it serves."""
        return self._thread.is_alive()

    def _going_on(self) -> bool:
        return self._server is None or not self._server.should_exit

    def _run(self) -> None:
        assert self._server is not None  # since __init__
        self._server.run(sockets=[self._socket])


def _bind(host: str, port: int) -> socket.socket:
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        bound = socket.socket(family, kind, protocol)
        try:
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            bound.bind(address)
            bound.listen(128)  # who asks before the server runs waits a moment, and is not turned away
        except BaseException:
            bound.close()
            raise
    except OSError as error:
        raise UsageError(
            f"the page cannot be served there ({error.strerror or error})",
            where=f"{host}:{port}",
            next_step="Name another address, such as 127.0.0.1:8487.",
        ) from error
    return bound
