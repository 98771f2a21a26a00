"""What stands in ROM and on the PCI bus, as facts: memory map, display BIOS, DMI and plug and play tables. Pure.

Offsets in DMI structures and the compressed identifier of plug and play: from memory of the published specifications.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from readoff.contract import cp437
from readoff.snapshots.fact import Fact, as_text, printable

_RANGE_KINDS = {1: "usable", 2: "reserved", 3: "ACPI tables", 4: "ACPI, to be kept", 5: "bad"}
# Of each type: its name, and what texts it has at which offset.
_DMI_TEXTS = {
    0: ("bios", {4: "vendor", 5: "version", 8: "date"}),
    1: ("system", {4: "maker", 5: "product", 6: "version"}),
    2: ("board", {4: "maker", 5: "product", 6: "version"}),
    4: ("processor", {4: "socket", 7: "maker", 16: "version"}),
    7: ("cache", {4: "socket"}),
    9: ("slot", {4: "name"}),
    17: ("memory", {16: "place", 17: "bank"}),
}
_DMI_WORDS = {4: {0x12: ("clock", "MHz"), 0x16: ("speed", "MHz")}, 17: {0x0C: ("size", "MB")}}
_DMI_END = 127


def of_e820(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Each range by where it begins."""
    seen: dict[str, int] = {}
    for each in values["ranges"]:
        base = each["base_high"] << 32 | each["base_low"]
        length = each["length_high"] << 32 | each["length_low"]
        name = f"{prefix}.{base:08X}"
        seen[name] = seen.get(name, 0) + 1
        kind = _RANGE_KINDS.get(each["kind"], f"kind {each['kind']}")
        size = f"{length // 1024} KB" if length % 1024 == 0 else f"{length} octets"
        end = f"to {max(base, base + length - 1):08X}"
        yield Fact(name if seen[name] == 1 else f"{name}.{seen[name]}", f"{end}, {size}, {kind}")


def of_display_rom(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Size, sum and the texts at its beginning."""
    yield Fact(f"{prefix}.size", str(values["blocks"] * 512), "octets")
    yield Fact(f"{prefix}.sum", f"{values['sum']:08X}h")
    yield Fact(f"{prefix}.text", printable(values["head"]))


def of_vbe(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Version, memory, texts and modes."""
    yield Fact(f"{prefix}.version", bcd_version(values["version"]))
    yield Fact(f"{prefix}.memory_kb", str(values["memory_64kb"] * 64), "KB")
    yield Fact(f"{prefix}.capabilities", f"{values['capabilities']:08X}h")
    for name in ("oem", "vendor", "product", "revision"):
        if values[name]:
            yield Fact(f"{prefix}.{name}", str(values[name]))
    if values["oem_revision"]:
        yield Fact(f"{prefix}.oem_revision", bcd_version(values["oem_revision"]))
    yield Fact(f"{prefix}.modes", " ".join(f"{mode:X}" for mode in values["modes"]))


def bcd_version(word: int) -> str:
    """Major in the high octet, minor in the low one, as their digits in hex say: 0102h is 1.2, 0310h 3.10."""
    return f"{word >> 8:X}.{word & 0xFF:X}"


def of_dmi(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Texts and numbers of the usual structures; serial numbers are left alone."""
    yield Fact(f"{prefix}.version", f"{values['version'] >> 4}.{values['version'] & 15}")
    yield Fact(f"{prefix}.structures", str(values["structures"]))
    table = bytes(values["table"])
    if len(table) < values["length"]:
        yield Fact(f"{prefix}.table", f"{len(table)} of {values['length']} octets could be had")
    counts: dict[int, int] = {}
    for kind, body, texts in structures(table):
        if kind not in _DMI_TEXTS:
            continue
        name, fields = _DMI_TEXTS[kind]
        number = counts[kind] = counts.get(kind, -1) + 1
        stem = f"{prefix}.{name}" + (f".{number}" if number else "")
        for offset, field in fields.items():
            index = body[offset] if offset < len(body) else 0
            if 0 < index <= len(texts) and texts[index - 1].strip():
                yield Fact(f"{stem}.{field}", texts[index - 1].strip())
        for offset, (field, unit) in _DMI_WORDS.get(kind, {}).items():
            number_at = int.from_bytes(body[offset : offset + 2], "little")
            if number_at not in (0, 0xFFFF):
                yield Fact(f"{stem}.{field}", str(number_at), unit)


def structures(table: bytes) -> Iterator[tuple[int, bytes, list[str]]]:
    """(type, formatted part with its head, texts) of each structure; ends where the octets make no sense."""
    at = 0
    while at + 4 <= len(table):
        kind, length = table[at], table[at + 1]
        end = table.find(b"\0\0", at + length)
        if length < 4 or at + length > len(table) or end < 0 or kind == _DMI_END:
            return
        texts = [cp437.decode(each) for each in table[at + length : end].split(b"\0") if each]
        yield kind, table[at : at + length], texts
        at = end + 2


def of_pnp(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Version, and the system board's identifier: three letters of five bits each and four digits."""
    yield Fact(f"{prefix}.version", f"{values['version'] >> 4}.{values['version'] & 15}")
    yield Fact(f"{prefix}.control", f"{values['control']:04X}h")
    octets = bytes(values["oem"])
    if any(octets):
        letters = int.from_bytes(octets[:2], "big")
        text = "".join(chr(0x40 + (letters >> shift & 31)) for shift in (10, 5, 0))
        yield Fact(f"{prefix}.oem", text + octets[2:].hex().upper())


def of_pci_bios(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Version, last bus, and the bits that tell how configuration space is reached."""
    yield Fact(f"{prefix}.version", bcd_version(values["version"]))
    yield Fact(f"{prefix}.mechanism", f"{values['mechanism']:02X}h")
    yield Fact(f"{prefix}.last_bus", str(values["last_bus"]))


def of_pci_device(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """One function by its place: bus:device.function."""
    place = f"{values['bus']:02X}:{values['function'] >> 3:02X}.{values['function'] & 7}"
    stem = f"{prefix}.{place}"
    yield Fact(f"{stem}.id", f"{values['vendor']:04X}:{values['device']:04X}")
    code = f"{values['class'] >> 8:02X}.{values['class'] & 0xFF:02X}.{values['interface']:02X}"
    yield Fact(f"{stem}.class", code)
    yield Fact(f"{stem}.revision", f"{values['revision']:02X}h")
    yield Fact(f"{stem}.command", f"{values['command']:04X}h")
    yield Fact(f"{stem}.status", f"{values['status']:04X}h", "", True)
    yield Fact(f"{stem}.header", as_text(bytes(values["header"])))
    yield Fact(f"{stem}.registers", as_text(bytes(values["registers"])))
