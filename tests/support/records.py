"""Small sample records, all invented."""

from __future__ import annotations

from readoff.contract.record import RecordId, build_record

_RUN_START = {
    "repeat": 1,
    "repeats": 1,
    "snapshot_ordinal": 1,
    "free_paragraphs": 0x9000,
    "label": "zero-ws",
    "program": "replay",
    "path": "C:\\REPLAY.COM",
    "arguments": "",
}


def a_record(
    ordinal: int = 1, console: bytes = b"Rate: 72.9 frames/s\r\n", *, serial: int = 0x11223344
) -> bytes:
    """A whole run record that printed ``console``."""
    ident = RecordId(serial, 0xA1B2C3D4, ordinal)
    return build_record("run", ident, [("run_start", _RUN_START), ("console", console)])
