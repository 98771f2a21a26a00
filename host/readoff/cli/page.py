"""readoff page: the bench page over a store alone."""

from __future__ import annotations

import signal
import threading
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from readoff.cli.common import Place, load_all_schemas, margin_option, store_options, study_option
from readoff.cli.study import read_file

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import FrameType


@click.command()
@click.argument("address", required=False, default="", metavar="[HOST:PORT]")
@margin_option("The smallest difference that matters, where no study says it. Choose it before you look.")
@study_option("Show the next step and the findings of this study, and take reports of failures.")
@click.option(
    "--note", default="", metavar="TEXT", help="Shown on every view: that the figures are invented, say."
)
@store_options
def page(address: str, margin: float, study: Path | None, note: str, place: Place) -> None:
    """Show a store in a browser, live, until stopped with Ctrl-C.

    Serves 127.0.0.1:8486 unless told otherwise. Beyond this computer's own loopback the link that is printed
    carries a token, and only who has it may look. Numbers may be typed, notes and photographs attached, and failures
    of a study reported; nothing that came is ever changed.

    \b
    Example:
      readoff page --store bench.db
    """
    from readoff.page.app import Look
    from readoff.page.serve import PageServer, parse_address

    host, port = parse_address(address)
    with place.open_to_look():
        pass  # an older store is brought up to date, and what waits is read
    look = Look(place.store, margin=margin / 100, note=note, **told(place, study))
    server = PageServer(look, host, port)
    with _until_stopped() as stopped:
        server.start()
        try:
            click.echo(f"Page: {server.link}  (Ctrl-C ends it)")
            while server.is_alive() and not stopped.wait(0.2):
                pass
        finally:
            server.stop()


def told(place: Place, study: Path | None) -> dict[str, Any]:
    """What the page must be told of schemas and study. Raises UsageError, or StudyError for a faulty study."""
    if study is not None:
        read_file(study)
    return {
        "schemas": lambda: load_all_schemas(place.schemas),
        "study": None if study is None else (lambda: read_file(study)),
    }


@contextmanager
def _until_stopped() -> Iterator[threading.Event]:
    """An event that Ctrl-C and SIGTERM set, once; a second one interrupts as usual."""
    stopped = threading.Event()
    wanted = (signal.SIGINT, signal.SIGTERM)
    if threading.current_thread() is not threading.main_thread():
        yield stopped
        return
    before = {number: signal.getsignal(number) for number in wanted}

    def end(number: int, frame: FrameType | None) -> None:
        stopped.set()
        signal.signal(number, before[signal.Signals(number)])

    for number in wanted:
        signal.signal(number, end)
    try:
        yield stopped
    finally:
        for number in wanted:
            signal.signal(number, before[number])
