"""Moving a file away after what it held was committed: never over another file, never one that has changed since."""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Iterator
from itertools import count
from pathlib import Path

COPYING = ".coming"
"""Ending of a file that is being copied to another disk; it gets its name when it is whole."""


def move_away(path: Path, folder: Path, inside: Path, digest: bytes) -> Path:
    """Moves a file to ``folder / inside``, or beside it under a name with a number. Gives the new path.

    inside: a relative path. digest: SHA-256 of the octets that were committed. Raises OSError, and then the file is
    where it was: also when it has changed since.
    """
    if _digest(path) != digest:
        raise OSError("it has changed since it was taken")
    wanted = folder / inside
    wanted.parent.mkdir(parents=True, exist_ok=True)
    for target in _names(wanted):
        try:
            _move(path, target, digest)
        except FileExistsError:
            continue
        return target
    raise AssertionError("the numbers have no end")


def _names(wanted: Path) -> Iterator[Path]:
    yield wanted
    for number in count(2):
        yield wanted.with_name(f"{wanted.stem}-{number}{wanted.suffix}")


def _move(path: Path, target: Path, digest: bytes) -> None:
    """A second name, then the first one away: unlike a renaming this fails where there is a file already."""
    try:
        target.hardlink_to(path)
    except FileExistsError:
        raise
    except OSError:  # another disk, or one that knows no second names
        _copy(path, target, digest)
    path.unlink()


def _copy(path: Path, target: Path, digest: bytes) -> None:
    coming = target.with_name(target.name + COPYING)
    target.open("xb").close()  # the name is ours from here on
    try:
        with path.open("rb") as source, coming.open("xb") as copy:
            shutil.copyfileobj(source, copy)
            copy.flush()
            os.fsync(copy.fileno())
        if _digest(coming) != digest:
            raise OSError("its copy is not what was taken")
        shutil.copystat(path, coming)
        coming.replace(target)
    except BaseException:
        coming.unlink(missing_ok=True)
        target.unlink(missing_ok=True)
        raise


def _digest(path: Path) -> bytes:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").digest()
