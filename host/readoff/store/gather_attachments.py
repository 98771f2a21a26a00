"""Gathering, of what persons attached: rows that this store lacks, and the photographs that they show."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path
from typing import Any

from readoff.store.keep import Store
from readoff.store.sqlite import telling, writing

_COLUMNS = "at, person, label, id, text, sha256"


def gather_attachments(store: Store, source: sqlite3.Connection, other: Path) -> int:
    """Brings the attachments that this store lacks, and keeps what refers to what. Gives their number.

    A photograph whose octets are not those that were kept there stays there, and so do its attachments.
    """
    with telling(str(other)):
        named = "SELECT count(*) FROM sqlite_master WHERE name = 'attachments'"
        if not source.execute(named).fetchone()[0]:
            return 0
        rows = source.execute(
            f"SELECT number, refers, {_COLUMNS} FROM attachments ORDER BY number"
        ).fetchall()
        shown = [row[0] for row in source.execute("SELECT sha256 FROM photographs").fetchall()]
    new, ours = 0, dict[int, int]()
    with writing(store.db, str(store.path)):
        there = {sha256 for sha256 in shown if _photograph(store, source, other, sha256)}
        for number, refers, *row in rows:
            if row[-1] is not None and row[-1] not in there:
                continue
            if refers is not None and refers not in ours:
                continue
            known = _number_of(store, [ours.get(refers), *row])
            if known is None:
                new += 1
                known = int(
                    store.db.execute(
                        f"INSERT INTO attachments (refers, {_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)",
                        [ours.get(refers), *row],
                    ).lastrowid
                    or 0
                )
            ours[number] = known
    return new


def _number_of(store: Store, values: list[Any]) -> int | None:
    found = store.db.execute(
        "SELECT number FROM attachments WHERE refers IS ? AND (at, person, label, id, text) = (?, ?, ?, ?, ?) "
        "AND sha256 IS ? LIMIT 1",
        values,
    ).fetchone()
    return None if found is None else int(found[0])


def _photograph(store: Store, source: sqlite3.Connection, other: Path, sha256: str) -> bool:
    """Whether this store has a photograph now."""
    if store.db.execute("SELECT 1 FROM photographs WHERE sha256 = ?", [sha256]).fetchone():
        return True
    with telling(str(other)):
        row = source.execute(
            "SELECT kind, width, height, octets FROM photographs WHERE sha256 = ?", [sha256]
        ).fetchone()
    if row is None or hashlib.sha256(row[-1]).hexdigest() != sha256:
        return False
    store.db.execute(
        "INSERT INTO photographs (sha256, kind, width, height, octets) VALUES (?, ?, ?, ?, ?)", [sha256, *row]
    )
    return True
