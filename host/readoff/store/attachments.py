"""What a person attached to a configuration or a run: a note, a photograph, or both. Kept for good, with who and when.

A photograph is kept once, under the SHA-256 of its octets, however often it is attached. Nothing is changed or deleted:
an attachment is taken back by a further row that refers to it. One on a run hangs on the record's id, so it survives a
re-reading.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from readoff.errors import StoreError, UsageError
from readoff.store import find
from readoff.store.keep import Store
from readoff.store.photographs import Photograph
from readoff.store.sqlite import telling, writing

LONGEST_TEXT = 4000
LONGEST_PERSON = 80
ENDINGS = {"image/jpeg": ".jpg", "image/png": ".png"}


@dataclass(frozen=True)
class Attachment:
    """One attachment that stands.

    at: ISO, UTC. label: of the configuration, "" for a run's. id: of the run's record, "" for a configuration's; run:
    its number, None where this store has no such run. sha256, kind, width, height, length: of the photograph, empty
    and 0 where there is none.
    """

    number: int
    at: str
    person: str
    label: str
    id: str
    run: int | None
    text: str
    sha256: str
    kind: str
    width: int
    height: int
    length: int

    @property
    def file_name(self) -> str:
        """A name for the photograph as a file of its own, the same in every store; "" where there is none."""
        return self.sha256[:16] + ENDINGS[self.kind] if self.sha256 else ""

    @property
    def alt(self) -> str:
        """The photograph in words, as far as anybody said."""
        about = f"run {self.run or self.id}" if self.id else self.label
        return self.text or f"photograph of {about}"


@dataclass(frozen=True)
class Entry:
    """What is to be attached. label or id (a record's), never both; text or photograph, or both; person: who."""

    person: str
    label: str = ""
    id: str = ""
    text: str = ""
    photograph: Photograph | None = None


def attach(store: Store, entry: Entry, at: datetime, *, announced: Collection[str] = ()) -> int:
    """Keeps an attachment, and gives its number. at: with a zone.

    announced: labels that nothing carries yet and that may have attachments all the same, as those of a study.

    Raises UsageError where it is about nothing that this store has or says nothing, StoreError where it is not kept.
    """
    entry = _checked(store, entry, announced)
    photograph = entry.photograph
    with writing(store.db, str(store.path)):
        if photograph is not None:
            store.db.execute(
                "INSERT OR IGNORE INTO photographs (sha256, kind, width, height, octets) VALUES (?, ?, ?, ?, ?)",
                [
                    photograph.sha256,
                    photograph.kind,
                    photograph.width,
                    photograph.height,
                    photograph.octets,
                ],
            )
        sha256 = photograph.sha256 if photograph else None
        return _insert(store, (_iso(at), entry.person, entry.label, entry.id, None, entry.text, sha256))


def take_back(store: Store, number: int, *, person: str, text: str, at: datetime) -> Attachment:
    """Takes a standing attachment back, saying why. Gives it. Raises UsageError where none stands, StoreError."""
    found = next((each for each in attachments(store) if each.number == number), None)
    if found is None:
        raise UsageError(f"no attachment {number} stands", where=str(store.path))
    with writing(store.db, str(store.path)):
        _insert(store, (_iso(at), _person(person), found.label, found.id, number, text.strip(), None))
    return found


def attachments(store: Store, *, label: str = "", id: str = "") -> list[Attachment]:
    """What stands: of one configuration, of one run (its record's id), or without either all; the oldest first."""
    rules, values = [_ATTACHMENTS], list[Any]()
    for column, value in (("label", label), ("id", id)):
        if value:
            rules.append(f"a.{column} = ?")
            values.append(value)
    with telling(str(store.path)):
        rows = store.db.query(" AND ".join(rules) + " ORDER BY a.number", values)
        return [Attachment(**row) for row in rows]


def photograph(store: Store, sha256: str) -> Photograph:
    """A photograph that an attachment which stands shows. Raises UsageError where there is none, StoreError.

    Octets that are not those that were kept are not given out.
    """
    with telling(str(store.path)):
        row = store.db.execute(
            f"SELECT octets, kind, width, height FROM photographs p WHERE sha256 = ? AND EXISTS ({_STANDS})",
            [sha256],
        ).fetchone()
    if row is None:
        raise UsageError("there is no such photograph", where=str(store.path))
    found = Photograph(*row)
    if found.sha256 != sha256:
        raise StoreError(
            f"photograph {sha256[:16]} is not what was kept: its SHA-256 is another",
            where=str(store.path),
            next_step="Look at the whole store with: readoff store check",
        )
    return found


def photograph_flaws(store: Store) -> list[tuple[str, str]]:
    """(name, what is wrong) of each photograph whose octets are not those that were kept. For the store's check."""
    flaws = []
    for sha256, numbers in store.db.execute(
        "SELECT sha256, (SELECT group_concat(number) FROM attachments a WHERE a.sha256 = p.sha256) "
        "FROM photographs p ORDER BY sha256"
    ).fetchall():
        row = store.db.execute("SELECT octets FROM photographs WHERE sha256 = ?", [sha256]).fetchone()
        octets = row[0] if row else None
        if not isinstance(octets, bytes) or hashlib.sha256(octets).hexdigest() != sha256:
            name = f"photograph {str(sha256)[:16]} (attachment {numbers or 'none'})"
            flaws.append((name, "its octets are not those that were kept: their SHA-256 is another"))
    return flaws


_UNTAKEN = "NOT EXISTS (SELECT 1 FROM attachments t WHERE t.refers = a.number)"
_STANDS = f"SELECT 1 FROM attachments a WHERE a.sha256 = p.sha256 AND {_UNTAKEN}"
_ATTACHMENTS = f"""
SELECT a.number, a.at, a.person, a.label, a.id, u.number AS run, a.text, COALESCE(a.sha256, '') AS sha256,
  COALESCE(p.kind, '') AS kind, COALESCE(p.width, 0) AS width, COALESCE(p.height, 0) AS height,
  COALESCE(length(p.octets), 0) AS length
FROM attachments a LEFT JOIN photographs p ON p.sha256 = a.sha256
  LEFT JOIN records r ON r.id = a.id AND r.standing = 'stands' LEFT JOIN runs u ON u.record = r.number
WHERE a.refers IS NULL AND {_UNTAKEN}"""


def _checked(store: Store, entry: Entry, announced: Collection[str]) -> Entry:
    text = entry.text.strip()
    if bool(entry.label) == bool(entry.id):
        raise UsageError("an attachment belongs to one configuration or one run")
    if not text and entry.photograph is None:
        raise UsageError("there is nothing to attach", next_step="Give a note, a photograph, or both.")
    if len(text) > LONGEST_TEXT:
        raise UsageError(f"a note may have {LONGEST_TEXT} characters, and this has {len(text)}")
    if entry.label and not (entry.label in announced or _is_carried(store, entry.label)):
        raise UsageError(f"nothing carries the label {entry.label!r}", where=str(store.path))
    if entry.id and find.run_of(store, entry.id) is None:
        raise UsageError(f"there is no run with the record {entry.id}", where=str(store.path))
    return Entry(_person(entry.person), entry.label, entry.id, text, entry.photograph)


def _is_carried(store: Store, label: str) -> bool:
    with telling(str(store.path)):
        row = store.db.execute(
            "SELECT EXISTS (SELECT 1 FROM runs WHERE label = ?) OR EXISTS (SELECT 1 FROM snapshots WHERE label = ?)",
            [label, label],
        ).fetchone()
    return bool(row[0])


def _person(person: str) -> str:
    name = " ".join(person.split())
    if not name:
        raise UsageError("who attaches it is not said")
    if len(name) > LONGEST_PERSON:
        raise UsageError(f"a name may have {LONGEST_PERSON} characters")
    return name


def _insert(store: Store, values: tuple[str | int | None, ...]) -> int:
    cursor = store.db.execute(
        "INSERT INTO attachments (at, person, label, id, refers, text, sha256) VALUES (?, ?, ?, ?, ?, ?, ?)",
        list(values),
    )
    return int(cursor.lastrowid or 0)


def _iso(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds")
