"""readoff take: bring in records, once."""

from __future__ import annotations

import hashlib
import os
import stat
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import (
    Place,
    check_move_to,
    echo_json,
    folder_option,
    making_many,
    result_values,
    store_options,
)
from readoff.cli.progress import Progress
from readoff.errors import UsageError
from readoff.names import printable

if TYPE_CHECKING:
    from readoff.arrivals.images import Octets
    from readoff.arrivals.intake import TakenResult
    from readoff.cli.take_bundle import TakenBundle
    from readoff.store import Store


@dataclass(frozen=True)
class _Found:
    """A file to take. named: by the person; one that was only found in a folder must hold a record to be taken.

    inside: its path in that folder, or its name.
    """

    path: Path
    named: bool
    inside: Path


@dataclass(frozen=True)
class _Read:
    """A file that was read. sources: where each arrival came from that it brings; of an image there may be many."""

    found: _Found
    digest: bytes
    sources: tuple[str, ...]


@dataclass
class _Taking:
    """Files read one at a time, and what came of them. Of many files not much more is held in memory than of few.

    move_to: a folder, or None. every_result: whether to remember all results, not only those with something
    held. told: (where it came from, result) of those. problems: (file, reason).
    bundles: those among the ignored.
    """

    wanted: Iterable[_Found]
    move_to: Path | None
    every_result: bool
    told: list[tuple[str, TakenResult]] = field(default_factory=list)
    ignored: list[Path] = field(default_factory=list)
    bundles: list[Path] = field(default_factory=list)
    problems: list[tuple[Path, str]] = field(default_factory=list)
    files: int = 0
    moved: int = 0
    new: int = 0
    replaced: int = 0
    known: int = 0
    held: int = 0
    _read: deque[_Read] = field(default_factory=deque)

    def into(self, store: Store) -> None:
        """Takes all of them. A file is moved when the last of what it brings is committed, never before."""
        tell = Progress(quiet=self.every_result)
        results = store.take_all(self._arrivals())
        for first in results:
            read = self._read.popleft()
            self._count(read.sources[0], first)
            for source in read.sources[1:]:
                self._count(source, next(results))
            self.files += 1
            self._move(read)
            tell(f"{self.files} files taken")
        tell.clear()

    def _count(self, source: str, result: TakenResult) -> None:
        self.new += len(result.new)
        self.replaced += len(result.replaced)
        self.known += len(result.known)
        self.held += bool(result.held)
        if self.every_result or result.held:
            self.told.append((source, result))

    def _arrivals(self) -> Iterator[tuple[bytes, str]]:
        from readoff.arrivals.bundled import looks_like_bundle
        from readoff.arrivals.images import arrivals_in
        from readoff.arrivals.stores import is_of_a_store
        from readoff.contract.record import MAGIC

        for found in self.wanted:
            octets = self._octets(found.path)
            if octets is None:
                continue
            if found.named and not len(octets):
                self.problems.append((found.path, "is empty"))
                continue
            if is_of_a_store(octets[:16]):
                self._pass_over(
                    found, "is a store's file; what a store keeps comes over with: readoff gather"
                )
                continue
            bundle = looks_like_bundle(octets[:64])
            wanted = found.named or (octets.find(MAGIC) >= 0 and not bundle)
            parts = arrivals_in(octets, printable(str(found.path))) if wanted else []
            if not parts:
                self.bundles += [found.path] if bundle else []
                self.ignored.append(found.path)
                continue
            digest = hashlib.sha256(octets).digest()
            self._read.append(_Read(found, digest, tuple(came_from for _, came_from in parts)))
            yield from parts

    def _pass_over(self, found: _Found, why: str) -> None:
        """A file that is not taken: a problem where it was named, else one of those ignored."""
        if found.named:
            self.problems.append((found.path, why))
        else:
            self.ignored.append(found.path)

    def _octets(self, path: Path) -> Octets | None:
        from readoff.arrivals.images import FILE_LIMIT, is_image

        try:
            with path.open("rb") as file:
                if (size := os.fstat(file.fileno()).st_size) <= FILE_LIMIT:
                    return file.read()
                octets = mmap(file.fileno(), 0, access=ACCESS_READ)
            if is_image(octets):
                return octets
            self.problems.append((path, f"{size} octets are too many for records, and it is no disk image"))
        except OSError as error:
            self.problems.append((path, f"cannot be read ({error.strerror})"))
        return None

    def _move(self, read: _Read) -> None:
        from readoff.arrivals.moving import move_away

        if self.move_to is None:
            return
        try:
            move_away(read.found.path, self.move_to, read.found.inside, read.digest)
            self.moved += 1
        except OSError as error:
            self.problems.append((read.found.path, f"taken, but not moved ({error.strerror or error})"))


@click.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--all", "every", is_flag=True, help="In folders, take every file, not only those with a record in them."
)
@folder_option("--move-to", "Move each file there once it was taken; without it nothing is changed.")
@folder_option(
    "--unpack", "Of a bundle: the folder for its study and schemas; without it one beside the store."
)
@store_options
def take(
    paths: tuple[Path, ...], every: bool, move_to: Path | None, unpack: Path | None, place: Place
) -> None:
    """Bring in records from files, disk images, and folders and the folders in them. Changes nothing there.

    A file that is named is taken whatever is in it; in a folder, only files that hold a record are. Of a raw disk
    image (FAT12, FAT16) the records in it are taken. A bundle that is named (readoff report --bundle; the file, or the
    folder into which it was unpacked) is held against its digests, taken, judged again, and its findings compared. What
    was taken before is recognised, by whatever way it came. Ends with status 1 when something is held, or could not be
    read or moved.

    \b
    Example:
      readoff take /media/floppy
    """
    from readoff.arrivals.bundled import is_bundle
    from readoff.cli.take_bundle import show as show_bundle
    from readoff.cli.take_bundle import take_bundle
    from readoff.cli.take_bundle import values as bundle_values

    check_move_to(move_to, (path for path in paths if path.is_dir()))
    for path in paths:
        if not path.exists():
            raise UsageError("there is no such file or folder", where=str(path))
        if not (path.is_file() or path.is_dir() or path.is_block_device()):
            raise UsageError("it is neither a file nor a folder", where=str(path))
    bundles = [path for path in paths if is_bundle(path)]
    brought = [take_bundle(path, unpack, place) for path in bundles]
    problems = [] if move_to is None else [*_moved(brought, move_to)]
    others = [path for path in paths if path not in bundles]
    unread: list[tuple[Path, str]] = []
    taking = _Taking(_files_in(others, every, unread), move_to, every_result=place.as_json, problems=unread)
    if others:
        with place.open_to_write() as store, making_many():
            taking.into(store)
    if place.as_json:
        echo_json(
            {
                "bundles": [bundle_values(each) for each in brought],
                "taken": [{"path": source, **result_values(result)} for source, result in taking.told],
                "unread": [
                    {"path": str(path), "reason": reason} for path, reason in (*problems, *taking.problems)
                ],
                "ignored": [str(each) for each in taking.ignored],
            }
        )
    else:
        for each in brought:
            show_bundle(each, place)
        for path, reason in problems:
            click.echo(printable(f"{path}: {reason}"))
        if others:
            _show(taking)
    wrong = taking.held or taking.problems or problems or any(not each.good for each in brought)
    click.get_current_context().exit(1 if wrong else 0)


def _moved(brought: Iterable[TakenBundle], move_to: Path) -> Iterator[tuple[Path, str]]:
    """Moves bundles that were taken; gives (bundle, why it was not moved)."""
    from readoff.arrivals.moving import move_away

    for each in brought:
        path = each.bundle.path
        if path.is_dir():
            yield path, "taken, but not moved (a bundle in a folder stays where it is)"
            continue
        try:
            move_away(path, move_to, Path(path.name), each.bundle.digest)
        except OSError as error:
            yield path, f"taken, but not moved ({error.strerror or error})"


def _files_in(paths: Iterable[Path], every: bool, unread: list[tuple[Path, str]]) -> Iterator[_Found]:
    """The files named, and those in the folders named: each folder's files by name, then the folders in it.

    every: also those that may hold no record. Follows no links in folders. unread: gets what cannot be looked at.
    """
    from readoff.arrivals.folders import AGENTS_OWN

    def skipped(error: OSError) -> None:
        unread.append((Path(error.filename), f"the folder cannot be read ({error.strerror})"))

    for path in paths:
        if not path.is_dir():
            yield _Found(path, True, Path(path.name))
            continue
        for folder, folders, names in os.walk(path, onerror=skipped):
            folders.sort()
            inside = Path(folder).relative_to(path)
            for name in sorted(names):
                if not _is_plain(f"{folder}{os.sep}{name}") or (not every and name.lower() == AGENTS_OWN):
                    continue
                yield _Found(Path(folder, name), every, inside / name)


def _is_plain(path: str) -> bool:
    """Whether it is a file, and no link to one."""
    try:
        return stat.S_ISREG(os.lstat(path).st_mode)
    except OSError:
        return False  # gone since it was listed


def _show(taking: _Taking) -> None:
    from readoff.cli import looks

    for source, result in taking.told:
        if result.held and not result.again:
            looks.say(f"{source}:")
            for each in result.held:
                looks.say(f"held: {each.reason}", indent=2)
    for path, reason in taking.problems:
        looks.say(f"{printable(str(path))}: {reason}")
    parts = [f"{looks.counted(taking.new, 'record')} new"]
    parts += [f"{taking.replaced} now longer than before"] if taking.replaced else []
    parts += [f"{taking.known} known already"] if taking.known else []
    parts += [f"{taking.held} with something held"] if taking.held else []
    if taking.ignored:
        parts.append(f"{looks.counted(len(taking.ignored), 'file')} without a record ignored")
    parts += [f"{looks.counted(taking.moved, 'file')} moved"] if taking.move_to is not None else []
    looks.say(f"{looks.counted(taking.files, 'file')} taken: {', '.join(parts)}.")
    for bundle in taking.bundles:
        name = printable(str(bundle))
        looks.say(f"{name} is a bundle, and is taken by its name only: readoff take {name}")
