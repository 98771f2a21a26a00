"""A watched folder: which of its files are arrivals, and when they are ready to be taken.

What is taken: every regular file that holds a record (the record's first word 52 4F 66 1A is in it), whatever
its name, for floppies and shares rename as they like. Of a raw disk image the files that hold a record are
arrivals. A file without one is ignored, with a note; ``readoff take`` takes what it is told to. The agent's
SERIAL.RDO, which lies beside its records, is passed over without a note.

When: an old machine may still be writing. A file is taken when two looks in a row found the same size, time and
digest and its last record goes on to its END; else when it has not changed for ``settle`` seconds, as it is.
Should it grow later, that is another arrival, and the store puts it in the place of the shorter one.

What is new: the digest of the octets decides, and nothing else. A DOS clock gives equal sizes and times to
different files, and floppies repeat their names. Between looks a file whose inode, size, time and time of change
are the same is passed over; every ``deep_every`` seconds (more seldom in a folder of thousands) all files are read,
whatever those say.

Nothing in the folder is ever changed, unless a place is named to move to what was taken. Nothing in it makes this
raise: what can't be read or moved is told, and tried again at the next look.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable, Iterator, Set
from dataclasses import dataclass
from pathlib import Path

from readoff.arrivals.bundled import looks_like_bundle
from readoff.arrivals.images import FILE_LIMIT, arrivals_in
from readoff.arrivals.intake import Intake
from readoff.arrivals.moving import move_away
from readoff.arrivals.stores import BESIDE, is_of_a_store
from readoff.arrivals.told import About, Note, Status, Told, Took
from readoff.contract.record import MAGIC, Completeness, Record, parse_records
from readoff.errors import StoreError

AGENTS_OWN = "serial.rdo"
_NO_RECORD = "ignored: there is no record in it"

# Not to wait: the file may have become a pipe since it was listed. Binary: only Windows knows another way.
_TO_READ = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)

NAMED_AT_MOST = 5
"""Ignored files named in notes of their own in one look; of more only the number is told."""

Mark = tuple[int, int, int, int]
"""Inode, size, time and time of change (ns): when these are the same, a file is probably the same."""


@dataclass
class _Seen:
    """What the last look found of one file. since: when it last changed; done: nothing is to be done with it;
    stuck: it was ready, and could not be kept, or not be moved; holds: there is a record in it.
    """

    mark: Mark
    digest: bytes
    since: float
    looks: int = 1
    done: bool = False
    stuck: bool = False
    holds: bool = False


DEEP_FILES = 1000
"""Files that a deep look may read in each deep_every seconds: in a folder of more it comes that much more seldom."""


class FolderReader:
    """Looks at one folder when it is told to, and hands what is ready to the intake.

    settle, deep_every: seconds. now (of look): seconds of any clock that does not go back. move_to: a folder outside
    this one to which files are moved once they were taken.
    """

    def __init__(
        self,
        folder: Path,
        intake: Intake,
        told: Told,
        *,
        recursive: bool = False,
        settle: float = 3.0,
        deep_every: float = 30.0,
        move_to: Path | None = None,
    ) -> None:
        self.folder = folder
        self.status = Status(str(folder), "folder", pending=1)  # until the first look
        self._intake, self._told = intake, told
        self.deep_every = deep_every
        self._recursive, self._settle, self._move_to = recursive, settle, move_to
        self._seen: dict[str, _Seen] = {}
        self._taken: set[bytes] = set()
        self._deep_at = float("-inf")
        self._complaints: dict[str, str] = {}
        self._ignored: list[str] = []

    @property
    def pending(self) -> int:
        """Files that are still growing or settling."""
        return sum(not seen.done and not seen.stuck for seen in self._seen.values())

    @property
    def waiting(self) -> list[str]:
        """Those of them that hold a record."""
        return [path for path, seen in self._seen.items() if seen.holds and not seen.done and not seen.stuck]

    def look_again(self, now: float) -> None:
        """Looks at the waiting files alone: in a folder of many, records need not wait for the next look at all."""
        for path in self.waiting:
            self._file(path, self._seen[path].mark, now, deep=True)
        self.status.pending = self.pending

    def look(
        self, now: float, hinted: Set[str] = frozenset(), going_on: Callable[[], bool] = lambda: True
    ) -> None:
        """Looks at every file once. hinted: paths to read whatever their marks say. going_on: False stops it."""
        deep = now - self._deep_at >= self.deep_every * max(1.0, len(self._seen) / DEEP_FILES)
        if deep:
            self._deep_at = now
        there = set()
        for path, mark in self._files():
            if not going_on():
                return
            there.add(path)
            self._file(path, mark, now, deep or path in hinted)
        self._tell_ignored()
        for path in self._seen.keys() - there:
            del self._seen[path]
        for path in self._complaints.keys() - there - {str(self.folder)}:
            if not Path(path).exists():
                del self._complaints[path]
        self.status.pending = self.pending

    # Files -------------------------------------------------------------------------------------------------

    def _files(self) -> Iterator[tuple[str, Mark]]:
        """The regular files, in the order of their names. Links to folders are not followed."""
        folders = [str(self.folder)]
        while folders:
            folder = folders.pop()
            try:
                with os.scandir(folder) as entries:
                    ordered = sorted(entries, key=lambda entry: entry.name)
            except OSError as error:
                self._complain(folder, f"the folder cannot be read ({error.strerror})")
                continue
            self._content(folder)
            for entry in ordered:
                try:
                    if entry.is_dir(follow_symlinks=False):
                        folders += [entry.path] if self._recursive else []
                        continue
                    found = entry.stat()
                except OSError:
                    continue  # gone since it was listed, or a link to nothing
                if stat.S_ISREG(found.st_mode):
                    yield entry.path, _mark(found)

    def _file(self, path: str, mark: Mark, now: float, deep: bool) -> None:
        seen = self._seen.get(path)
        if seen is not None and seen.done and seen.mark == mark and not deep:
            return
        read = self._read(path)
        if read is None:
            return
        octets, mark = read
        digest = hashlib.sha256(octets).digest()
        if seen is None or (seen.mark[1:3], seen.digest) != (mark[1:3], digest):
            seen = self._seen[path] = _Seen(mark, digest, now)
            self.status.last_activity = now
            self.status.octets += len(octets)
        else:
            seen.looks += 1
            seen.mark = mark
        if not seen.done:
            seen.done = self._done_with(path, octets, seen, now)

    def _done_with(self, path: str, octets: bytes, seen: _Seen, now: float) -> bool:
        """Takes the file when it is ready. Says whether nothing more is to be done with it as it is."""
        if seen.digest in self._taken:
            return self._moved(path, seen)
        settled = now - seen.since >= self._settle
        seen.holds = MAGIC in octets and not looks_like_bundle(octets)
        if not seen.holds:
            if settled and not path.lower().endswith((AGENTS_OWN, *BESIDE)):
                self._ignored.append(path)
            return settled
        if not settled and (seen.looks < 2 or not goes_to_its_end(octets)):
            return False
        try:
            for part, came_from in arrivals_in(octets, path):
                self._take(part, came_from, now)
        except StoreError as error:
            self._complain(path, f"not kept yet: {error.sentence()}", About.STORE)
            seen.stuck = True
            return False
        self._content(path)
        self._taken.add(seen.digest)
        return self._moved(path, seen)

    def _moved(self, path: str, seen: _Seen) -> bool:
        """Moves a file that was taken, where that is wanted. Says whether it is done with."""
        if self._move_to is None:
            return True
        try:
            move_away(Path(path), self._move_to, Path(path).relative_to(self.folder), seen.digest)
        except OSError as error:
            self._complain(path, f"taken, but not moved ({error.strerror or error})")
            seen.stuck = True
            return False
        self._content(path)
        return True

    def _take(self, octets: bytes, came_from: str, now: float) -> None:
        result = self._intake.take(octets, came_from)
        self.status.records += len(result.new) + len(result.replaced)
        self.status.last_arrival = self.status.last_activity = now
        self._told(Took(self.status.name, came_from, len(octets), result))

    def _read(self, path: str) -> tuple[bytes, Mark] | None:
        """The octets of a file that did not change meanwhile, and its mark; None, and a note, otherwise."""
        try:
            with os.fdopen(os.open(path, _TO_READ), "rb") as file:
                before = os.fstat(file.fileno())
                if is_of_a_store(file.read(16)):
                    self._seen[path] = _Seen(_mark(before), b"", 0.0, done=True)
                    return None
                file.seek(0)
                if before.st_size > FILE_LIMIT:
                    self._complain(path, f"ignored: it has {before.st_size} octets, more than {FILE_LIMIT}")
                    self._seen[path] = _Seen(_mark(before), b"", 0.0, done=True)
                    return None
                octets = file.read(FILE_LIMIT + 1)
                after = os.fstat(file.fileno())
        except FileNotFoundError:
            return None
        except OSError as error:
            self._complain(path, f"it cannot be read now ({error.strerror})")
            return None
        if _mark(before) != _mark(after) or len(octets) != after.st_size:
            self._seen.pop(path, None)
            return None
        return octets, _mark(after)

    # Notes -------------------------------------------------------------------------------------------------

    def _complain(self, path: str, what: str, about: About | None = None) -> None:
        """Tells what is wrong with a path, once until it changes."""
        is_folder = path == str(self.folder)
        if is_folder:
            self.status.alive, self.status.problem = False, what
        if self._complaints.get(path) != what:
            self._complaints[path] = what
            about = about or (About.SOURCE if is_folder else About.FILE)
            self._told(Note(self.status.name, about, f"{path}: {what}"))

    def _tell_ignored(self) -> None:
        fresh = [path for path in self._ignored if self._complaints.get(path) != _NO_RECORD]
        self._ignored.clear()
        if len(fresh) <= NAMED_AT_MOST:
            for path in fresh:
                self._complain(path, _NO_RECORD)
            return
        self._complaints |= dict.fromkeys(fresh, _NO_RECORD)
        what = f"{len(fresh)} files are ignored, for there is no record in them ({fresh[0]} and others)"
        self._told(Note(self.status.name, About.FILE, what))

    def _content(self, path: str) -> None:
        """Nothing is wrong with a path (any more)."""
        was = self._complaints.pop(path, "")
        if path == str(self.folder):
            self.status.alive, self.status.problem = True, ""
            if was:
                self._told(Note(self.status.name, About.SOURCE, f"{path}: the folder can be read again"))


def goes_to_its_end(octets: bytes) -> bool:
    """Whether the last thing in an arrival is a whole record: nothing more is to come."""
    parts = parse_records(octets)
    return bool(parts) and isinstance(parts[-1], Record) and parts[-1].completeness is Completeness.WHOLE


def _mark(found: os.stat_result) -> Mark:
    return found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns
