"""Files out of raw disk images: FAT12 and FAT16, floppies and the partitions of a hard disk. Octets in, files out.

Layout: Microsoft's FAT specification (boot sector, table, folder entries; FAT12 below 4,085 clusters, FAT16 below
65,525). Floppies of DOS 1 to 3 may lack the parameter block: their layout follows from the size, as long as the
table's first octet is the media descriptor that belongs to it.

Names are text for a person and never become paths of the host. An image is hostile: chains may loop or leave it,
sizes may lie. What can be read of a file is given, with what is wrong with it.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from mmap import mmap

from readoff.contract import cp437
from readoff.contract.record import MAGIC
from readoff.errors import MalformedError
from readoff.floppy import ENTRY, FORMATS, SECTOR

Octets = bytes | mmap
"""An image: read, or mapped where it is a hard disk's."""

FILE_LIMIT = 64 << 20
"""Octets in the longest file that is looked at; a record has 1 MiB at most, so such a file holds many."""

FILES_LIMIT = 100_000
DEPTH_LIMIT = 16
VOLUMES_LIMIT = 24

_NOT_A_FILE = 0x08  # volume label; a long name has this bit set, too
_FOLDER = 0x10
_PARTITION_TYPES = {0x01, 0x04, 0x06, 0x0E}  # FAT12, FAT16 up to 32 MB, FAT16, FAT16 by LBA
_EXTENDED_TYPES = {0x05, 0x0F}  # a chain of tables, each with one logical drive and the next table


@dataclass(frozen=True)
class ImageFile:
    """One file of an image. name: with its folders, ``SPOOL/00000001.RDO``. problem: why octets are missing, or ""."""

    name: str
    octets: bytes
    problem: str = ""


@dataclass(frozen=True)
class _Layout:
    """A volume. begin: offset of its first octet; all else in sectors or entries, as the boot sector has it."""

    begin: int
    sector: int
    cluster: int
    reserved: int
    tables: int
    root_entries: int
    sectors: int
    table_sectors: int

    @property
    def table(self) -> int:
        return self.begin + self.reserved * self.sector

    @property
    def root(self) -> int:
        return self.table + self.tables * self.table_sectors * self.sector

    @property
    def data(self) -> int:
        size = self.root_entries * ENTRY
        return self.root + -(-size // self.sector) * self.sector

    @property
    def clusters(self) -> int:
        """How many there are; they are numbered from 2."""
        return (self.begin + self.sectors * self.sector - self.data) // (self.cluster * self.sector)


def is_image(octets: Octets) -> bool:
    """Whether octets are a disk image with a FAT volume that can be read."""
    return bool(_volumes(octets))


def files_in_image(octets: Octets) -> list[ImageFile]:
    """All files of all volumes. Raises MalformedError when there is no FAT12 or FAT16 volume."""
    volumes = _volumes(octets)
    if not volumes:
        raise MalformedError(
            "no FAT12 or FAT16 volume is in this image", next_step="Give the files, not the image."
        )
    return list(_files(octets, volumes))


def arrivals_in(octets: Octets, came_from: str) -> list[tuple[bytes, str]]:
    """What a file brings, with where each came from: itself; of a disk image the files in it that hold a record."""
    volumes = [] if octets[: len(MAGIC)] == MAGIC else _volumes(octets)
    if not volumes:
        return [(octets[:], came_from)]
    return [
        (each.octets, f"{came_from}: {each.name}" + (f" ({each.problem})" if each.problem else ""))
        for each in _files(octets, volumes)
        if MAGIC in each.octets
    ]


def _files(octets: Octets, volumes: list[_Layout]) -> Iterator[ImageFile]:
    for number, layout in enumerate(volumes, 1):
        prefix = f"volume {number}/" if len(volumes) > 1 else ""
        for name, content, problem in islice(_Volume(octets, layout).files(), FILES_LIMIT):
            yield ImageFile(prefix + name, content, problem)


def _volumes(octets: Octets) -> list[_Layout]:
    if len(octets) < 2 * SECTOR:
        return []
    whole = _by_parameter_block(octets, 0) or _by_size(octets)
    if whole is not None:
        return [whole]
    begins = islice(_partitions(octets), VOLUMES_LIMIT)
    return [layout for begin in begins if (layout := _by_parameter_block(octets, begin)) is not None]


def _partitions(octets: Octets) -> Iterator[int]:
    """Where the FAT partitions of a hard disk begin, then the logical drives of its extended partition."""
    extended = 0
    for kind, first in _table(octets, 0):
        if kind in _PARTITION_TYPES:
            yield first
        elif kind in _EXTENDED_TYPES:
            extended = extended or first
    at, seen = extended, {0}
    while at not in seen:
        seen.add(at)
        here, at = at, 0
        for kind, first in _table(octets, here):
            if kind in _PARTITION_TYPES:
                yield here + first
            elif kind in _EXTENDED_TYPES:
                at = extended + first


def _table(octets: Octets, at: int) -> list[tuple[int, int]]:
    """(type, offset) of the four entries of the partition table in the sector there."""
    sector = octets[at : at + SECTOR]
    if sector[510:] != b"\x55\xaa":
        return []
    return [
        (sector[entry + 4], struct.unpack_from("<I", sector, entry + 8)[0] * SECTOR)
        for entry in range(0x1BE, 0x1FE, 16)
    ]


def _by_parameter_block(octets: Octets, begin: int) -> _Layout | None:
    """The volume whose boot sector is at ``begin``, or None where its parameters make no sense."""
    if begin + SECTOR > len(octets):
        return None
    sector, cluster, reserved, tables, root, sectors, media, table_sectors = struct.unpack_from(
        "<HBHBHHBH", octets, begin + 11
    )
    sectors = sectors or struct.unpack_from("<I", octets, begin + 32)[0]
    layout = _Layout(begin, sector, cluster, reserved, tables, root, sectors, table_sectors)
    sound = (
        sector in (128, 256, 512, 1024, 2048, 4096)
        and cluster in (1, 2, 4, 8, 16, 32, 64, 128)
        and reserved > 0
        and tables in (1, 2)
        and root > 0
        and table_sectors > 0
        and media >= 0xF0
    )
    return layout if sound and _fits(octets, layout) else None


def _by_size(octets: Octets) -> _Layout | None:
    known = FORMATS.get(len(octets) // SECTOR)
    if (
        known is None
        or len(octets) % SECTOR
        or octets[SECTOR : SECTOR + 3] != bytes([known.media, 0xFF, 0xFF])
    ):
        return None
    sectors = len(octets) // SECTOR
    return _Layout(0, SECTOR, known.cluster, 1, 2, known.root_entries, sectors, known.table_sectors)


def _fits(octets: Octets, layout: _Layout) -> bool:
    """Whether the table is there, and long enough for the clusters. An image may be cut short behind it."""
    bits = 12 if layout.clusters < 4085 else 16
    needed = -(-(layout.clusters + 2) * bits // 8)
    return (
        0 < layout.clusters < 65_525
        and needed <= layout.table_sectors * layout.sector
        and layout.data <= len(octets)
    )


class _Volume:
    """Reads one volume."""

    def __init__(self, octets: Octets, layout: _Layout) -> None:
        self.octets, self.layout = octets, layout
        self.cluster_size = layout.cluster * layout.sector
        self.wide = layout.clusters >= 4085
        self._folders_seen: set[int] = set()
        self._left = 2 * len(octets)  # octets to be given at most: entries may share clusters

    def files(self) -> Iterator[tuple[str, bytes, str]]:
        """(name, octets, problem) of each file, folder by folder."""
        root = self.octets[self.layout.root : self.layout.root + self.layout.root_entries * ENTRY]
        yield from self._folder(root, "", 0)

    def _folder(self, entries: bytes, prefix: str, depth: int) -> Iterator[tuple[str, bytes, str]]:
        for at in range(0, len(entries) - ENTRY + 1, ENTRY):
            entry = entries[at : at + ENTRY]
            if entry[0] == 0:
                return
            attributes = entry[11]
            first, size = struct.unpack_from("<HI", entry, 26)
            if entry[0] in b"\xe5." or attributes & _NOT_A_FILE:
                continue
            name = prefix + _name(entry)
            if not attributes & _FOLDER:
                yield name, *self._content(first, size)
            elif first not in self._folders_seen and depth < DEPTH_LIMIT:
                self._folders_seen.add(first)
                yield from self._folder(self._chain(first, self.layout.clusters)[0], name + "/", depth + 1)

    def _content(self, first: int, size: int) -> tuple[bytes, str]:
        wanted = min(size, FILE_LIMIT)
        octets, problem = self._chain(first, -(-wanted // self.cluster_size))
        octets, problem = octets[:wanted], problem or "no more is looked at"
        if len(octets) < size:
            return octets, f"{len(octets)} of {size} octets are there: {problem}"
        return octets, ""

    def _chain(self, cluster: int, most: int) -> tuple[bytes, str]:
        """The octets of at most ``most`` clusters from one on, and why the chain ends there."""
        if self._left <= 0:
            return b"", "the files have more octets than the image"
        pieces: list[bytes] = []
        seen: set[int] = set()
        while len(pieces) < most:
            if not 2 <= cluster < self.layout.clusters + 2:
                return b"".join(pieces), "the chain of clusters ends too soon"
            if cluster in seen:
                return b"".join(pieces), "the chain of clusters goes in a circle"
            seen.add(cluster)
            begin = self.layout.data + (cluster - 2) * self.cluster_size
            piece = self.octets[begin : begin + self.cluster_size]
            pieces.append(piece)
            self._left -= len(piece)
            if len(piece) < self.cluster_size:
                return b"".join(pieces), "the image ends there"
            cluster = self._next(cluster)
        return b"".join(pieces), ""

    def _next(self, cluster: int) -> int:
        if self.wide:
            return int(struct.unpack_from("<H", self.octets, self.layout.table + 2 * cluster)[0])
        pair = int(struct.unpack_from("<H", self.octets, self.layout.table + cluster * 3 // 2)[0])
        return pair >> 4 if cluster % 2 else pair & 0xFFF


def _name(entry: bytes) -> str:
    """``NAME.EXT`` of a folder entry; a first octet 05 stands for E5."""
    octets = b"\xe5" + entry[1:11] if entry[0] == 5 else entry[:11]
    stem, ending = (cp437.glyphs(part.rstrip(b" ")) for part in (octets[:8], octets[8:]))
    return f"{stem}.{ending}" if ending else stem
