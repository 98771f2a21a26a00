"""DOS memory: the chain of memory control blocks, in guest memory where programs can walk it.

A block is a header of 16 octets (00 'M' or 'Z', 01 owner's PSP or 0, 03 paragraphs, 08 name from DOS 4
on) and what it describes. The segment of a block is that of its memory, one above its header.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from readoff.box.memory import Memory
from readoff.errors import BoxError

OWNER_DOS: Final = 0x0008
ERROR_MCB: Final = 7
ERROR_MEMORY: Final = 8
ERROR_BLOCK: Final = 9
# What real kernels leave behind a name's NUL: whatever was there.
_GARBAGE: Final = b"\xdb\x13\xc4\x7e\xa5\x3c\x99"


class DosMemoryError(Exception):
    """A DOS error code of the memory functions; most is the largest block for code 8."""

    def __init__(self, code: int, most: int = 0) -> None:
        super().__init__(code)
        self.code = code
        self.most = most


@dataclass(frozen=True)
class Block:
    """One block of the chain: segment of its memory, owner, paragraphs, whether it is the last."""

    segment: int
    owner: int
    size: int
    last: bool


class DosMemory:
    """The chain from ``first`` (segment of the first header) up to ``top``."""

    def __init__(self, memory: Memory, first: int, top: int, *, names: bool) -> None:
        self._memory = memory
        self.first = first
        self.strategy = 0
        self._names = names
        self._put(first, owner=0, size=top - first - 1, last=True)

    def _put(self, header: int, *, owner: int, size: int, last: bool) -> None:
        address = header << 4
        self._memory.octets[address] = ord("Z") if last else ord("M")
        self._memory.put_word(address + 1, owner)
        self._memory.put_word(address + 3, size)

    def blocks(self) -> Iterator[Block]:
        """The chain as it stands. Raises DosMemoryError(7) where it is broken."""
        header = self.first
        while True:
            address = header << 4
            mark = self._memory.octets[address]
            if mark not in b"MZ":
                raise DosMemoryError(ERROR_MCB)
            size = self._memory.word(address + 3)
            yield Block(header + 1, self._memory.word(address + 1), size, mark == ord("Z"))
            if mark == ord("Z"):
                return
            header += size + 1
            if header > 0xFFFF:
                raise DosMemoryError(ERROR_MCB)

    def check(self) -> None:
        """Raise BoxError when the chain is broken: a real kernel would say so and stop."""
        try:
            list(self.blocks())
        except DosMemoryError as error:
            raise BoxError(
                "the chain of memory blocks is broken", where=f"first block {self.first:04X}"
            ) from error

    def _join_free(self) -> None:
        header = self.first
        for block in list(self.blocks()):
            if block.segment - 1 < header:
                continue  # already part of the one before
            header = block.segment - 1
            size, last = block.size, block.last
            while block.owner == 0 and not last:
                behind = (header + size + 1) << 4
                if self._memory.word(behind + 1):
                    break
                last = self._memory.octets[behind] == ord("Z")
                size += 1 + self._memory.word(behind + 3)
            if size != block.size:
                self._put(header, owner=0, size=size, last=last)
            header += size + 1

    def allocate(self, paragraphs: int, owner: int) -> int:
        """48h: the segment of a new block, by the strategy in force. Raises DosMemoryError(8)."""
        self._join_free()
        free = [block for block in self.blocks() if block.owner == 0]
        fitting = [block for block in free if block.size >= paragraphs]
        if not fitting:
            raise DosMemoryError(ERROR_MEMORY, max((block.size for block in free), default=0))
        how = self.strategy & 3
        if how == 0:
            chosen = fitting[0]
        elif how == 1:
            chosen = min(fitting, key=lambda block: block.size)
        else:
            chosen = fitting[-1]
        rest = chosen.size - paragraphs
        if rest == 0:
            self._own(chosen.segment, owner)
            return chosen.segment
        header = chosen.segment - 1
        if how >= 2:
            self._put(header, owner=0, size=rest - 1, last=False)
            header += rest
            self._put(header, owner=owner, size=paragraphs, last=chosen.last)
        else:
            self._put(header, owner=owner, size=paragraphs, last=False)
            self._put(header + paragraphs + 1, owner=0, size=rest - 1, last=chosen.last)
        return header + 1

    def largest(self) -> int:
        """Paragraphs of the largest free block."""
        self._join_free()
        return max((block.size for block in self.blocks() if block.owner == 0), default=0)

    def _own(self, segment: int, owner: int) -> None:
        self._memory.put_word(((segment - 1) << 4) + 1, owner)

    def own(self, segment: int, owner: int, name: str) -> None:
        """Give a block its owner and name."""
        self._own(segment, owner)
        if self._names:
            address = (segment - 1 << 4) + 8
            octets = name.encode("cp437")[:8]
            self._memory.octets[address : address + 8] = (octets + b"\x00" + _GARBAGE)[:8]

    def _find(self, segment: int) -> Block:
        for block in self.blocks():
            if block.segment == segment:
                return block
        raise DosMemoryError(ERROR_BLOCK)

    def free(self, segment: int) -> None:
        """49h. Raises DosMemoryError(9) when no block begins there."""
        self._find(segment)
        self._own(segment, 0)

    def resize(self, segment: int, paragraphs: int) -> None:
        """4Ah. Raises DosMemoryError(8) with the most there is; the block is then as large as can be."""
        block = self._find(segment)
        header = segment - 1
        size, last = block.size, block.last
        self._join_free()
        if not last:
            behind = (header + size + 1) << 4
            if self._memory.word(behind + 1) == 0:
                size += 1 + self._memory.word(behind + 3)
                last = self._memory.octets[behind] == ord("Z")
        wanted = min(paragraphs, size)
        if wanted < size:
            self._put(header, owner=block.owner, size=wanted, last=False)
            self._put(header + wanted + 1, owner=0, size=size - wanted - 1, last=last)
        else:
            self._put(header, owner=block.owner, size=size, last=last)
        if wanted < paragraphs:
            raise DosMemoryError(ERROR_MEMORY, size)

    def free_owned(self, owner: int) -> None:
        """Free all blocks of a process that ends."""
        for block in list(self.blocks()):
            if block.owner == owner:
                self._own(block.segment, 0)
