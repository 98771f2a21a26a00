"""readoff export: readings, typed numbers, runs and facts as tables for other programs."""

from __future__ import annotations

from pathlib import Path

import click

from readoff.cli.common import Place, echo_json, store_options
from readoff.cli.progress import Progress
from readoff.errors import UsageError


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--parquet",
    is_flag=True,
    help="Write Parquet, a folder for each machine, in place of CSV (needs pyarrow).",
)
@store_options
def export(folder: Path, parquet: bool, place: Place) -> None:
    """Write readings, typed numbers, runs and facts into FOLDER as tables, for spreadsheets and databases.

    One row for each reading, with its run, label, program, boot, unit, and the line that it was read from. Numbers that
    a person typed are a table of their own: who, when, and whether the number stands. The folder must be new or empty.
    Raw captures are not exported.

    \b
    Examples:
      readoff export tables
      readoff export tables --parquet
    """
    from readoff.store.export import can_write_parquet
    from readoff.store.export import export as export_store

    if parquet and not can_write_parquet():
        raise UsageError(
            "Parquet needs the package pyarrow, which is not installed",
            next_step="Install readoff[parquet], or export CSV.",
        )
    tell = Progress(quiet=place.as_json)
    try:
        with place.open_to_look() as store:
            rows = export_store(store, folder, parquet=parquet, step=tell)
    finally:
        tell.clear()
    if place.as_json:
        echo_json({"folder": str(folder), "rows": rows})
        return
    from readoff.cli import looks

    looks.say(f"{folder}: {', '.join(f'{count} {name}' for name, count in rows.items())}.")
