"""readoff take: bring in records, once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, result_values, store_options
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.arrivals.intake import TakenResult


@dataclass
class _Files:
    """The files to take, read one at a time; what could not be read, or is no record, is gathered on the way.

    paths: (file, whether it was named; one that was only found in a folder must hold a record to be taken).
    """

    paths: Sequence[tuple[Path, bool]]
    ignored: list[Path] = field(default_factory=list)
    unread: list[tuple[Path, str]] = field(default_factory=list)
    order: list[Path] = field(default_factory=list)

    def __iter__(self) -> Iterator[tuple[bytes, str]]:
        from readoff.arrivals.folders import FILE_LIMIT
        from readoff.contract.record import MAGIC

        for path, named in self.paths:
            try:
                if path.stat().st_size > FILE_LIMIT:
                    self.unread.append((path, f"{path.stat().st_size} octets are too many for records"))
                    continue
                octets = path.read_bytes()
            except OSError as error:
                self.unread.append((path, f"cannot be read ({error.strerror})"))
                continue
            if not named and MAGIC not in octets:
                self.ignored.append(path)
                continue
            self.order.append(path)
            yield octets, str(path)


@click.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--all", "every", is_flag=True, help="In folders, take every file, not only those with a record in them."
)
@store_options
def take(paths: tuple[Path, ...], every: bool, place: Place) -> None:
    """Bring in records from files, and from folders and the folders in them. Changes nothing there.

    A file that is named is taken whatever is in it; in a folder, only files that hold a record are. What was
    taken before is recognised, by whatever way it came. Ends with status 1 when something is held or could not
    be read.

    \b
    Example:
      readoff take /media/floppy
    """
    files = _Files(list(files_in(paths, every)))
    with place.open_to_write() as store:
        results = list(store.take_all(files))
    if place.as_json:
        echo_json(
            {
                "taken": _as_values(files, results),
                "unread": [_unread(each) for each in files.unread],
                "ignored": [str(each) for each in files.ignored],
            }
        )
    else:
        _show(files, results)
    held = any(result.held for result in results)
    click.get_current_context().exit(1 if held or files.unread else 0)


def files_in(paths: Iterable[Path], every: bool) -> Iterator[tuple[Path, bool]]:
    """The files named, and those in the folders named, in the order of their names; see _Files.paths.

    Follows no links in folders. Raises UsageError for a path that is not there.
    """
    from readoff.arrivals.folders import AGENTS_OWN

    for path in paths:
        if path.is_dir():
            found = sorted(each for each in path.rglob("*") if each.is_file() and not each.is_symlink())
            yield from ((each, every) for each in found if every or each.name.lower() != AGENTS_OWN)
        elif path.exists():
            yield path, True
        else:
            raise UsageError("there is no such file or folder", where=str(path))


def _as_values(files: _Files, results: Sequence[TakenResult]) -> list[dict[str, object]]:
    return [
        {"path": str(path), **result_values(result)}
        for path, result in zip(files.order, results, strict=True)
    ]


def _unread(each: tuple[Path, str]) -> dict[str, str]:
    return {"path": str(each[0]), "reason": each[1]}


def _show(files: _Files, results: Sequence[TakenResult]) -> None:
    from readoff.cli import looks

    for path, result in zip(files.order, results, strict=True):
        if result.held and not result.again:
            looks.say(f"{path}:")
            for each in result.held:
                looks.say(f"held: {each.reason}", indent=2)
    for path, reason in files.unread:
        looks.say(f"{path}: {reason}")
    new = sum(len(result.new) for result in results)
    replaced = sum(len(result.replaced) for result in results)
    known = sum(len(result.known) for result in results)
    parts = [f"{looks.counted(new, 'record')} new"]
    parts += [f"{replaced} now longer than before"] if replaced else []
    parts += [f"{known} known already"] if known else []
    parts += (
        [f"{sum(bool(result.held) for result in results)} with something held"]
        if any(r.held for r in results)
        else []
    )
    if files.ignored:
        parts.append(f"{looks.counted(len(files.ignored), 'file')} without a record ignored")
    looks.say(f"{looks.counted(len(results), 'file')} taken: {', '.join(parts)}.")
