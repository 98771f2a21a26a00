"""The host's side of the loader (dos_agent/loader/loader.asm): hands a file over, block by block, as it is asked for.

The loader keeps the state: it asks again for what did not come, so whatever is answered twice does no harm.
"""

from __future__ import annotations

import zlib

from readoff.contract.declared import link_contract

RATE = 9600
"""Bits a second that the loader sets its port to."""


class Lead:
    """Answers what a loader asks. Octets in, octets out."""

    def __init__(self, octets: bytes) -> None:
        """octets: the file. Raises ContractError from the first answer on when it has more than 65,535 blocks."""
        contract = link_contract()
        self._codec = contract.codec
        self._limit = contract.constants["loader_block_limit"]
        self._mark = contract.constants["loader_ask_mark"].to_bytes(2, "little")
        self._file = octets
        self._heard = b""
        self.blocks = -(-len(octets) // self._limit)
        """Blocks with octets in them."""
        self.asked = 0
        """How far the loader is: the highest block that it has asked for, plus one; above ``blocks`` at the end."""
        self.answered = 0
        """Answers given, those given again included."""

    @property
    def ended(self) -> bool:
        """Whether the block without octets was asked for, so that all others are on the loader's disk."""
        return self.asked > self.blocks

    def receive(self, octets: bytes) -> bytes:
        """What has come from the loader, noise included; what to send."""
        self._heard += octets
        out = b""
        size = 6
        while (at := self._heard.find(self._mark)) >= 0 and len(self._heard) - at >= size:
            asked = self._codec.parse("loader_ask", self._heard[at : at + size])
            if asked["block"] ^ asked["inverted"] == 0xFFFF and asked["block"] <= self.blocks:
                out += self._block(asked["block"])
                self._heard = self._heard[at + size :]
            else:
                self._heard = self._heard[at + 1 :]
        self._heard = self._heard[-size:] if at < 0 else self._heard[at:]
        return out

    def _block(self, number: int) -> bytes:
        octets = self._file[number * self._limit : (number + 1) * self._limit]
        block = self._codec.build("loader_block", {"block": number, "length": len(octets)}) + octets
        self.asked = max(self.asked, number + 1)
        self.answered += 1
        return block + zlib.crc32(block).to_bytes(4, "little")
