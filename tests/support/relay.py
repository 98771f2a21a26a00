"""A relay box on a serial line, played over a pty: it takes ``ON n`` and ``OFF n``, answers, and keeps a log.

And the command that a tester would have for it: the one of docs/power.md.
"""

from __future__ import annotations

import os
import selectors
import sys
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from readoff.power import Command
from support.docs import DOCS

_SENDS = (DOCS / "power.md").read_text(encoding="utf-8").split("```python\n")[1].split("```")[0]


@dataclass
class Relay:
    """The box. port: where it is reached. log: what it was told and did, in order; others may write into it, too.

    answers: what it says to a command, instead of doing it: "" for silence. on_switched: told of each switching.
    """

    port: str
    log: list[str] = field(default_factory=list)
    answers: dict[str, str] = field(default_factory=dict)
    powered: dict[str, bool] = field(default_factory=dict)
    on_switched: Callable[[str], None] = lambda what: None

    def does(self, line: str) -> str:
        """A line that came, and what is answered."""
        word, _, outlet = line.partition(" ")
        if line in self.answers or word not in ("ON", "OFF") or not outlet.isdigit():
            self.log.append(f"refused {line}")
            return self.answers.get(line, "ERR")
        self.powered[outlet] = word == "ON"
        self.log.append(line)
        self.on_switched(line)
        return f"OK {outlet} {word}"


@contextmanager
def relay_box() -> Iterator[Relay]:
    """A relay box that runs until the end of the block."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)  # and kept open: between two commands nobody else holds the port
    relay = Relay(os.ttyname(theirs))
    stop_read, stop_write = os.pipe()

    def serve() -> None:
        waiting = b""
        with selectors.DefaultSelector() as ready:
            for end in (ours, stop_read):
                ready.register(end, selectors.EVENT_READ)
            while True:
                if any(key.fd == stop_read for key, _ in ready.select()):
                    return
                waiting += os.read(ours, 256)
                *lines, waiting = waiting.split(b"\r\n")
                for line in lines:
                    answer = relay.does(line.decode())
                    if answer:
                        os.write(ours, f"{answer}\r\n".encode())

    server = threading.Thread(target=serve, daemon=True)
    server.start()
    try:
        yield relay
    finally:
        os.write(stop_write, b"x")
        server.join(10)
        for end in (ours, theirs, stop_read, stop_write):
            os.close(end)


def relay_command(folder: Path, relay: Relay, word: str, outlet: int) -> Command:
    """A command of the tester's own: tells the relay one word of one outlet, and succeeds where it says that it did."""
    script = folder / "relay.py"
    script.write_text(_SENDS)
    return (sys.executable, str(script), relay.port, word, str(outlet))
