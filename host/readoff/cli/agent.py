"""readoff agent: puts READOFF.COM where the old machine can get it."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from readoff import resources
from readoff.errors import UsageError

NAME = "READOFF.COM"


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
def agent(folder: Path) -> None:
    """Put READOFF.COM into FOLDER: a mounted floppy, a card, a share.

    \b
    Example:
      readoff agent /media/floppy
    """
    if not folder.is_dir():
        raise UsageError("there is no such folder", where=str(folder))
    target = folder / NAME
    try:
        shutil.copyfile(resources.agent(), target)
    except OSError as error:
        raise UsageError(f"cannot be written ({error.strerror})", where=str(target)) from error
    click.echo(f"{target}: {target.stat().st_size} octets. On the old machine, READOFF alone shows its help.")
