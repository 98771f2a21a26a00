"""readoff schema: teach Readoff a program, and see which schema reads what, and why."""

from __future__ import annotations

from pathlib import Path

import click

from readoff.cli.captures import AS
from readoff.cli.common import Place, echo_json, store_options
from readoff.cli.listing import Listing
from readoff.errors import SchemaError

_KIND = click.option(
    "--as",
    "kind",
    type=click.Choice(AS),
    default="file",
    show_default=True,
    help="What a file that is no record holds: printed output, a file as a program wrote it, a screen's memory.",
)
_COLUMNS = click.option(
    "--columns", type=click.IntRange(1, 255), default=80, show_default=True, help="Columns of such a screen."
)


@click.group(cls=Listing)
def schema() -> None:
    """Teach Readoff a program: start a schema, try it, check it, see which one reads what.

    CAPTURE is a file (a saved output, a record) or a run of the store, written run:5.

    \b
    Example:
      readoff schema unknown
      readoff schema start run:5 --out my-schemas/mill.toml
      readoff schema try my-schemas/mill.toml run:5 run:6
      readoff schema which run:5 --schemas my-schemas
    """


@schema.command()
@click.argument("captures", metavar="CAPTURE...", nargs=-1, required=True)
@_KIND
@_COLUMNS
@store_options
def which(captures: tuple[str, ...], kind: str, columns: int, place: Place) -> None:
    """Say for each schema what in a capture matched and what did not.

    Nothing is chosen by order: where two schemas match, the capture is held. Ends with status 1 where something
    is held or recognised by none.

    \b
    Example:
      readoff schema which run:5 OUTPUT.TXT
    """
    from readoff.cli import schema_shown
    from readoff.cli.captures import gather
    from readoff.cli.common import load_all_schemas
    from readoff.cli.schema_work import judge

    schemas = load_all_schemas(place.schemas)
    judged = [judge(shot, schemas) for shot in gather(captures, place, kind, columns)]
    if place.as_json:
        echo_json([schema_shown.which_values(each) for each in judged])
    else:
        for each in judged:
            schema_shown.show_which(each)
    click.get_current_context().exit(0 if all(each.settled for each in judged) else 1)


@schema.command()
@store_options
def unknown(place: Place) -> None:
    """List what no schema recognises in the store, the most often seen first.

    Captures are alike when they are the same but for their numbers. Ends with status 1 when there are any.

    \b
    Example:
      readoff schema unknown
    """
    from readoff.cli import schema_shown
    from readoff.cli.common import load_all_schemas
    from readoff.cli.schema_work import unrecognised

    schemas = load_all_schemas(place.schemas)
    with place.open_to_look() as store:
        kinds = unrecognised(store, schemas)
    if place.as_json:
        echo_json(kinds)
    else:
        schema_shown.show_unknown(kinds)
    click.get_current_context().exit(1 if kinds else 0)


@schema.command()
@click.argument("name", metavar="CAPTURE")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="The file to write; a new one.")
@click.option(
    "--capture",
    type=click.IntRange(1),
    help="Which capture of a run; unless told, the first with a number.",
)
@_KIND
@_COLUMNS
@store_options
def start(name: str, out: Path | None, capture: int | None, kind: str, columns: int, place: Place) -> None:
    """Ask what the numbers in a capture mean, and write a schema that reads them.

    The schema carries the capture as its first sample. Go on writing in it by hand: docs/schemas.md explains every
    key. Ends with status 1 when a number could not be read exactly, or another schema reads the capture, too.

    \b
    Example:
      readoff schema start run:5 --out my-schemas/mill.toml
    """
    from readoff.cli import schema_shown
    from readoff.cli.captures import gather
    from readoff.cli.schema_work import started

    (shot,) = gather([name], place, kind, columns)
    made = started(shot, out, capture, place)
    if place.as_json:
        echo_json(made)
    else:
        schema_shown.show_start(made, name)
    click.get_current_context().exit(0 if made.clean else 1)


@schema.command("try")
@click.argument("name", metavar="SCHEMA")
@click.argument("captures", metavar="CAPTURE...", nargs=-1, required=True)
@_KIND
@_COLUMNS
@store_options
def try_(name: str, captures: tuple[str, ...], kind: str, columns: int, place: Place) -> None:
    """Show captures as one schema reads them: every reading in its line, and every number not read.

    SCHEMA is a file, or the name of a schema. Ends with status 1 where something is held or not recognised.

    \b
    Example:
      readoff schema try mill.toml run:5 run:6
    """
    from readoff.cli import schema_shown
    from readoff.cli.captures import gather, one_schema
    from readoff.cli.schema_work import attempt

    chosen = one_schema(name, place)
    attempts = [attempt(shot, chosen) for shot in gather(captures, place, kind, columns)]
    if place.as_json:
        echo_json([schema_shown.try_values(each) for each in attempts])
    else:
        for each in attempts:
            schema_shown.show_try(each, chosen)
    click.get_current_context().exit(0 if all(each.clean for each in attempts) else 1)


@schema.command()
@click.argument("names", metavar="SCHEMA...", nargs=-1)
@store_options
def check(names: tuple[str, ...], place: Place) -> None:
    """Check schemas and run the samples that they carry; tell all faults at once.

    SCHEMA is a file or a folder of them; without any, the shipped ones and those of --schemas are checked. Each
    fault says file, line, key, and what would be right. Ends with status 5 when there is one.

    \b
    Example:
      readoff schema check my-schemas
    """
    from readoff.cli import looks
    from readoff.cli.captures import schema_files
    from readoff.cli.common import own_and_shipped
    from readoff.cli.schema_work import check_files

    files = schema_files(names) if names else own_and_shipped(place.schemas)
    checked = check_files(files)
    if place.as_json:
        echo_json({"schemas": checked.schemas, "samples": checked.samples, "faults": checked.faults})
        click.get_current_context().exit(5 if checked.faults else 0)
    if checked.faults:
        raise SchemaError.of([looks.harmless(fault) for fault in checked.faults])
    for bare in checked.bare:
        looks.say(f"{bare} carries no sample, so nothing shows that it reads what it should.")
    looks.say(
        f"{looks.counted(checked.schemas, 'schema')} without a fault, "
        f"{looks.counted(checked.samples, 'sample')} read as told."
    )


@schema.command("list")
@store_options
def list_(place: Place) -> None:
    """List the schemas there are, shipped and your own.

    \b
    Example:
      readoff schema list --schemas my-schemas
    """
    from readoff.cli import looks
    from readoff.cli.common import load_all_schemas

    shipped = {each.name for each in load_all_schemas(None)}
    schemas = load_all_schemas(place.schemas)
    rows = [
        {
            "schema": each.name,
            "from": "shipped" if each.name in shipped else str(Path(place.schemas or "") / each.file),
            "kind": each.kind,
            "headline": list(each.headline),
            "title": each.title,
        }
        for each in schemas
    ]
    if place.as_json:
        echo_json(rows)
        return
    looks.print_table(
        ("schema", "kind", "from", "headline", "title"),
        [
            (str(r["schema"]), str(r["kind"]), str(r["from"]), ", ".join(each.headline), str(r["title"]))
            for r, each in zip(rows, schemas, strict=True)
        ],
    )
