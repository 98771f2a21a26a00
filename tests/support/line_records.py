"""Records for the line's bench tests, and the one invariant they all check."""

from __future__ import annotations

import random

from readoff.contract.record import RecordId
from support.agent_line import LineBench


def record(ordinal: int, size: int, seed: int = 0) -> bytes:
    """Octets with a record's header; what follows is noise, with flags and escapes in it."""
    draw = random.Random(seed * 1000 + ordinal)
    header = bytes.fromhex("524F661A01021800 44332211 D4C3B2A1") + ordinal.to_bytes(2, "little") + bytes(6)
    return header + draw.randbytes(size - 24)


def record_id(ordinal: int) -> RecordId:
    """Of the record with this ordinal."""
    return RecordId(0x11223344, 0xA1B2C3D4, ordinal)


def check_kept(line: LineBench) -> None:
    """What was told kept is in the host's store, whole; everything else is still in the spool."""
    for name, octets in line.records.items():
        ident = record_id(int.from_bytes(octets[16:18], "little"))
        if name not in line.spool:
            assert line.store[ident] == octets
        else:
            assert line.spool[name] == octets
