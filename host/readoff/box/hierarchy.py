"""Caches between the processor and its memory: what each data read of the guest costs, by the addresses that it reads.

Every level keeps real tags and replaces the line that was used longest ago in its set, so that a loop over more than it
holds misses as on a machine. Only data reads of conventional and extended memory are looked at: code and
writes cost what they cost without.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from readoff.errors import BoxError

# Data reads of the first megabyte outside of it cost nothing further: below lie DOS, the command processor and the
# stack of a first program.
MODELLED_FROM, MODELLED_TO = 0x8000, 0x9FFFF


@dataclass(frozen=True)
class CacheLevel:
    """One level: its octets, octets a line, lines a set (1: direct-mapped), and clocks for a read that it serves."""

    octets: int
    line: int = 16
    ways: int = 4
    clocks: int = 0


class _Level:
    """The tags of one level, a list for each set, the line used last at its end."""

    def __init__(self, level: CacheLevel) -> None:
        sets, rest = divmod(level.octets, level.line * level.ways)
        if rest or not sets:
            raise BoxError(f"a cache of {level.octets} octets is not whole sets of {level.ways} lines")
        self.line, self.sets, self.ways = level.line, sets, level.ways
        self.tags: list[list[int]] = [[] for _ in range(sets)]

    def serves(self, address: int) -> bool:
        """Whether it has the line; has it from now on in any case."""
        line = address // self.line
        lines = self.tags[line % self.sets]
        if lines and lines[-1] == line:
            return True
        found = line in lines
        if found:
            lines.remove(line)
        elif len(lines) == self.ways:
            del lines[0]
        lines.append(line)
        return found


class Hierarchy:
    """Levels, nearest first, and the memory behind them. reads: how many it has seen, by who served them."""

    def __init__(self, caches: Sequence[CacheLevel], memory: int, advance: Callable[[int], None]) -> None:
        """memory: and each level's clocks are picoseconds here. advance: lets virtual time pass."""
        self._levels = [(_Level(each), each.clocks) for each in caches]
        self._memory = memory
        self._advance = advance
        self.served = [0] * (len(caches) + 1)

    def read(self, address: int) -> None:
        """One data read."""
        cost, by = self._memory, len(self._levels)
        for number, (level, clocks) in enumerate(self._levels):
            if level.serves(address):
                cost, by = clocks, number
                break
        self.served[by] += 1
        if cost:
            self._advance(cost)
