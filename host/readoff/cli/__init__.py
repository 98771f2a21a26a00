"""The commands. One module for each or for a small group; each imports where it uses, so that it answers at once."""

from __future__ import annotations

import errno
import importlib.util
import io
import json
import sys
from typing import Any, NoReturn

import click

import readoff
from readoff.cli import (
    agent,
    attach,
    compare,
    completion,
    disk,
    enter,
    export,
    gather,
    glyphs,
    held,
    page,
    power,
    report,
    reread,
    runs,
    schema,
    show,
    snapshots,
    store,
    study,
    take,
    watch,
    why,
)
from readoff.cli.listing import Listing
from readoff.errors import (
    AnswerError,
    ContractError,
    LineError,
    PowerError,
    ReadoffError,
    SchemaError,
    StoreError,
    StudyError,
    UsageError,
)

# Exit statuses beyond 0 (done, the answer is yes) and 1 (the answer is no: held, refused, nothing there).
# click's own is 2, for a command line that makes no sense; docs/commands.md lists them.
_STATUS: tuple[tuple[type[ReadoffError], int], ...] = (
    (UsageError, 2),
    (StoreError, 3),
    (LineError, 4),
    (SchemaError, 5),
    (StudyError, 5),
    (ContractError, 5),
    (PowerError, 5),
)


class _Commands(Listing):
    """The commands, which tell every error in one sentence, and with --json as an object, too."""

    def main(self, *arguments: Any, **extra: Any) -> Any:
        try:
            try:
                return super().main(*arguments, **extra)
            finally:
                if sys.stdout is not None:  # it is None where the shell closed it
                    sys.stdout.flush()
        except OSError as error:
            sys.stdout = io.StringIO()  # what could not be written is not tried again
            if error.errno != errno.EPIPE:  # else nobody reads on, as behind | head
                where, what = (
                    str(error.filename or "the answer"),
                    "read or written" if error.filename else "written",
                )
                told = AnswerError(f"it cannot be {what} ({error.strerror})", where=where)
                click.echo(f"readoff: {told.sentence()}", err=True)
            sys.exit(1)

    def invoke(self, ctx: click.Context) -> Any:
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(
                    errors="replace"
                )  # a terminal that lacks a letter gets "?", not a traceback
        try:
            return super().invoke(ctx)
        except click.exceptions.NoArgsIsHelpError:  # asked for nothing: the help is the answer
            raise
        except click.UsageError as error:
            _tell(ctx, _as_ours(error), error.exit_code)
        except ReadoffError as error:
            status = next((status for kind, status in _STATUS if isinstance(error, kind)), 1)
            _tell(ctx, error, status, by="readoff: ")

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        ctx.meta[_AS_JSON] = "--json" in args
        try:
            return super().parse_args(ctx, args)
        except click.exceptions.NoArgsIsHelpError:
            raise
        except click.UsageError as error:
            _tell(ctx, _as_ours(error), error.exit_code)


_AS_JSON = "readoff.json"


def _tell(ctx: click.Context, error: ReadoffError, status: int, *, by: str = "") -> NoReturn:
    """Says what went wrong, and ends the command: a sentence for people, with --json an object in one line, too."""
    click.echo(by + error.sentence(), err=True)
    if ctx.meta[_AS_JSON]:
        told = {"what": error.what, "where": error.where, "next_step": error.next_step, "status": status}
        faults = getattr(error, "faults", ())
        click.echo(json.dumps({"error": told | ({"faults": faults} if faults else {})}, ensure_ascii=False))
    ctx.exit(status)


def _as_ours(error: click.UsageError) -> UsageError:
    """A command line that makes no sense, as every other error: where, what, and the next step."""
    where = error.ctx.command_path if error.ctx else "readoff"
    what = " ".join(error.format_message().split()).rstrip(".")
    return UsageError(f"{what[:1].lower()}{what[1:]}", where=where, next_step=f"See: {where} --help")


@click.group(
    cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(readoff.__version__, prog_name="readoff", message="%(prog)s %(version)s")
def main() -> None:
    """Readings from old PCs, kept with the configuration they came from, and compared honestly.

    To begin, one of these:

    \b
      readoff demo                  see the whole path with an invented machine
      readoff take FOLDER           bring in records from a floppy, card or share
      readoff watch --folder DIR    take whatever arrives, until you stop it
    """


def _register() -> None:
    if importlib.util.find_spec("readoff.cli.demo"):
        demo = importlib.import_module("readoff.cli.demo")
        main.add_command(demo.demo)
    for command in (
        agent.agent,
        disk.disk,
        take.take,
        watch.watch,
        runs.runs,
        show.show,
        held.held,
        enter.enter,
        attach.attach,
        compare.compare,
        study.study,
        why.why,
        snapshots.snapshots,
        report.report,
        page.page,
        power.power,
        schema.schema,
        reread.reread,
        glyphs.glyphs,
        store.store,
        gather.gather,
        export.export,
        completion.completion,
    ):
        main.add_command(command)


_register()
