"""readoff held: what could not be read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, store_options

if TYPE_CHECKING:
    from readoff.store.find import HeldRow


@click.command()
@store_options
def held(place: Place) -> None:
    """List what could not be read, with the reason and the place.

    Nothing of it is lost: the octets are in the store. Ends with status 1 when something is held.

    \b
    Example:
      readoff held
    """
    from readoff.store import find

    with place.open_to_look() as store:
        rows = find.held(store)
    if place.as_json:
        echo_json({"held": rows})
    else:
        _show(rows)
    click.get_current_context().exit(1 if rows else 0)


def _show(rows: Sequence[HeldRow]) -> None:
    from readoff.cli import looks

    if not rows:
        looks.say("Nothing is held.")
        return
    looks.say(f"{looks.counted(len(rows), 'thing is', 'things are')} held:")
    for row in rows:
        looks.say()
        what = f"run {row.run}" if row.run is not None else (f"record {row.id}" if row.id else "octets")
        metric = f", {row.metric}" if row.metric else ""
        looks.say(f"{row.number}. {what}{metric}: {row.reason}")
        place = f"octets {row.begin} to {row.begin + row.length} of arrival {row.arrival}"
        looks.say(f"{place}, from {row.came_from}, {row.came_at}", indent=4)
