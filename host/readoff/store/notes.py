"""What testers wrote down about configurations: failures, which are results, and remarks. Kept for good.

Nothing is ever changed or deleted: a note is taken back by a further note that refers to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from readoff.errors import UsageError
from readoff.store.keep import Store
from readoff.store.sqlite import telling, writing


@dataclass(frozen=True)
class NoteRow:
    """One note that stands. at: ISO, UTC. program: "" where it is about all programs."""

    number: int
    at: str
    machine: str
    label: str
    program: str
    what: str
    text: str


def add_note(
    store: Store, *, machine: str, label: str, program: str, what: str, text: str, at: datetime
) -> int:
    """Writes a note down (what: "failure" or "remark") and gives its number. Raises StoreError."""
    return _insert(store, (_iso(at), machine, label, program, what, None, text))


def withdraw(store: Store, number: int, *, machine: str, text: str, at: datetime) -> NoteRow:
    """Takes a standing note back, saying why. Gives the note. Raises UsageError where no such note stands."""
    note = next((each for each in notes(store, machine) if each.number == number), None)
    if note is None:
        raise UsageError(f"no note {number} stands about {machine!r}", where=str(store.path))
    _insert(store, (_iso(at), machine, note.label, note.program, "withdrawn", number, text))
    return note


def notes(store: Store, machine: str) -> list[NoteRow]:
    """The notes about a machine that stand, oldest first."""
    with telling(str(store.path)):
        rows = store.db.query(
            "SELECT number, at, machine, label, program, what, text FROM notes n WHERE machine = ? AND "
            "what <> 'withdrawn' AND NOT EXISTS (SELECT 1 FROM notes w WHERE w.refers = n.number) ORDER BY number",
            [machine],
        )
        return [NoteRow(**row) for row in rows]


def _insert(store: Store, values: tuple[str | int | None, ...]) -> int:
    with writing(store.db, str(store.path)):
        cursor = store.db.execute(
            "INSERT INTO notes (at, machine, label, program, what, refers, text) VALUES (?, ?, ?, ?, ?, ?, ?)",
            list(values),
        )
        return int(cursor.lastrowid or 0)


def _iso(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds")
