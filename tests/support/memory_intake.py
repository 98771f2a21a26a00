"""An intake that keeps arrivals in memory and reads them as records, for tests of the edges alone.

It also checks what an intake may rely on: that all calls come from one thread.
"""

from __future__ import annotations

import threading
from collections.abc import Callable

from readoff.arrivals.intake import Held, TakenResult
from readoff.contract.record import Completeness, Record, RecordId, parse_records
from readoff.errors import StoreError


class MemoryIntake:
    """arrivals: (octets, came from) in the order of their commits. failing: draws a StoreError."""

    def __init__(self) -> None:
        self.arrivals: list[tuple[bytes, str]] = []
        self.asked: list[RecordId] = []
        self.failing: Callable[[], bool] = lambda: False
        self._thread: int | None = None

    @property
    def octets(self) -> list[bytes]:
        """Of the arrivals, in order."""
        return [octets for octets, _ in self.arrivals]

    def whole(self) -> dict[RecordId, bytes]:
        """The whole records among the arrivals."""
        return {
            part.id: part.octets
            for octets in self.octets
            for part in parse_records(octets)
            if isinstance(part, Record) and part.completeness is Completeness.WHOLE
        }

    def take(self, octets: bytes, came_from: str) -> TakenResult:
        self._check()
        if octets in self.octets:
            return TakenResult(self.octets.index(octets), again=True)
        before = {part.id for old in self.octets for part in parse_records(old) if isinstance(part, Record)}
        self.arrivals.append((octets, came_from))
        parts = parse_records(octets)
        ids = [part.id for part in parts if isinstance(part, Record)]
        return TakenResult(
            len(self.arrivals) - 1,
            new=tuple(id for id in ids if id not in before),
            known=tuple(id for id in ids if id in before),
            held=tuple(
                Held(part.begin, len(part.octets), part.reason)
                for part in parts
                if not isinstance(part, Record)
            ),
        )

    def known(self, id: RecordId, length: int, check: int) -> bool:
        self._check()
        self.asked.append(id)
        return any(
            isinstance(part, Record)
            and (part.id, len(part.octets), int.from_bytes(part.octets[-4:], "little")) == (id, length, check)
            for octets in self.octets
            for part in parse_records(octets)
        )

    def _check(self) -> None:
        here = threading.get_ident()
        assert self._thread in (None, here), "the intake is called from more than one thread"
        self._thread = here
        if self.failing():
            raise StoreError("the disk is full", where="a test's store")
