"""Records as the agent would write them, and a schema that reads them: invented, for the tests of the store."""

from __future__ import annotations

from readoff.contract.record import RecordId, build_record

SCHEMA = """
schema = "replay"
title = "Timed replay"
headline = ["rate"]

[recognise]
all = ['^Replay: [0-9]+ frames in [0-9]+ ticks']

[metrics.frames]
pattern = '^Replay: (?P<number>[0-9]+) frames'
unit = "frames"
better = "neither"
exact = true

[metrics.rate]
pattern = '^Rate: (?P<number>[0-9.]+) frames/s'
unit = "frames/s"
better = "higher"

[[samples]]
text = '''
Replay: 2134 frames in 1024 ticks (35 ticks/s)
Rate: 72.9 frames/s
'''
readings = { frames = "2134", rate = "72.9" }
"""

CPU = {
    "class": "i80486",
    "fpu": "present",
    "v86": "absent",
    "msw": 0x10,
    "signature": 0x0480,
    "features": 1,
    "vendor": "",
}
MEMORY = {
    "conventional_kb": 640,
    "extended_88_kb": 7168,
    "e801_low_kb": 0xFFFF,
    "e801_high_64kb": 0xFFFF,
    "free_paragraphs": 0x8F00,
}
# REFERENCES: 10=40 12=F0 14=0F 15=80 16=02 18=0C 19=2F, rest 0 -> 01FCh, kept at 2Eh (high) and 2Fh (low).
CMOS_SETTINGS = bytearray(112)
for _register, _value in {
    0x10: 0x40,
    0x12: 0xF0,
    0x14: 0x0F,
    0x15: 0x80,
    0x16: 0x02,
    0x18: 0x0C,
    0x19: 0x2F,
}.items():
    CMOS_SETTINGS[_register - 0x10] = _value
CMOS_SETTINGS[0x2E - 0x10 : 0x30 - 0x10] = b"\x01\xfc"
BLOCKS = [
    {"segment": 0x0200, "owner": 8, "paragraphs": 100, "name": "SD"},
    {"segment": 0x0300, "owner": 0x301, "paragraphs": 200, "name": "COMMAND"},
    {"segment": 0x0400, "owner": 0x301, "paragraphs": 16, "name": "COMMAND"},
    {"segment": 0x0500, "owner": 0x501, "paragraphs": 900, "name": "READOFF"},
    {"segment": 0x0900, "owner": 0, "paragraphs": 30000, "name": ""},
]


def printed(rate: str = "72.9", frames: int = 2134) -> bytes:
    """What our sample program REPLAY prints."""
    return f"Replay: {frames} frames in 1024 ticks (35 ticks/s)\r\nRate: {rate} frames/s\r\n".encode("cp437")


def screen(lines: list[str], columns: int = 80, rows: int = 25) -> dict[str, object]:
    """A text screen, unpacked, light grey on black."""
    text = "".join(line.ljust(columns) for line in lines).ljust(columns * rows)
    cells = b"".join(bytes([code, 7]) for code in text.encode("cp437"))
    return {
        "moment": "exit",
        "mode": 3,
        "columns": columns,
        "rows": rows,
        "page": 0,
        "cursor_column": 0,
        "cursor_row": 0,
        "packing": "none",
        "cells": cells,
    }


def run_start(label: str = "zero-ws", program: str = "replay", **more: object) -> dict[str, object]:
    """A run_start section."""
    return {
        "repeat": 1,
        "repeats": 2,
        "snapshot_ordinal": 1,
        "free_paragraphs": 0x9000,
        "label": label,
        "program": program,
        "path": "C:\\REPLAY.COM",
        "arguments": "",
        **more,
    }


def run_end(**more: object) -> dict[str, object]:
    """A run_end section of a run that finished after 1024 ticks."""
    return {
        "outcome": "finished",
        "exit_kind": "normal",
        "exit_code": 0,
        "flags": {},
        "dos_error": 0,
        "elapsed_ticks": 1024,
        "elapsed_counts": 0,
        "resolution": 1,
        "console_octets": 0,
        "console_kept": 0,
        "video_mode": 3,
        **more,
    }


def ident(ordinal: int = 2, nonce: int = 0xA1B2C3D4, serial: int = 0x11223344) -> RecordId:
    """A record id."""
    return RecordId(serial, nonce, ordinal)


def run_record(
    ordinal: int = 2,
    nonce: int = 0xA1B2C3D4,
    *,
    console: bytes | None = None,
    start: dict[str, object] | None = None,
    end: dict[str, object] | None = None,
    screens: tuple[dict[str, object], ...] = (),
) -> bytes:
    """A whole run."""
    sections: list[tuple[str | int, object]] = [("run_start", run_start() | (start or {}))]
    sections += [("console", printed() if console is None else console)]
    sections += [("screen", each) for each in screens]
    sections += [("run_end", run_end() | (end or {}))]
    return build_record("run", ident(ordinal, nonce), sections, date=0x1CBF, time=0x32C0)  # type: ignore[arg-type]


def snapshot_record(
    ordinal: int = 1,
    nonce: int = 0xA1B2C3D4,
    *,
    label: str = "zero-ws",
    cpu: dict[str, object] | None = None,
    memory: dict[str, object] | None = None,
    autoexec: bytes = b"@ECHO OFF\r\nPATH C:\\DOS\r\n",
    blocks: list[dict[str, object]] | None = None,
    settings: bytes = bytes(CMOS_SETTINGS),
    clock: bytes = bytes(16),
) -> bytes:
    """A whole snapshot."""
    sections = [
        ("snapshot_start", {"label": label}),
        ("cpu", CPU | (cpu or {})),
        ("memory", MEMORY | (memory or {})),
        ("cmos", {"clock": clock, "settings": settings}),
        ("residents", {"blocks": BLOCKS if blocks is None else blocks}),
        ("environment", {"strings": "PATH=C:\\DOS\0COMSPEC=C:\\COMMAND.COM\0"}),
        ("startup_file", {"name": "AUTOEXEC.BAT", "octets": autoexec}),
    ]
    return build_record("snapshot", ident(ordinal, nonce), sections)  # type: ignore[arg-type]


def file_record(
    ordinal: int = 3, nonce: int = 0xA1B2C3D4, *, content: bytes = b"", size: int | None = None
) -> bytes:
    """A whole file record; its content in two parts."""
    content = content or printed()
    head = {
        "attributes": 0x20,
        "time": 0x32C0,
        "date": 0x1CBF,
        "size": len(content) if size is None else size,
        "name": "C:\\WAYS.OUT",
    }
    half = len(content) // 2
    sections = [("file", head), ("file_data", content[:half]), ("file_data", content[half:])]
    return build_record("file", ident(ordinal, nonce), sections)  # type: ignore[arg-type]
