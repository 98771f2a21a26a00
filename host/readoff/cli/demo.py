"""readoff demo: the whole path of a number, on an invented machine, with the real agent."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import load_all_schemas
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.arrivals.told import Note, Took
    from readoff.arrivals.watch import Watch
    from readoff.box.scenario import Step

INVENTED = (
    "All figures are invented: they were measured on a test machine in software that stands for no real product. "
    "Only the path is real: the agent READOFF.COM, the serial line, the records, the store, the judge."
)


@click.command()
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    default="readoff-demo",
    show_default=True,
    help="Where the demo puts its store, its spool and its report; made if need be.",
)
def demo(folder: Path) -> None:
    """Run the real agent in a test machine, in two invented configurations, and compare them.

    Boots an embedded test machine three times in each of two configurations, runs two sample programs twice in
    each boot, takes the records over a serial line (TCP on this machine alone), and again as files, and ends with
    a finding and a report with charts and a bundle. Takes under a minute and needs nothing but this package.

    \b
    Example:
      readoff demo --folder /tmp/readoff-demo
    """
    from readoff.box import scenario
    from readoff.cli import looks
    from readoff.cli.compare import show_comparison
    from readoff.cli.report import of_study_file, write
    from readoff.reports import compare_labels
    from readoff.store import open_store

    began = time.monotonic()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"cannot be made ({error.strerror})", where=str(folder)) from error
    click.echo(f"Test machine: {scenario.MACHINE.name}, as {scenario.BASE} and as {scenario.OTHER}.")
    looks.say(INVENTED)
    click.echo()
    with open_store(folder / "readoff.db", load_all_schemas(None)) as store:
        session = _Session(folder)
        session.run(store)
        again = list(store.take_all(session.spooled()))
        if any(each.new or each.held for each in again):
            raise UsageError(
                "the files are not the records that came over the line", where=str(session.spool)
            )
        click.echo(
            f"\nThe same {len(again)} records once more, as files from the spool: all known, none counted twice."
        )
        result = compare_labels(store, scenario.BASE, scenario.OTHER)
        study = folder / "study.toml"
        study.write_text(scenario.STUDY, encoding="utf-8")
        page = write(store, of_study_file(store, study), folder / "report", {})
    show_comparison(result)
    if not result.findings:
        raise UsageError("the demo ended without a finding", where=str(folder))
    click.echo()
    looks.say(INVENTED)
    click.echo(f"\nStore:  {store.path}\nStudy:  {study}\nReport: {page}\n({time.monotonic() - began:.0f} s)")
    _show_ways_on(store.path, study, page)


def _show_ways_on(store: Path, study: Path, page: Path) -> None:
    click.echo(f"\nLook further:  readoff runs --store {store}")
    click.echo(f"               readoff show 1 --store {store}")
    click.echo(f"Judge again:   readoff study judge {study} --store {store}")
    click.echo(
        f"Check it:      readoff take {page.with_name('bundle.zip')} --store {store.with_name('check.db')}"
    )


class _Session:
    """The watch in this thread, the old machine in another, a line between them."""

    def __init__(self, folder: Path) -> None:
        self.spool = folder / "spool"
        self.records = self.known = 0
        self.played = False
        self.failure: BaseException | None = None
        self.watch: Watch | None = None

    def run(self, store: object) -> None:
        """Plays the scenario to its end while the watch takes what arrives. Raises what went wrong on either side."""
        from readoff.arrivals.watch import Watch
        from readoff.store import Store

        assert isinstance(store, Store)
        self.watch = Watch(store, lines=["listen:127.0.0.1:0"], told=self._told)
        machine = threading.Thread(target=self._machine, name="test machine", daemon=True)
        machine.start()
        self.watch.run()
        interrupted = not self.played  # Ctrl-C ended the watch while the machine was still at work
        machine.join(timeout=30)  # it finds no host any more, and ends by itself
        if interrupted:
            click.echo()
            raise click.Abort
        if self.failure is not None:
            raise self.failure

    def spooled(self) -> list[tuple[bytes, str]]:
        """The spool files as they were brought home by hand: their octets, and where from."""
        from readoff.contract.record import MAGIC

        files = [(path.read_bytes(), str(path)) for path in sorted(self.spool.rglob("*.RDO"))]
        return [each for each in files if each[0].startswith(MAGIC)]

    def _machine(self) -> None:
        from readoff.arrivals.lines import ListeningLine
        from readoff.box import scenario

        assert self.watch is not None
        try:
            (line,) = self.watch.lines
            assert isinstance(line, ListeningLine)
            if not line.opened.wait(timeout=10):
                raise UsageError("no TCP port could be opened on this machine", where="127.0.0.1")
            for step, _ in scenario.play(("127.0.0.1", line.tcp_port), self.spool, self._before):
                self._after(step)
        except BaseException as error:
            self.failure = error
        finally:
            self.played = True
            self.watch.stop()

    def _before(self, step: Step) -> None:
        self.records = self.known = 0
        click.echo(
            f"{step.number:2}/{step.steps}  {step.label:<9}  boot {step.boot}  {step.program:<11} ", nl=False
        )

    def _after(self, step: Step) -> None:
        known = f", {self.known} known from before" if self.known else ""
        click.echo(f" {self.records} records kept{known}")

    def _told(self, what: Took | Note) -> None:
        from readoff.arrivals.told import Took

        if isinstance(what, Took):
            self.records += len(what.result.new)
            self.known += len(what.result.known)
            click.echo("·", nl=False)
