"""Blocks of lines that a program prints once or again and again: each repeat has readings of its own.

A block begins with a line that matches `begin` and goes on to the line before one that matches `end`, or the next
beginning, or the last line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice

from readoff.readings.beside import MOST_OCCURRENCES
from readoff.readings.schema import Pattern
from readoff.readings.shown import Shown
from readoff.readings.table import Table


@dataclass(frozen=True)
class Block:
    """Where a block begins and, if that is said, ends."""

    begin: Pattern
    end: Pattern | None = None

    def spans(self, shown: Shown) -> list[tuple[int, int]] | None:
        """The lines of each repeat, as first and last (excluded); None where there are too many."""
        found = list(islice(self.begin.compiled.finditer(shown.utf8), MOST_OCCURRENCES + 1))
        if len(found) > MOST_OCCURRENCES:
            return None
        begins = sorted({shown.line_at(match.start()) for match in found})
        ends = [*begins[1:], len(shown.lines)]
        return [(first, self._last(shown, first, last)) for first, last in zip(begins, ends, strict=False)]

    def _last(self, shown: Shown, first: int, last: int) -> int:
        if not self.end:
            return last
        begin, end = shown.utf8_of(first + 1, last)
        found = self.end.compiled.search(shown.utf8[begin:end]) if begin < end else None
        return shown.line_at(begin + found.start()) if found else last


def load_blocks(top: Table) -> dict[str, Block]:
    """The blocks that a schema declares, by name."""
    if "blocks" not in top.data:
        return {}
    blocks: dict[str, Block] = {}
    for name, table in top.table("blocks").named().items():
        table.only(("begin", "end"))
        begin, end = table.pattern("begin"), table.pattern("end", needed=False)
        if begin:
            blocks[name] = Block(begin, end)
    return blocks


def known_block(table: Table, blocks: Mapping[str, object], key: str) -> str:
    """The name under a metric's key, checked against those declared; "" where there is none."""
    name = table.text(key, needed=False)
    return name if name and table.choice(key, name, blocks) else ""
