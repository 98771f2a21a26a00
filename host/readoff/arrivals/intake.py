"""What the edges need of the store: two questions, and the answers to them.

Every arrival, by file or by line, goes through this. All calls come from one thread, the one that runs the
watch (or the command), so an intake needs no locks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from readoff.contract.record import RecordId


@dataclass(frozen=True)
class Held:
    """A part of an arrival that could not be read; kept all the same.

    begin: offset from the start of the arrival. length: octets. reason: names the place.
    """

    begin: int
    length: int
    reason: str


@dataclass(frozen=True)
class TakenResult:
    """What became of one arrival. Its raw octets are committed, whatever the rest says.

    arrival: the store's number of it. again: the very same octets had been taken before (by any way).
    new: records seen for the first time. known: records that the store has as good or better already.
    replaced: records that took the place of a shorter, cut-short one. held: what could not be read.
    """

    arrival: int
    again: bool = False
    new: tuple[RecordId, ...] = ()
    known: tuple[RecordId, ...] = ()
    replaced: tuple[RecordId, ...] = ()
    held: tuple[Held, ...] = ()


class Intake(Protocol):
    """The store, as the edges see it."""

    def take(self, octets: bytes, came_from: str) -> TakenResult:
        """Commits the raw octets, then reads them. Idempotent: the same octets twice are one arrival.

        came_from: a file's path or a line's name, for the person. Never fails because of what the octets
        are. Raises StoreError when they could not be committed: then nothing of them counts as kept.
        """
        ...

    def known(self, id: RecordId, length: int, check: int) -> bool:
        """Whether octets of this record, this long and with these last four octets, are committed.

        length: in octets, of the whole spool file. check: its last four octets, low octet first, as a number.
        When true, the line says "kept" without asking for the octets. Raises StoreError.
        """
        ...
