"""A bench page that is really served, a browser that is really one, and invented records for them to show."""

from __future__ import annotations

import http.client
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import readoff
from readoff.page.app import Look
from readoff.page.serve import PageServer
from readoff.readings import load_schemas
from readoff.store import Store, open_store
from support import store_samples as samples

CHROMIUM = "/usr/bin/chromium"
QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
ended_ports: set[int] = set()  # of pages no longer served: a browser that still looks at one complains
RATES = {"as-found": ("72.9", "72.8", "73.0"), "zero-ws": ("76.1", "76.3", "76.0")}


def open_sample_store(path: Path) -> Store:
    """A store that reads what REPLAY prints."""
    return open_store(path, load_schemas([("replay.toml", samples.SCHEMA)]))


def boot_records(side: int, boot: int, label: str, rate: str) -> list[bytes]:
    """A boot with its snapshot and two runs."""
    nonce = side * 16 + boot + 1
    memory = {"extended_88_kb": 3072 * (1 + side)}
    records = [samples.snapshot_record(1, nonce, label=label, memory=memory)]
    for repeat in (1, 2):
        start = {"label": label, "repeat": repeat}
        screens = (samples.screen(["Rate: 1 frames/s"]),) if repeat == 1 else ()
        records.append(
            samples.run_record(1 + repeat, nonce, console=samples.printed(rate), start=start, screens=screens)
        )
    return records


def fill(store: Store) -> None:
    """Two configurations of three boots with two runs each, and octets that are no record."""
    for side, (label, boots) in enumerate(RATES.items()):
        for boot, rate in enumerate(boots):
            for octets in boot_records(side, boot, label, rate):
                store.take(octets, f"B{boot}.RDO")
    store.take(b"no record at all", "NOISE.RDO")


@contextmanager
def served(look: Look, host: str = "127.0.0.1") -> Iterator[PageServer]:
    """The page, from start to end; fails when it does not end."""
    server = PageServer(look, host, 0)
    server.start()
    ended_ports.discard(server.port)
    try:
        yield server
    finally:
        ended_ports.add(server.port)
        server.stop()
    assert not server.is_alive(), "the page does not end"


@contextmanager
def running(*arguments: str) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """A command of readoff that serves the page: its process, and the port that it told."""
    process = subprocess.Popen(
        [sys.executable, "-uc", "from readoff.cli import main; main()", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(readoff.__file__).resolve().parents[1])},
    )
    try:
        assert process.stdout is not None
        told = (re.search(r"Page: http://127\.0\.0\.1:(\d+)/", line) for line in process.stdout)
        port = next(int(found[1]) for found in told if found)
        ended_ports.discard(port)
        yield process, port
        ended_ports.add(port)
    finally:
        process.kill()
        process.communicate()


def get(server: PageServer, path: str = "/", method: str = "GET", **headers: str) -> http.client.HTTPResponse:
    """An answer, read to its end. headers: with _ for -."""
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=20)
    told = {name.replace("_", "-"): value for name, value in headers.items()}
    connection.request(method, path, headers={"host": f"127.0.0.1:{server.port}", **told})
    answer = connection.getresponse()
    answer.octets = answer.read()  # type: ignore[attr-defined]
    connection.close()
    return answer
