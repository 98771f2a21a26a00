"""Memory managers, device drivers, drives, disks and who owns each interrupt vector, as facts. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from readoff.contract import cp437
from readoff.contract.record import Record
from readoff.snapshots.fact import Fact
from readoff.snapshots.firmware_facts import bcd_version

_UNTOLD_WORD, _UNTOLD_OCTET = 0xFFFF, 0xFF
_CHARACTER = 0x8000
_SYSTEM_ROM = 0xF0000
_DISPLAY_ROM = 0xC0000
_MEGABYTE = 0x100000
_OWNER_DOS = 8
_OWNER_BROKEN = 0xFFFF
_FLOPPY_KINDS = {1: "360 KB", 2: "1.2 MB", 3: "720 KB", 4: "1.44 MB", 5: "2.88 MB", 6: "2.88 MB"}
_FIXED = 0x80


def of_xms(prefix: str, values: Mapping[str, Any], record: Record) -> Iterator[Fact]:
    """What the manager has, and whose it is."""
    yield Fact(f"{prefix}.version", bcd_version(values["version"]))
    yield Fact(f"{prefix}.revision", f"{values['revision']:04X}h")
    yield Fact(f"{prefix}.hma", str(values["hma"]))
    yield Fact(f"{prefix}.a20", str(values["a20"]), "", True)
    yield Fact(f"{prefix}.largest", str(values["largest_kb"]), "KB", True)
    yield Fact(f"{prefix}.free", str(values["free_kb"]), "KB", True)
    yield Fact(f"{prefix}.handler", Owners(record).of(values["segment"], values["offset"]))
    yield Fact(f"{prefix}.entry", f"{values['segment']:04X}:{values['offset']:04X}", "", True)


def of_ems(prefix: str, values: Mapping[str, Any], record: Record) -> Iterator[Fact]:
    """What the manager has, and whose it is."""
    yield Fact(f"{prefix}.version", f"{values['version'] >> 4}.{values['version'] & 15}")
    yield Fact(f"{prefix}.status", f"{values['status']:02X}h")
    yield Fact(f"{prefix}.frame", f"{values['frame']:04X}h" if values["frame"] else "none")
    yield Fact(f"{prefix}.total", str(values["pages"] * 16), "KB")
    yield Fact(f"{prefix}.free", str(values["free_pages"] * 16), "KB", True)
    yield Fact(f"{prefix}.handles", str(values["handles"]), "", True)
    yield Fact(f"{prefix}.handler", Owners(record).of(values["segment"], 0))
    yield Fact(f"{prefix}.segment", f"{values['segment']:04X}h", "", True)


def of_devices(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Character devices by name, block devices by their order; a second one of a name is numbered."""
    seen: dict[str, int] = {}
    for driver in values["drivers"]:
        attributes = driver["attributes"]
        if attributes & _CHARACTER:
            name, what = device_name(driver["name"]), "character"
        else:
            name, what = "block", f"block, {driver['name'][0]} units"
        seen[name] = number = seen.get(name, 0) + 1
        told = f"{prefix}.{name}" + (f".{number}" if number > 1 else "")
        yield Fact(told, f"{what}, attributes {attributes:04X}h")


def device_name(octets: bytes) -> str:
    """A character device's name; of octets that no name holds their hex."""
    text = octets.split(b"\0")[0].rstrip(b" ")
    return cp437.decode(text) if text and min(text) > 0x20 else octets.hex().upper()


def of_dos_setup(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """What CONFIG.SYS made of DOS; what this version does not tell is left out."""
    for name, unit in (("files", ""), ("fcbs", ""), ("buffers", ""), ("lookahead", "sectors")):
        if values[name] != _UNTOLD_WORD:
            yield Fact(f"{prefix}.{name}", str(values[name]), unit)
    if values["last_drive"] != _UNTOLD_OCTET:
        number = values["last_drive"]
        yield Fact(f"{prefix}.last_drive", chr(0x40 + number) if 0 < number <= 26 else str(number))
    if values["block_devices"] != _UNTOLD_OCTET:
        yield Fact(f"{prefix}.block_devices", str(values["block_devices"]))
    if values["largest_sector"] != _UNTOLD_WORD:
        yield Fact(f"{prefix}.largest_sector", str(values["largest_sector"]), "octets")
    yield Fact(f"{prefix}.in_high_memory", str(values["in_high_memory"]))


def of_drives(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Each drive by its letter; sizes of fixed ones."""
    for drive in values["drives"]:
        stem = f"{prefix}.{chr(drive['letter'])}"
        yield Fact(f"{stem}.kind", str(drive["kind"]))
        cluster = drive["sector_octets"] * drive["cluster_sectors"]
        if cluster:
            yield Fact(f"{stem}.size", str(cluster * drive["clusters"] // 1024), "KB")
            yield Fact(f"{stem}.cluster", str(cluster), "octets")
            yield Fact(f"{stem}.free", str(cluster * drive["free_clusters"] // 1024), "KB", True)


def of_disks(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Each disk of the BIOS by its number."""
    for disk in values["disks"]:
        stem = f"{prefix}.{disk['number']:02X}h"
        yield Fact(f"{stem}.kind", str(disk["kind"]))
        if disk["number"] < _FIXED and disk["floppy_kind"]:
            kind = disk["floppy_kind"]
            yield Fact(f"{stem}.floppy", _FLOPPY_KINDS.get(kind, f"kind {kind}"))
        if disk["cylinders"]:
            cylinders, heads, sectors = disk["cylinders"], disk["heads"], disk["sectors"]
            yield Fact(f"{stem}.geometry", f"{cylinders} cylinders, {heads} heads, {sectors} sectors")
            yield Fact(f"{stem}.size", str(cylinders * heads * sectors // 2), "KB")


_PROGRAMS_OWN = range(0x22, 0x25)


def of_vectors(prefix: str, values: Mapping[str, Any], record: Record) -> Iterator[Fact]:
    """The vectors of each owner, and the whole table, which is volatile.

    22h to 24h are the running program's: DOS sets them at each start and end (common practice, no source).
    """
    table = bytes(values["table"])
    owners = Owners(record)
    by_owner: dict[str, list[str]] = {}
    for number in range(len(table) // 4):
        offset = int.from_bytes(table[4 * number : 4 * number + 2], "little")
        segment = int.from_bytes(table[4 * number + 2 : 4 * number + 4], "little")
        if (offset or segment) and number not in _PROGRAMS_OWN:
            by_owner.setdefault(owners.of(segment, offset), []).append(f"{number:02X}")
    for name, numbers in by_owner.items():
        yield Fact(f"{prefix}.{name.replace(' ', '_')}", " ".join(numbers))
    yield Fact(f"{prefix}.table", table.hex(" ").upper(), "", True)


@dataclass(frozen=True)
class _Block:
    begin: int
    end: int
    owner: int
    name: str


OWNERS_FROM = ("residents", "devices", "display_rom")
"""The sections that tell whose memory is where."""


class Owners:
    """Whose memory an address is in, by a record's memory blocks, drivers and ROMs."""

    def __init__(self, record: Record) -> None:
        residents = record.values("residents") or {"blocks": []}
        self._blocks = [
            _Block(
                (each["segment"] + 1) * 16,
                (each["segment"] + 1 + each["paragraphs"]) * 16,
                each["owner"],
                str(each["name"]),
            )
            for each in residents["blocks"]
            if each["owner"] != _OWNER_BROKEN
        ]
        drivers = (record.values("devices") or {"drivers": []})["drivers"]
        segments = [each["segment"] for each in drivers]
        # Where several drivers share a segment it is DOS's own.
        self._drivers = {
            each["segment"]: device_name(each["name"])
            for each in drivers
            if segments.count(each["segment"]) == 1 and each["attributes"] & _CHARACTER
        }
        rom = record.values("display_rom")
        self._display_end = _DISPLAY_ROM + (rom["blocks"] * 512 if rom else 0)

    def of(self, segment: int, offset: int) -> str:
        """The owner's name."""
        place = segment * 16 + offset
        if place >= _MEGABYTE:
            return "high memory"
        if segment in self._drivers and place >= 0x600:
            return f"driver {self._drivers[segment]}"
        if place >= _SYSTEM_ROM:
            return "system BIOS"
        if _DISPLAY_ROM <= place < self._display_end:
            return "display BIOS"
        for block in self._blocks:
            if block.begin - 16 <= place < block.end:
                return self._of_block(block)
        if self._blocks and place < self._blocks[0].begin:
            return "DOS" if place >= 0x500 else "vectors and BIOS data"
        return f"memory at {segment & 0xF000:04X}h"

    @staticmethod
    def _of_block(block: _Block) -> str:
        if block.owner == 0:
            return "free memory"
        if block.owner == _OWNER_DOS:
            return "DOS"
        return block.name or "(no name)"
