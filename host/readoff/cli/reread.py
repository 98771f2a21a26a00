"""readoff reread: derive everything again from the raw octets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, making_many, store_options

if TYPE_CHECKING:
    from readoff.store.changes import Change, Changes


@click.command()
@store_options
def reread(place: Place) -> None:
    """Read everything in the store again, after a schema was added or changed.

    What came stays as it came; records, readings and what is held are derived again from it, all or
    nothing. Says what each schema's edit did to which readings.

    \b
    Example:
      readoff reread --schemas my-schemas
    """
    place.need_store()
    with place.open_to_write() as store, making_many():
        changes = store.reread()
        there = {each.name for each in store.schemas}
    if place.as_json:
        echo_json(changes)
        return
    _show(changes, there)


def _show(changes: Changes, there: Collection[str]) -> None:
    """there: the schemas that were read by."""
    from readoff.cli import looks

    kinds = Counter(_kind(each) for each in changes.edits)
    looks.say(
        f"{looks.counted(kinds['new'], 'reading is', 'readings are')} new, {kinds['changed']} changed, "
        f"{kinds['gone']} gone; held: {changes.holds_before} before, {changes.holds_after} now."
    )
    touched = {each.schema for each in changes.edits} | {each.earlier for each in changes.edits}
    lost = sorted({each.schema for each in changes.edits if not each.after} - {*there, "agent"})
    if lost:
        looks.say(
            f"Not among the schemas any more: {', '.join(lost)}. Their folder is named by --schemas, or by "
            "READOFF_SCHEMAS; read again with it, and all is as it was."
        )
    same = [name for name in changes.schemas if name not in touched]
    if same:
        looks.say(f"Edited, and reading what it read before: {', '.join(same)}.")
    for schema in dict.fromkeys(each.schema for each in changes.edits):
        edits = [each for each in changes.edits if each.schema == schema]
        counts = Counter(_kind(each) for each in edits)
        looks.heading(f"{schema}: " + ", ".join(f"{count} {kind}" for kind, count in counts.items()))
        looks.print_table(("run", "metric", "before", "now"), [_row(each) for each in edits], right=("run",))


def _kind(change: Change) -> str:
    return "new" if not change.before else "changed" if change.after else "gone"


def _row(change: Change) -> tuple[str, str, str, str]:
    metric = change.metric + (f" ({change.occurrence + 1})" if change.occurrence else "")
    before = change.before + (f" (by {change.earlier})" if change.earlier else "")
    now = change.after or (f"held: {change.held}" if change.held else "not there")
    return str(change.run), metric, before or "not there", now
