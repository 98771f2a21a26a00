"""A folder of files that is written whole or not at all, and that only replaces what this program wrote itself.

Everything is written into a folder of another name beside it, contents.json last, and then renamed. contents.json names
every file with its SHA-256; a folder that holds anything else, or something that was changed since, is not replaced.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from readoff.errors import UsageError

CONTENTS = "contents.json"
WHAT = "readoff report"


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Writes a folder that holds these files (paths with /) and their list. An earlier one of ours is replaced.

    Raises UsageError where something else is there, or it cannot be written; then all is as it was.
    """
    check_replaceable(folder)
    beside = folder.parent / f".{folder.name}.{secrets.token_hex(4)}"
    part, gone = beside.with_name(beside.name + ".part"), beside.with_name(beside.name + ".old")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        _write(part, {**files, CONTENTS: _contents(files)})
        if folder.exists():
            folder.rename(gone)
        try:
            part.rename(folder)
        except OSError:
            if gone.exists():
                gone.rename(folder)
            raise
    except OSError as error:
        raise UsageError(
            f"the folder cannot be written ({error.strerror or error})", where=str(folder)
        ) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
        if folder.exists():
            shutil.rmtree(gone, ignore_errors=True)


def check_replaceable(folder: Path) -> None:
    """Raises UsageError where a folder is there that this program did not write, or that was changed since."""
    if not folder.exists() and not folder.is_symlink():
        return
    if folder.is_symlink() or not folder.is_dir():
        raise UsageError("this is no folder", where=str(folder), next_step="Name a new one.")
    there = {each.relative_to(folder).as_posix() for each in folder.rglob("*") if not each.is_dir()}
    if not there:
        return
    listed = _listed(folder / CONTENTS)
    if listed is None:
        raise UsageError(
            "the folder is there, and was not written by readoff report",
            where=str(folder),
            next_step="Name a new one.",
        )
    strange = sorted(there - listed.keys() - {CONTENTS})
    changed = sorted(name for name in listed.keys() & there if not _is(folder / name, listed[name]))
    for names, what in ((strange, "is not of the report"), (changed, "was changed since it was written")):
        if names:
            more = f" and {len(names) - 1} more" if len(names) > 1 else ""
            raise UsageError(
                f"{names[0]}{more} {what}, and would be lost",
                where=str(folder),
                next_step="Move it elsewhere, or name a new folder.",
            )


def _contents(files: Mapping[str, bytes]) -> bytes:
    listed = {name: hashlib.sha256(files[name]).hexdigest() for name in sorted(files)}
    return (json.dumps({"what": WHAT, "files": listed}, indent=1) + "\n").encode("ascii")


def _listed(path: Path) -> dict[str, str] | None:
    """Name -> SHA-256, of a list of ours; None where there is none."""
    try:
        found: Any = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    files = found.get("files") if isinstance(found, dict) and found.get("what") == WHAT else None
    return files if isinstance(files, dict) and all(isinstance(v, str) for v in files.values()) else None


def _is(path: Path, digest: str) -> bool:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() == digest
    except OSError:
        return False


def _write(folder: Path, files: Mapping[str, bytes]) -> None:
    for name, octets in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as file:
            file.write(octets)
            file.flush()
            os.fsync(file.fileno())
