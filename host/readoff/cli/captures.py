"""What the commands about schemas are given: captures, from a file or from a run of the store; and schemas' files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from readoff import resources
from readoff.cli.common import Place, load_all_schemas, read_schema_file
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.readings import Capture, Schema
    from readoff.store.captures import Taken

RUN = "run:"
AS = ("console", "file", "screen")


@dataclass(frozen=True)
class Shot:
    """The captures of one run, or the one that a file holds. name: what the person called it."""

    name: str
    captures: tuple[Capture, ...]
    program: str = ""

    def title(self, index: int) -> str:
        """One capture, in words."""
        capture = self.captures[index]
        what = " ".join(part for part in (str(capture.kind), capture.name) if part)
        return f"{self.name}: {what}, {len(capture.octets)} octets"


def gather(names: Sequence[str], place: Place, kind: str = "file", columns: int = 80) -> list[Shot]:
    """What each name stands for: a file, or a run of the store ("run:5", or the beginning of its record id).

    kind: what a file that is no record holds; columns: of its rows, for a screen. Raises UsageError.
    """
    return [
        _of_run(name.removeprefix(RUN), place) if name.startswith(RUN) else _of_file(name, kind, columns)
        for name in names
    ]


def _of_run(run: str, place: Place) -> Shot:
    from readoff.store import find

    with place.open_to_look() as store:
        full = find.run_in_full(store, run)
    return _shot(f"run {full.run.number}", full.captures, full.run.program)


def _of_file(name: str, kind: str, columns: int) -> Shot:
    from readoff.contract.record import Record, parse_records
    from readoff.readings import Capture, CaptureKind
    from readoff.store.captures import captures_of

    path = Path(name)
    try:
        octets = path.read_bytes()
    except OSError as error:
        raise UsageError(
            f"cannot be read ({error.strerror})", where=name, next_step="Name a file, or a run as run:5."
        ) from error
    records = [part for part in parse_records(octets) if isinstance(part, Record)]
    if len(records) > 1:
        raise UsageError(
            f"it holds {len(records)} records",
            where=name,
            next_step="Take it into a store, and name one of its runs as run:5.",
        )
    for record in records:
        start = record.values("run_start") or {}
        return _shot(name, captures_of(record), str(start.get("program", "")))
    wanted = CaptureKind(kind)
    return Shot(
        name,
        (
            Capture(
                wanted,
                octets,
                columns if wanted is CaptureKind.SCREEN else 0,
                path.name.upper() if wanted is CaptureKind.FILE else "",
            ),
        ),
    )


def _shot(name: str, taken: Sequence[Taken], program: str) -> Shot:
    captures = tuple(each.capture for each in taken if each.settled and not each.problem)
    if not captures:
        raise UsageError("there is no capture in it that may be read", where=name)
    return Shot(name, captures, program)


def schema_files(names: Sequence[str]) -> list[Path]:
    """The files of schemas that are named, folders opened. Raises UsageError where there are none."""
    files: list[Path] = []
    for name in names:
        path = Path(name)
        found = sorted(path.glob("*.toml")) if path.is_dir() else [path] if path.is_file() else []
        if not found:
            raise UsageError(
                "there is no schema", where=name, next_step="Name a schema's file, or a folder of them."
            )
        files += found
    return files


def beside(file: Path) -> list[tuple[str, str]]:
    """The glyph sets that a schema may use: the shipped ones and those in its own folder."""
    shipped = sorted((resources.protocols() / "glyphs").glob("*.toml"))
    own = sorted(file.parent.glob("*.glyphs.toml"))
    return [(path.name, read_schema_file(path)) for path in (*shipped, *own) if path != file]


def one_schema(name: str, place: Place) -> Schema:
    """The schema in a file, or that of a name among all there are. Raises SchemaError, UsageError."""
    from readoff.readings import load_schemas

    path = Path(name)
    if path.is_file():
        return load_schemas([*beside(path), (str(path), read_schema_file(path))])[0]
    schemas = load_all_schemas(place.schemas)
    for schema in schemas:
        if schema.name == name:
            return schema
    known = ", ".join(schema.name for schema in schemas)
    raise UsageError(
        "there is no such file, and no schema of that name",
        where=name,
        next_step=f"Name a file, or one of {known}.",
    )
