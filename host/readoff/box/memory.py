"""The guest's first megabyte, in a buffer that both the processor and the devices use."""

from __future__ import annotations

import ctypes
from typing import Final

from readoff.errors import BoxError

MEGABYTE: Final = 0x100000


class Memory:
    """The guest's first megabyte. Addresses are linear; words are little-endian."""

    def __init__(self) -> None:
        self._buffer = ctypes.create_string_buffer(MEGABYTE + 4096)
        self.base = (ctypes.addressof(self._buffer) + 4095) & ~4095
        self.octets = memoryview((ctypes.c_ubyte * MEGABYTE).from_address(self.base)).cast("B")

    def word(self, address: int) -> int:
        """16 bits at a linear address."""
        return self.octets[address] | self.octets[address + 1] << 8

    def put_word(self, address: int, value: int) -> None:
        """16 bits to a linear address. For data, never for code: see Engine.load."""
        self.octets[address] = value & 0xFF
        self.octets[address + 1] = value >> 8 & 0xFF

    def read(self, segment: int, offset: int, count: int) -> bytes:
        """Octets of a segment; the offset wraps at 64 KB and the address at 1 MB."""
        start = ((segment << 4) + offset) & 0xFFFFF
        if offset + count <= 0x10000 and start + count <= MEGABYTE:
            return bytes(self.octets[start : start + count])
        return bytes(self.octets[((segment << 4) + (offset + i & 0xFFFF)) & 0xFFFFF] for i in range(count))

    def string(self, segment: int, offset: int, most: int = 128) -> bytes:
        """Octets up to a NUL, at most ``most``. Raises BoxError when none comes."""
        octets = self.read(segment, offset, most)
        end = octets.find(0)
        if end < 0:
            raise BoxError(f"no NUL ends the text within {most} octets", where=f"{segment:04X}:{offset:04X}")
        return octets[:end]
