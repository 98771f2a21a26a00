"""The store's one connection to SQLite: opened with its promises, and its errors told in our words."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from readoff.errors import StoreError

if TYPE_CHECKING:
    from sqlite_utils import Database

BUSY_MILLISECONDS = 10_000  # how long one program waits for another's write to end

# File systems on which several machines share a file: SQLite's write-ahead log needs shared memory, which they lack.
_NETWORK = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "ncpfs", "fuse.sshfs", "fuse.davfs")
_MOUNTS = Path("/proc/self/mounts")


def connect(path: Path, *, busy: int = BUSY_MILLISECONDS) -> Database:
    """A connection that waits for locks, keeps foreign keys, and syncs to the disk at every commit."""
    from sqlite_utils import Database  # noqa: PLC0415 - costs 0.4 s, and --help does not need it

    with telling(str(path)):
        conn = sqlite3.connect(path, isolation_level=None, timeout=busy / 1000)
        db = Database(conn, execute_plugins=False)
        conn.execute("PRAGMA foreign_keys = ON")
        # FULL, not the usual NORMAL: "kept" must survive a power cut on the host.
        conn.execute("PRAGMA synchronous = FULL")
    return db


def choose_journal(db: Database, path: Path, mounts: str | None = None) -> str:
    """Write-ahead log on a local disk, a rollback journal on a network's. Gives the mode chosen."""
    mode = "DELETE" if on_network(path, mounts) else "WAL"
    now = str(db.execute("PRAGMA journal_mode").fetchone()[0])
    if now.upper() != mode:
        with telling(str(path)):
            now = str(db.execute(f"PRAGMA journal_mode = {mode}").fetchone()[0])
    return now.upper()


def on_network(path: Path, mounts: str | None = None) -> bool:
    """Whether a path lies on a network's file system. mounts: the system's table of mounts, read if None.

    Where there is no such table only a network path as such (``\\\\server\\share``) is known for one.
    """
    text = str(path.resolve())
    if text.startswith(("\\\\", "//")):
        return True
    if mounts is None:
        mounts = _MOUNTS.read_text(encoding="utf-8", errors="replace") if _MOUNTS.exists() else ""
    best, kind = "", ""
    for line in mounts.splitlines():
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        point = fields[1].replace("\\040", " ")
        inside = text == point or text.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(best):
            best, kind = point, fields[2]
    return kind in _NETWORK


def writable(path: Path) -> bool:
    """Whether this program may write a store's file, and in its folder, as SQLite needs to."""
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def address_to_read(path: Path) -> str:
    """SQLite's address of a store to be read only; of a medium that cannot be written, as of what nobody changes.

    A write-ahead log beside it is read by its shared memory, so its folder is then written.
    """
    alone = not writable(path) and not Path(f"{path}-wal").exists()
    return f"{path.resolve().as_uri()}?{'immutable=1' if alone else 'mode=ro'}"


@contextmanager
def telling(where: str, note: str = "") -> Iterator[None]:
    """Turns SQLite's errors into StoreError. note: what follows for the octets at hand, for the person."""
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as error:
        what, next_step = _in_our_words(error)
        raise StoreError(what + note, where=where, next_step=next_step) from error


def tell_damage(path: Path, error: Exception) -> None:
    """Raises StoreError where it is damage of the file that an unexpected error comes of, and no mistake of ours."""
    unexpected = isinstance(error, (AttributeError, LookupError, TypeError, ValueError))
    if unexpected and path.is_file() and (damage := _damage_of(path)):
        raise StoreError(
            f"the store's file is damaged ({damage})",
            where=str(path),
            next_step="Keep a copy of it before anything else; then: readoff store check",
        ) from error


def _damage_of(path: Path) -> str:
    """What SQLite first finds wrong, or ""."""
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as db:
            said = str(db.execute("PRAGMA quick_check(1)").fetchone()[0])
    except (sqlite3.Error, UnicodeDecodeError) as error:
        return str(error)
    return "" if said == "ok" else said.splitlines()[-1]  # the line before names the database


def _in_our_words(error: sqlite3.Error | UnicodeDecodeError) -> tuple[str, str]:
    name = getattr(error, "sqlite_errorname", "") or ""
    if isinstance(error, UnicodeDecodeError):  # SQLite quotes what it stumbles upon
        name = "SQLITE_CORRUPT"
    for start, what, next_step in (
        ("SQLITE_BUSY", "another program has the store locked", "Wait for it to end, or end it."),
        ("SQLITE_LOCKED", "another program has the store locked", "Wait for it to end, or end it."),
        ("SQLITE_FULL", "the disk is full", "Make room; everything committed before is safe."),
        ("SQLITE_READONLY", "the store cannot be written", "Check who may write the file and its folder."),
        ("SQLITE_CANTOPEN", "the store cannot be opened", "Check that the folder exists and may be written."),
        ("SQLITE_NOTADB", "this is not a store of Readoff", "Name another file with --store."),
        ("SQLITE_CORRUPT", "the store's file is damaged", "Keep a copy of it before anything else."),
        ("SQLITE_IOERR", "the disk failed while the store was used", "Check the disk."),
    ):
        if name.startswith(start):
            return f"{what} ({error})", next_step
    return f"SQLite refuses ({error})", ""


@contextmanager
def writing(db: Database, where: str, note: str = "") -> Iterator[None]:
    """One write transaction: all of it or nothing. Raises StoreError.

    Locked from its start: a transaction that reads first and locks later fails at once, without waiting,
    when another program wrote in between.
    """
    with telling(where, note):
        db.execute("BEGIN IMMEDIATE")
        try:
            yield
            db.commit()
        except BaseException:
            db.rollback()
            raise
