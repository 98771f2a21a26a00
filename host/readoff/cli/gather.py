"""readoff gather: what other stores keep comes into this one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, making_many, store_options
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.store.gather import Gathered


@click.command()
@click.argument("others", nargs=-1, required=True, metavar="OTHER.db…", type=click.Path(path_type=Path))
@store_options
def gather(others: tuple[Path, ...], place: Place) -> None:
    """Bring everything that other stores keep into this one, without doubling.

    The other stores are read, never changed. What came by both ways is known by its octets; when and where it was
    sighted, what became of it, and notes come along. Ends with status 1 when an arrival over there is spoiled.

    \b
    Example:
      readoff gather bench1.db bench2.db --store club.db
    """
    from readoff.store.gather import gather as gather_store

    for other in others:
        if not other.is_file():
            raise UsageError("there is no store", where=str(other), next_step="Nothing was gathered.")
    with place.open_to_write() as store, making_many():
        gathered = [gather_store(store, other) for other in others]
    if place.as_json:
        echo_json({"gathered": gathered})
    else:
        for each in gathered:
            _show(each)
    click.get_current_context().exit(1 if any(each.spoiled for each in gathered) else 0)


def _show(each: Gathered) -> None:
    from readoff.cli import looks

    parts = [f"{looks.counted(each.records, 'record')} new"]
    parts += [f"{each.held} with something held"] if each.held else []
    parts += [looks.counted(each.notes, "note")] if each.notes else []
    parts += [looks.counted(each.typed, "typed number")] if each.typed else []
    parts += [looks.counted(each.attachments, "attachment")] if each.attachments else []
    known = each.arrivals - each.new - len(each.spoiled)
    parts += [f"{known} known already"] if known else []
    looks.say(f"{each.path}: {looks.counted(each.arrivals, 'arrival')}: {', '.join(parts)}.")
    for number, what in each.spoiled:
        looks.say(f"arrival {number} was left out: {what}", indent=2)
