"""One record put together from pieces that come in any order, twice, or not at all."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from enum import Enum

from readoff.contract.record import CHECK_SIZE, RecordId

PIECES_LIMIT = 1024
"""Holes that one assembly keeps account of; data that would make more is dropped, and comes again."""


class Added(Enum):
    """What a piece did to an assembly."""

    GREW = "new octets, and no new hole"
    LEFT_A_HOLE = "new octets, after a new hole"
    NOTHING_NEW = "all there already"
    CONFLICT = "other octets than those already there"
    OUTSIDE = "beyond the length that was offered"
    TOO_MANY_HOLES = "dropped: too many holes"


@dataclass
class Assembly:
    """Octets of one record as they arrive. Memory: at most ``length`` octets, taken only as they come.

    missing: begin and end of what is not there yet, in order, the end not included. mistaken: it was complete
    once, with other last octets than those that were offered.
    """

    id: RecordId
    length: int
    check: int
    octets: bytearray = field(default_factory=bytearray)
    missing: list[tuple[int, int]] = field(default_factory=list)
    mistaken: bool = False

    def __post_init__(self) -> None:
        self.start_again()

    def start_again(self) -> None:
        """Forgets every octet."""
        self.octets.clear()
        self.missing = [(0, self.length)] if self.length else []

    @property
    def offset(self) -> int:
        """All octets before this one are there."""
        return self.missing[0][0] if self.missing else self.length

    @property
    def received(self) -> int:
        """Octets that are there."""
        return self.length - sum(end - begin for begin, end in self.missing)

    @property
    def complete(self) -> bool:
        """Whether all octets are there."""
        return not self.missing

    @property
    def check_holds(self) -> bool:
        """Whether the last four octets are those that were offered."""
        return int.from_bytes(self.octets[-CHECK_SIZE:], "little") == self.check

    def holes(self, limit: int) -> list[tuple[int, int]]:
        """The first ``limit`` gaps that later octets have already leapt over."""
        gaps = self.missing[:-1] if self.missing and self.missing[-1][1] == self.length else self.missing
        return gaps[:limit]

    def add(self, offset: int, octets: bytes) -> Added:
        """Takes a piece. It changes nothing unless the answer is GREW or LEFT_A_HOLE."""
        end = offset + len(octets)
        if end > self.length:
            return Added.OUTSIDE
        first, last = self._touched(offset, end)
        if self._conflicts(offset, octets, self.missing[first:last]):
            return Added.CONFLICT
        if first == last:
            return Added.NOTHING_NEW
        left = [
            (begin, stop)
            for begin, stop in ((self.missing[first][0], offset), (end, self.missing[last - 1][1]))
            if begin < stop
        ]
        more = len(left) - (last - first)
        if more > 0 and len(self.missing) >= PIECES_LIMIT:
            return Added.TOO_MANY_HOLES
        leapt = first == len(self.missing) - 1 and offset > self.missing[first][0] and offset < end
        self._put(offset, octets)
        self.missing[first:last] = left
        return Added.LEFT_A_HOLE if leapt else Added.GREW

    def _touched(self, begin: int, end: int) -> tuple[int, int]:
        """Which of the missing ranges a piece fills at least in part: first, and one beyond the last."""
        first = bisect_right(self.missing, begin, key=lambda gap: gap[1])
        last = first
        while last < len(self.missing) and self.missing[last][0] < end:
            last += 1
        return (first, last) if begin < end else (first, first)

    def _conflicts(self, offset: int, octets: bytes, gaps: list[tuple[int, int]]) -> bool:
        """Whether a piece differs from octets that are already there."""
        at, end = offset, offset + len(octets)
        for begin, stop in [*gaps, (end, end)]:
            if begin > at and self.octets[at:begin] != octets[at - offset : begin - offset]:
                return True
            at = max(at, stop)
        return False

    def _put(self, offset: int, octets: bytes) -> None:
        if offset > len(self.octets):
            self.octets += bytes(offset - len(self.octets))
        self.octets[offset : offset + len(octets)] = octets
