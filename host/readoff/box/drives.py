"""Drives that live in the host's memory and survive resets of the box.

What a program writes reaches the drive when it closes or commits the file, or duplicates a handle and
closes that; until then only the open file has it, and a power cut loses it, as with DOS's folder entries.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from readoff.errors import BoxError, UsageError

READ_ONLY: Final = 0x01
HIDDEN: Final = 0x02
SYSTEM: Final = 0x04
VOLUME: Final = 0x08
FOLDER: Final = 0x10
ARCHIVE: Final = 0x20
CLUSTER: Final = 2048
_ALLOWED: Final = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789!#$%&'()-@^_`{}~") | {
    chr(code) for code in range(0x80, 0x100)
}


def valid_name(name: str) -> bool:
    """Whether a name, upper case, is a DOS 8.3 name."""
    stem, dot, extension = name.partition(".")
    return (
        0 < len(stem) <= 8
        and len(extension) <= 3
        and (bool(extension) or not dot)
        and set(stem + extension) <= _ALLOWED
    )


def clip_name(name: str) -> str:
    """A name as DOS takes it: upper case, cut to 8 and 3 characters."""
    stem, dot, extension = name.upper().partition(".")
    return stem[:8] + (dot + extension[:3] if extension else "")


@dataclass
class Entry:
    """A file or folder as its folder entry has it."""

    data: bytes = b""
    attributes: int = ARCHIVE
    modified: datetime = field(default_factory=lambda: datetime(1980, 1, 1))

    @property
    def is_folder(self) -> bool:
        """True for a folder."""
        return bool(self.attributes & FOLDER)


class Drive:
    """Paths are upper case with backslashes and no leading one: ``SPOOL\\A.RDO``; the root is ``""``.

    capacity: octets. removable: a floppy drive. Faults, all free to set at any time:
    write_protected: every write becomes a critical error. ready: False for an empty floppy drive.
    room: octets that can still be written, or None; finer than the clusters of capacity.
    on_access: called with ("read" or "write", ordinal from 1 of that kind); a number that it returns is
    the critical error that INT 24h gets (DI: 0 write-protected, 2 not ready, 4 data, 0Ah write, 0Bh
    read, 0Ch general failure).
    """

    def __init__(self, *, capacity: int = 32 * 1024 * 1024, removable: bool = False, label: str = "") -> None:
        self.entries: dict[str, Entry] = {}
        self.capacity = capacity
        self.removable = removable
        self.write_protected = False
        self.label = label
        self.ready = True
        self.room: int | None = None
        self.on_access: Callable[[str, int], int | None] | None = None
        self.accesses = {"read": 0, "write": 0}
        self.reserved: dict[str, int] = {}  # octets of files that are open and not yet on the disk

    def fail_write(self, number: int, code: int = 0x0A) -> None:
        """Make the write number so-and-so from now on (1 = the next) a critical error, once."""
        target = self.accesses["write"] + number

        def fault(kind: str, ordinal: int) -> int | None:
            return code if kind == "write" and ordinal == target else None

        self.on_access = fault

    def access(self, kind: str) -> int | None:
        """Count an access; the critical error code that it meets, or None."""
        self.accesses[kind] += 1
        if not self.ready:
            return 2
        if kind == "write" and self.write_protected:
            return 0
        return self.on_access(kind, self.accesses[kind]) if self.on_access else None

    def free(self) -> int:
        """Octets in free clusters."""
        used = sum(
            -(-max(len(entry.data), self.reserved.get(path, 0)) // CLUSTER) or entry.is_folder
            for path, entry in self.entries.items()
        )
        return max(0, self.capacity // CLUSTER - used) * CLUSTER

    def exists_folder(self, path: str) -> bool:
        """Whether path is the root or a folder."""
        return not path or (path in self.entries and self.entries[path].is_folder)

    def children(self, folder: str) -> Iterator[tuple[str, Entry]]:
        """(name, entry) of what a folder holds, in the order in which it came there."""
        start = f"{folder}\\" if folder else ""
        for path, entry in list(self.entries.items()):
            name = path[len(start) :]
            if path.startswith(start) and name and "\\" not in name:
                yield name, entry

    # -- for the people and tests around the box --------------------------------------------------
    def write(self, path: str, data: bytes, modified: datetime | None = None) -> None:
        """Put a file there from outside; folders on the way are made. Raises UsageError on a bad name."""
        path = self.clean(path)
        parts = path.split("\\")
        for depth in range(1, len(parts)):
            self.entries.setdefault("\\".join(parts[:depth]), Entry(attributes=FOLDER))
        self.entries[path] = Entry(data, ARCHIVE, modified or datetime(1994, 1, 1))

    def read(self, path: str) -> bytes:
        """A file's octets as they are on the disk now. Raises UsageError when there is no such file."""
        entry = self.entries.get(self.clean(path))
        if entry is None or entry.is_folder:
            raise UsageError("there is no such file on this drive of the box", where=path)
        return entry.data

    def list(self, pattern: str = "*") -> list[str]:
        """Paths of files, sorted; pattern as in fnmatch, over the whole path."""
        return sorted(
            path
            for path, entry in self.entries.items()
            if not entry.is_folder and fnmatch.fnmatchcase(path, pattern.upper())
        )

    def clean(self, path: str) -> str:
        """A path in the drive's own form. Raises UsageError on a name that DOS does not have."""
        path = path.upper().replace("/", "\\")
        if path[1:2] == ":":
            path = path[2:]
        path = path.strip("\\")
        for part in path.split("\\"):
            if not valid_name(part):
                raise UsageError(f"{part!r} is no DOS name", where=path)
        return path


class Drives:
    """The drives of a box by letter."""

    def __init__(self, drives: dict[str, Drive]) -> None:
        self._drives = {letter.upper(): drive for letter, drive in drives.items()}

    def get(self, letter: str) -> Drive | None:
        """The drive, or None."""
        return self._drives.get(letter.upper())

    def __getitem__(self, letter: str) -> Drive:
        drive = self.get(letter)
        if drive is None:
            raise BoxError(f"the box has no drive {letter}:")
        return drive

    @property
    def letters(self) -> list[str]:
        """Letters, sorted."""
        return sorted(self._drives)
