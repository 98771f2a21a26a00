"""readoff watch: take whatever arrives, in folders and on lines."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import (
    Place,
    check_move_to,
    folder_option,
    plain,
    result_values,
    store_options,
    study_option,
)
from readoff.cli.power import kept
from readoff.cli.study import read_file
from readoff.errors import UsageError
from readoff.names import printable

if TYPE_CHECKING:
    from readoff.arrivals.clerk import Planner
    from readoff.arrivals.told import Note, Told, Took
    from readoff.arrivals.watch import Watch
    from readoff.link.events import Asked
    from readoff.link.steps import GivenStep
    from readoff.power import Keeper
    from readoff.store import Store

TURN = 0.0005
"""Seconds after which the page's thread lets the line's go on, a tenth of what Python has: *kept* waits for it less."""


@click.command()
@click.option(
    "--folder",
    "folders",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Watch this folder, and take every record that comes into it. May be given several times.",
)
@click.option("--recursive", is_flag=True, help="Watch the folders in the folders, too.")
@click.option(
    "--port",
    "lines",
    multiple=True,
    metavar="PORT[,RATE]",
    help="Listen on this serial port (/dev/ttyUSB0, COM3, socket://HOST:PORT), at RATE at most. May be given"
    " several times.",
)
@folder_option(
    "--move-to", "Move each file there once it was taken; without it nothing in the folders is changed."
)
@click.option(
    "--until-idle",
    type=click.FloatRange(min=0),
    metavar="SECONDS",
    help="End when nothing has come for so long; without it, watch until stopped.",
)
@click.option(
    "--page",
    is_flag=False,
    flag_value="",
    metavar="[HOST:PORT]",
    help="Also serve the bench page, at 127.0.0.1:8486 unless told otherwise (see readoff page).",
)
@study_option("Tell agents that stand by (READOFF STANDBY) the next step of this study.")
@click.option(
    "--power",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="With --study: switch the machine's power by this bench file's commands (see readoff power).",
)
@store_options
def watch(  # noqa: PLR0913, PLR0917 - one for each option
    folders: Sequence[Path],
    recursive: bool,
    lines: Sequence[str],
    move_to: Path | None,
    until_idle: float | None,
    page: str | None,
    study: Path | None,
    power: Path | None,
    place: Place,
) -> None:
    """Take whatever arrives in folders and on serial lines, until stopped with Ctrl-C.

    Nothing in a folder is changed, unless you say --move-to. On a line "kept" is said only when the record is
    in the store; the agent then deletes its own copy. With --json, one object a line. Ends with status 1 when
    something was held.

    \b
    Example:
      readoff watch --folder /srv/inbox --port /dev/ttyUSB0,9600 --page
    """
    from readoff.arrivals.watch import Watch

    if not folders and not lines:
        raise UsageError("there is nothing to watch", next_step="Give --folder DIR or --port PORT, or both.")
    for folder in folders:
        if not folder.is_dir():
            raise UsageError("there is no such folder", where=str(folder))
    check_move_to(move_to, folders)
    if study is not None:
        read_file(study)
    elif power is not None:
        raise UsageError("--power goes with a study", next_step="Give --study FILE too.")
    with place.open_to_write() as store:
        teller = _Teller(store, place.as_json)
        teller.begin(folders, lines)
        watching = Watch(store, folders, lines, recursive=recursive, told=teller.told(), move_to=move_to)
        with (
            kept(power, watching, teller.power) as keeper,
            _paged(page, place, study, watching, teller),
        ):
            if study is not None:
                watching.plan_with(_planner(store, study, keeper))
            watching.run(until_idle)
        teller.end()
    click.get_current_context().exit(1 if teller.held else 0)


@contextmanager
def _paged(
    address: str | None, place: Place, study: Path | None, watching: Watch, teller: _Teller
) -> Iterator[None]:
    """The bench page beside a watch, where an address is given."""
    if address is None:
        yield
        return
    from readoff.cli.page import told
    from readoff.page.app import Look
    from readoff.page.bench import Bench
    from readoff.page.serve import PageServer, parse_address

    host, port = parse_address(address)
    bench = Bench(watching.statuses)
    look = Look(place.store, bench, watching=True, **told(place, study))
    server = PageServer(look, host, port)
    teller.also(bench.hear)
    before = sys.getswitchinterval()
    sys.setswitchinterval(TURN)
    server.start()
    try:
        teller.page(server.link)
        yield
    finally:
        server.stop()
        sys.setswitchinterval(before)


def _planner(store: Store, file: Path, keeper: Keeper | None) -> Planner:
    """Finds steps in the study's file, read anew for each question, so that what is written into it counts at once."""
    from readoff.reports.steps import given_step

    def plan(asked: Asked) -> GivenStep:
        if keeper is None:
            return given_step(store, read_file(file), asked)
        keeper.heard(asked)
        return given_step(store, read_file(file), asked, keeper.answer)

    return plan


class _Teller:
    """Says what arrives, in words or in JSON, and counts it."""

    def __init__(self, store: Store, as_json: bool) -> None:
        self.store, self.as_json = store, as_json
        self.new = self.replaced = self.held = 0
        self._others: list[Told] = []

    def also(self, hear: Told) -> None:
        """Lets somebody else hear all that is told."""
        self._others.append(hear)

    def told(self) -> Told:
        """What the watch calls."""
        from readoff.arrivals.told import Took

        def tell(what: Took | Note) -> None:
            for hear in self._others:
                hear(what)
            if isinstance(what, Took):
                self._took(what)
            elif self.as_json:
                self._line({"note": what.what, "about": str(what.about), "source": what.source})
            else:
                self.say(f"  {what.source}: {what.what}")

        return tell

    def begin(self, folders: Sequence[Path], lines: Sequence[str]) -> None:
        """Says what is watched."""
        if not self.as_json:
            watched = ", ".join([*map(str, folders), *lines])
            self.say(f"Watching {watched}; Ctrl-C ends it. Store: {self.store.path}")

    def page(self, link: str) -> None:
        """Says where the page is."""
        if self.as_json:
            self._line({"page": link})
        else:
            self.say(f"Page: {link}")

    def power(self, text: str) -> None:
        """Says what becomes of the power after the watch has ended."""
        if self.as_json:
            self._line({"note": text, "about": "power", "source": ""})
        else:
            self.say(f"  {text}")

    def end(self) -> None:
        """Says what came of it."""
        if not self.as_json:
            longer = f", {self.replaced} longer than before" if self.replaced else ""
            held = f", {self.held} arrivals with something held (see: readoff held)" if self.held else ""
            self.say(f"Done: {self.new} new{longer}{held}.")

    def _took(self, took: Took) -> None:
        result = took.result
        self.new += len(result.new)
        self.replaced += len(result.replaced)
        self.held += bool(result.held) and not result.again
        if self.as_json:
            self._line({"came_from": took.came_from, "source": took.source, **result_values(result)})
            return
        for ident in (*result.new, *result.replaced):
            self.say(f"+ {took.came_from}: {self._what(str(ident))}")
        for held in () if result.again else result.held:
            self.say(f"! {took.came_from}: held: {held.reason}")
        if result.again or not (result.new or result.replaced or result.held):
            self.say(f"= {took.came_from}: known already")

    def _what(self, ident: str) -> str:
        from readoff.cli import looks
        from readoff.store import find

        run = find.run_of(self.store, ident)
        if run is None:
            shot = find.snapshot(self.store, ident)
            return f"snapshot {ident} of {shot.label}" if shot else f"record {ident}"
        repeat = f" {run.repeat}/{run.repeats}" if run.repeat is not None else ""
        return f"run {run.number}, {looks.what_ran(run)}{repeat}, {run.state}, {looks.counted(run.readings, 'reading')}"

    def say(self, text: str) -> None:
        """Prints one line, whatever stands in it; a line end in a file's name is written as an escape."""
        click.echo(printable(text))

    def _line(self, value: dict[str, object]) -> None:
        click.echo(json.dumps(plain(value), ensure_ascii=False))
