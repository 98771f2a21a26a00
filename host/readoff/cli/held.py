"""readoff held: what could not be read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, store_options

if TYPE_CHECKING:
    from readoff.store.find import HeldRow
    from readoff.store.typed import TypedRow


@click.command()
@store_options
def held(place: Place) -> None:
    """List what could not be read, with the reason and the place.

    Nothing of it is lost: the octets are in the store. What a person typed in its stead is shown as typed; it is
    held all the same. Ends with status 1 when something is held.

    \b
    Example:
      readoff held
    """
    from readoff.store import find
    from readoff.store.typed import typed

    with place.open_to_look() as store:
        rows = find.held(store)
        hand = typed(store)
    if place.as_json:
        echo_json({"held": rows, "typed": [each for each in hand if each.stands]})
    else:
        _show(rows, hand)
    click.get_current_context().exit(1 if rows else 0)


def _show(rows: Sequence[HeldRow], hand: Sequence[TypedRow]) -> None:
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
        for each in hand:
            if each.stands and (each.id, each.hold) == (row.id, row.reason):
                looks.say(f"{each.metric} {each.value} {each.unit}, {each.told}", indent=4)
    if any(row.run is not None and row.kind in ("metric", "capture") for row in rows):
        looks.say()
        looks.say("Where a schema would not help, type the number as you see it: readoff enter NUMBER")
