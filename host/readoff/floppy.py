"""A raw image of a freshly formatted floppy with files in its root. Files in, octets out; pure.

Layout: FAT12 as in Microsoft's FAT specification. The formats are those that DOS's FORMAT made (from memory; mtools
makes the same, and a test compares).
"""

from __future__ import annotations

import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from readoff.contract.dos_time import to_dos
from readoff.errors import UsageError

SECTOR = 512
ENTRY = 32
_TABLES = 2
_ARCHIVE = 0x20
_LAST = 0xFFF
_NAME = re.compile(r"[A-Z0-9_$~!#%&(){}@^'`-]{1,8}(\.[A-Z0-9_$~!#%&(){}@^'`-]{1,3})?")


@dataclass(frozen=True)
class Format:
    """A floppy's layout. root_entries: files that its root can hold; the rest in sectors."""

    media: int
    cluster: int
    root_entries: int
    table_sectors: int
    track: int
    heads: int


# By sectors in all.
FORMATS = {
    320: Format(0xFE, 1, 64, 1, 8, 1),
    360: Format(0xFC, 1, 64, 2, 9, 1),
    640: Format(0xFF, 2, 112, 1, 8, 2),
    720: Format(0xFD, 2, 112, 2, 9, 2),
    1440: Format(0xF9, 2, 112, 3, 9, 2),
    2400: Format(0xF9, 1, 224, 7, 15, 2),
    2880: Format(0xF0, 1, 224, 9, 18, 2),
}

# What runs when somebody starts a machine from this disk: it says that there is no system on it, and goes on when a
# key is pressed. 8086 code for offset 7C3Eh; a test assembles the same from its source.
_BOOT = bytes.fromhex("FA31C08ED0BC007C8ED8FBBE607CAC84C07409B40EBB0700CD10EBF231C0CD16CD19")
_SAYS = b"No system is on this disk. Take it out, then press a key.\r\n\0"


def floppy_image(sectors: int, files: Mapping[str, bytes], when: datetime, label: str = "READOFF") -> bytes:
    """The image. sectors: one of FORMATS. files: 8.3 name in capitals -> octets, in this order. when: their time.

    Raises UsageError for a name that DOS does not take, or when they do not fit.
    """
    layout = FORMATS[sectors]
    if len(files) + 1 > layout.root_entries:
        raise UsageError(f"{len(files)} files are too many for the root of this disk")
    table = [0xF00 | layout.media, _LAST]
    root, data = [_entry(label.ljust(11), 0x08, 0, b"", when)], bytearray()
    size = layout.cluster * SECTOR
    for name, octets in files.items():
        clusters = -(-len(octets) // size)
        first = len(table) if clusters else 0
        table += [*range(first + 1, first + clusters), _LAST] if clusters else []
        root.append(_entry(_packed(name), _ARCHIVE, first, octets, when))
        data += octets.ljust(clusters * size, b"\0")
    head = _boot_sector(sectors, layout, label, when) + _TABLES * _table(table).ljust(
        layout.table_sectors * SECTOR, b"\0"
    )
    image = head + b"".join(root).ljust(layout.root_entries * ENTRY, b"\0")
    room = sectors * SECTOR - len(image)
    if len(data) > room:
        raise UsageError(f"the files need {len(data)} octets, and this disk has {room}")
    return image + bytes(data).ljust(room, b"\xf6")  # F6h: what FORMAT fills sectors with


def _boot_sector(sectors: int, layout: Format, label: str, when: datetime) -> bytes:
    block = struct.pack(
        "<3s8sHBHBHHBHHHII",
        b"\xeb\x3c\x90",
        b"READOFF ",
        SECTOR,
        layout.cluster,
        1,
        _TABLES,
        layout.root_entries,
        sectors,
        layout.media,
        layout.table_sectors,
        layout.track,
        layout.heads,
        0,
        0,
    )
    date, time = to_dos(when)
    block += struct.pack("<BBBI11s8s", 0, 0, 0x29, date << 16 | time, label.ljust(11).encode(), b"FAT12   ")
    return (block + _BOOT + _SAYS).ljust(SECTOR - 2, b"\0") + b"\x55\xaa"


def _table(entries: list[int]) -> bytes:
    """FAT12: three octets for two entries."""
    padded = entries + [0] * (len(entries) % 2)
    pairs = zip(padded[::2], padded[1::2], strict=True)
    return b"".join((low | high << 12).to_bytes(3, "little") for low, high in pairs)


def _packed(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise UsageError(f"{name!r} is no name of 8.3 in capitals")
    stem, _, extension = name.partition(".")
    return f"{stem:8}{extension:3}"


def _entry(name: str, attributes: int, first: int, octets: bytes, when: datetime) -> bytes:
    date, time = to_dos(when)
    return struct.pack("<11sB10xHHHI", name.encode("ascii"), attributes, time, date, first, len(octets))
