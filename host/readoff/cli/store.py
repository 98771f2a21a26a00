"""readoff store: look after the store itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, store_options
from readoff.cli.listing import Listing
from readoff.errors import StoreError

if TYPE_CHECKING:
    from readoff.store.check import Checked


@click.group(cls=Listing)
def store() -> None:
    """Look after the store itself.

    \b
    Example:
      readoff store check
    """


@store.command()
@click.option(
    "--repair", is_flag=True, help="Derive again what does not hold and can be derived; all or nothing."
)
@store_options
def check(repair: bool, place: Place) -> None:
    """Check everything in the store: the file, the raw octets, and all that is derived from them.

    Every arrival is held against its SHA-256, and everything derived is derived again and compared; nothing is
    changed without --repair. Ends with status 1 when something is wrong (with --repair: still wrong). The
    store is locked meanwhile.

    \b
    Example:
      readoff store check
    """
    from readoff.store.check import check as check_store
    from readoff.store.sqlite import writable

    if place.store.is_file() and not writable(place.store):
        raise StoreError(
            "it may only be read, and a check writes into it what it derives before it takes that back",
            where=str(place.store),
            next_step="Copy it to where you may write, and check the copy.",
        )
    with place.open_to_look() as opened:
        checked = check_store(opened, repair=repair)
    if place.as_json:
        echo_json({"sound": checked.sound, "checked": checked})
    else:
        _show(checked, repair)
    click.get_current_context().exit(0 if checked.sound else 1)


def _show(checked: Checked, repair: bool) -> None:
    from readoff.cli import looks

    looks.say(
        f"{looks.counted(checked.arrivals, 'arrival')} ({checked.octets} octets) against their digests, "
        f"{looks.counted(checked.records, 'record')} derived again."
    )
    for flaw in checked.flaws:
        looks.say(f"{flaw.where}: {flaw.what}{' - repaired' if flaw.repaired else ''}", indent=2)
    if not checked.flaws:
        looks.say("Nothing is wrong.")
        return
    if checked.spoiled:
        looks.say(
            "What is derived is left as it is: it may be all that is left of the octets that are spoiled."
        )
    elif not repair and any(flaw.derivable for flaw in checked.flaws):
        looks.say(
            "What is derived can be made again from the octets as they came: readoff store check --repair"
        )
    if any(not flaw.derivable and not flaw.repaired for flaw in checked.flaws):
        looks.say(
            "What came cannot be made again here. Keep a copy of the file; take the records again from where they "
            "came from, which puts them right, or gather what is still right into a new store: readoff gather"
        )
