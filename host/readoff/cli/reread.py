"""readoff reread: derive everything again from the raw octets."""

from __future__ import annotations

import click

from readoff.cli.common import Place, echo_json, store_options
from readoff.errors import StoreError


@click.command()
@store_options
def reread(place: Place) -> None:
    """Read everything in the store again, after a schema was added or changed.

    What came stays as it came; records, readings and what is held are derived again from it, all or
    nothing. Says which readings changed.

    \b
    Example:
      readoff reread --schemas my-schemas
    """
    if not place.store.exists():
        raise StoreError("there is no store", where=str(place.store), next_step="Take something first.")
    with place.open_to_write() as store:
        changes = store.reread()
    if place.as_json:
        echo_json(changes)
        return
    from readoff.cli import looks

    looks.say(
        f"{looks.counted(len(changes.new), 'reading is', 'readings are')} new, "
        f"{looks.counted(len(changes.gone), 'is', 'are')} gone; "
        f"held: {changes.holds_before} before, {changes.holds_after} now."
    )
    rows = [("gone", *_cells(each)) for each in changes.gone] + [
        ("new", *_cells(each)) for each in changes.new
    ]
    if rows:
        looks.print_table(("", "record", "metric", "value"), rows)


def _cells(change: tuple[str, str, int, str]) -> tuple[str, str, str]:
    ident, metric, occurrence, value = change
    return ident, metric + (f" ({occurrence + 1})" if occurrence else ""), value
