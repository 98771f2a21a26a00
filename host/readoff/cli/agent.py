"""readoff agent: puts READOFF.COM where the old machine can get it, or leads it over a bare serial line."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff import resources
from readoff.cli.common import echo_json, json_option, writing
from readoff.errors import LineError, UsageError

if TYPE_CHECKING:
    from readoff.arrivals.connections import Address, Connection

NAME = "READOFF.COM"
TEXT_RATE = 2400
END_OF_TEXT = b"\x1a"
_PART = 64  # octets of the text between two looks at the progress


@click.command()
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option(
    "--line", metavar="LINE", help="Bring it over this serial line to a machine that has nothing yet."
)
@click.option("--cost", is_flag=True, help="Count what it costs a program, in the test machine (a minute).")
@json_option
def agent(folder: Path | None, line: str | None, cost: bool, as_json: bool) -> None:
    """Put READOFF.COM into FOLDER: a mounted floppy, a card, a share. Or lead it over a line.

    With --line the old machine needs nothing but DOS and a null-modem cable: what to type there is said step by step.
    The rate of LINE is that of the first step, 2400 unless told.

    \b
    Examples:
      readoff agent /media/floppy
      readoff agent --line /dev/ttyUSB0
      readoff agent --cost
    """
    if (folder is not None) + (line is not None) + cost != 1:
        raise UsageError("say either a folder or --line LINE, or --cost", where="readoff agent")
    if as_json and folder is None:
        raise UsageError("--json goes with a folder only", where="readoff agent")
    if cost:
        from readoff.cli.agent_cost import show_cost

        show_cost(resources.agent().read_bytes())
    elif folder is not None:
        _put(folder, as_json)
    elif line is not None:
        _lead(line)


def _put(folder: Path, as_json: bool) -> None:
    if not folder.is_dir():
        raise UsageError("there is no such folder", where=str(folder))
    target = folder / NAME
    with writing(target):
        shutil.copyfile(resources.agent(), target)
    if as_json:
        echo_json({"path": str(target), "octets": target.stat().st_size})
        return
    click.echo(f"{target}: {target.stat().st_size} octets. On the old machine, READOFF alone shows its help.")


def _lead(line: str) -> None:
    from dataclasses import replace

    from readoff.arrivals.connections import parse_address
    from readoff.link.lead import RATE

    address = parse_address(line)
    if address.form == "listen":
        raise UsageError("the loader's line is one that is connected to", where=line)
    if "," not in line:
        address = replace(address, rate=TEXT_RATE)
    text = resources.loader().read_bytes()
    with _open(address) as connection:
        click.echo(_FIRST.format(rate=address.rate, octets=len(text)))
        click.pause("Press a key here when COPY is waiting there. ")
        _send_text(connection, text)
        click.echo(_SECOND.format(octets=len(text)))
        if address.form == "socket":  # it has no rate, and would not be there a second time
            return _hand_over(connection)
    with _open(replace(address, rate=RATE)) as connection:
        return _hand_over(connection)


_FIRST = """\
On the old machine, at the DOS prompt of a disk with 64 KB free:

  MODE COM1:{rate},N,8,1          (where MODE is not at hand: DOS begins with 2400 on most machines)
  COPY COM1: GO.COM

If DOS says that COM1 is not ready, answer R for Retry once the text is on its way.
"""
_SECOND = """\

COPY there should say 1 File(s) copied. Then, there:

  DIR GO.COM                      ({octets} octets, or one more; else delete it and begin again)
  GO                              (GO 2 where the cable is in COM2)
"""


@contextmanager
def _open(address: Address) -> Iterator[Connection]:
    from readoff.arrivals.connections import connect

    try:
        connection = connect(address)
        try:
            yield connection
        finally:
            connection.close()
    except OSError as error:
        raise LineError(
            f"the line cannot be used ({error})",
            where=address.text,
            next_step="Is the port there, is it yours to open, does another program hold it?",
        ) from error


def _send_text(connection: Connection, text: bytes) -> None:
    octets = text + END_OF_TEXT
    with click.progressbar(length=len(octets), label="GO.COM", show_eta=False) as bar:
        for at in range(0, len(octets), _PART):
            connection.write(octets[at : at + _PART])
            bar.update(len(octets[at : at + _PART]))


def _hand_over(connection: Connection) -> None:
    """Answers the loader until it has all, and a while longer: the last answer may be asked for again."""
    import time

    from readoff.link.lead import Lead

    lead = Lead(resources.agent().read_bytes())
    quiet_since = time.monotonic()
    with click.progressbar(length=lead.blocks, label=NAME, show_eta=False) as bar:
        while not lead.ended or time.monotonic() - quiet_since < _AFTER_THE_END:
            try:
                answer = lead.receive(connection.read())
            except OSError:
                if lead.ended:  # the other end has all, and has gone
                    break
                raise
            if answer:
                connection.write(answer)
                bar.update(min(lead.asked, lead.blocks) - bar.pos)
                quiet_since = time.monotonic()
    again = lead.answered - lead.blocks - 1
    click.echo(f"All {lead.blocks} blocks of {NAME} were handed over, {again} of them again.")
    click.echo("The old machine says that it is whole. Type READOFF there: it shows its help.")


_AFTER_THE_END = 3.0  # seconds; the loader asks again after one
