"""What a test machine may have besides: memory managers, maps and tables of later BIOSes, PCI, device drivers.

All of it is invented and absent unless asked for: ``replace(LATE, extras=Extras(xms=Xms()))``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

FpuKind = Literal["i8087", "i80287", "i80387"]
Leaf = tuple[int, int, int, int, int, int]
PCI_SPACE: Final = 256


@dataclass(frozen=True)
class Xms:
    """A manager of extended memory. version in BCD."""

    version: int = 0x0300
    revision: int = 0x0309
    hma: bool = True
    a20: bool = True
    largest_kb: int = 3072
    free_kb: int = 4096


@dataclass(frozen=True)
class Ems:
    """A manager of expanded memory. version in BCD; pages of 16 KB."""

    version: int = 0x40
    frame: int = 0xE000
    pages: int = 128
    free_pages: int = 96
    handles: int = 2


@dataclass(frozen=True)
class Vbe:
    """What INT 10h AX=4F00h tells. version in BCD."""

    version: int = 0x0200
    oem: str = "Box display BIOS"
    memory_64kb: int = 16
    vendor: str = "Box works"
    product: str = "Box display"
    revision: str = "1.0"
    modes: tuple[int, ...] = (0x100, 0x101, 0x103)


@dataclass(frozen=True)
class PciFunction:
    """One function on the PCI bus. code: class and subclass. registers: octets by their offset."""

    bus: int
    device: int
    function: int
    vendor: int
    ident: int
    code: int = 0
    several: bool = False
    registers: tuple[tuple[int, int], ...] = ()

    def space(self) -> bytes:
        """The configuration space."""
        octets = bytearray(PCI_SPACE)
        octets[0:4] = self.vendor.to_bytes(2, "little") + self.ident.to_bytes(2, "little")
        octets[0x0A:0x0C] = self.code.to_bytes(2, "little")
        octets[0x0E] = 0x80 if self.several else 0
        for offset, value in self.registers:
            octets[offset] = value
        return bytes(octets)


@dataclass(frozen=True)
class Extras:
    """leaves: further CPUID leaves (leaf, subleaf, EAX, EBX, ECX, EDX). cache_bits: CR0's NW (1) and CD (2).

    memory_map: E820's ranges (base, length, kind). pci: functions, None for no PCI BIOS. dmi: a table as
    ``dmi_table`` makes it. display_rom: text in a ROM at C000:0000. drivers: names of character devices, loaded
    in that order; vectors that each takes: (name, vector). endless_map: the map of memory never ends.
    """

    fpu_kind: FpuKind = "i80387"
    leaves: tuple[Leaf, ...] = ()
    cache_bits: int = 0
    memory_map: tuple[tuple[int, int, int], ...] = ()
    endless_map: bool = False
    xms: Xms | None = None
    ems: Ems | None = None
    vbe: Vbe | None = None
    pci: tuple[PciFunction, ...] | None = None
    dmi: bytes = b""
    pnp: bool = False
    display_rom: str = ""
    drivers: tuple[str, ...] = ()
    taken: tuple[tuple[str, int], ...] = ()
    dos_high: bool = False


NOTHING: Final = Extras()


def dmi_table(structures: Sequence[tuple[int, bytes, Sequence[str]]]) -> bytes:
    """A table of the desktop management interface: (type, what follows type, length and handle, texts) each."""
    table = b""
    for handle, (kind, body, texts) in enumerate(structures):
        head = bytes([kind, 4 + len(body)]) + handle.to_bytes(2, "little")
        table += head + body + (b"".join(text.encode("cp437") + b"\0" for text in texts) or b"\0") + b"\0"
    return table
