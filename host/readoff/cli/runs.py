"""readoff runs: what there is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, Streamed, echo_json, store_options

if TYPE_CHECKING:
    from readoff.store.find import RunRow
    from readoff.store.labelled import SnapshotRow

_STATES = ("complete", "unfinished", "cut short", "damaged")


@click.command()
@click.option("--label", default="", help="Only runs of this configuration.")
@click.option("--program", default="", help="Only runs of this program.")
@click.option("--state", type=click.Choice(_STATES), help="Only runs in this state.")
@click.option(
    "--snapshots", "all_snapshots", is_flag=True, help="List every snapshot too, not only those alone."
)
@store_options
def runs(
    label: str,
    program: str,
    state: str | None,
    all_snapshots: bool,
    place: Place,
) -> None:
    """List runs, files that came alone, and snapshots that belong to no run.

    \b
    Example:
      readoff runs --label zero-ws --state complete
    """
    from readoff.store import find, labelled

    with place.open_to_look() as store:
        rows = find.each_run(store, label=label, program=program, state=state or "")
        filtered = bool(program or state)
        every = labelled.snapshot_rows(store, label=label)
        shots = (shot for shot in every if all_snapshots or (not shot.runs and not filtered))
        held = find.counts(store)["holds"]
        if place.as_json:
            echo_json({"runs": Streamed(rows), "snapshots": Streamed(shots), "held": held})
        else:
            found, alone = list(rows), list(shots)
            _show(found, alone, held, "" if found else _instead(find.counts(store), label, alone))


def _instead(counts: dict[str, int], label: str, shots: Sequence[SnapshotRow]) -> str:
    """What there is, where no run is shown."""
    from readoff.cli.looks import counted

    runs, snapshots = counts["runs"], counts["snapshots"]
    if not counts["arrivals"]:
        return "Nothing has come yet: readoff take FILE, or readoff watch, brings it in."
    none = f"None of the {counted(runs, 'run')} fits" if runs else "No run has come yet"
    if shots and runs:
        return f"{none}, but {counted(len(shots), 'snapshot does', 'snapshots do')}:"
    if shots:
        return f"{none}, but {counted(len(shots), 'snapshot')}{' of ' + label if label else ''}:"
    if runs or not snapshots:
        return f"{none}."
    return f"{none}, but {counted(snapshots, 'snapshot')}: readoff runs --snapshots"


def _show(rows: Sequence[RunRow], shots: Sequence[SnapshotRow], held: int, none: str) -> None:
    from readoff.cli import looks

    if rows:
        looks.print_table(
            ("run", "label", "program", "boot", "repeat", "read", "held", "state"),
            [_cells(row) for row in rows],
            right=("run", "read", "held"),
        )
    else:
        looks.say(none)
    if shots:
        looks.heading("Snapshots")
        looks.print_table(
            ("snapshot", "label", "facts", "runs", "machine's clock"),
            [(s.id, s.label, str(s.facts), str(s.runs), s.dos_time) for s in shots],
            right=("facts", "runs"),
        )
    if held:
        looks.say()
        looks.say(f"{looks.counted(held, 'thing is', 'things are')} held; see: readoff held")


def _cells(row: RunRow) -> Sequence[str]:
    state = row.state
    if row.state == "complete" and row.outcome not in ("", "finished"):
        state = row.outcome.replace("_", " ")
    repeat = f"{row.repeat}/{row.repeats}" if row.repeat is not None else ""
    program = row.program if row.kind == "run" else f"file {row.path}"
    return (
        str(row.number),
        row.label,
        program,
        row.boot.rpartition("-")[2],
        repeat,
        str(row.readings),
        str(row.holds) if row.holds else "",
        state,
    )
