"""A test machine that has everything a snapshot looks for. Invented; ids of PCI functions as in the sample values."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from readoff.box import LATE
from readoff.box.extras import Ems, Extras, PciFunction, Vbe, Xms, dmi_table

_BIOS: Final = (0, bytes([1, 2, 0, 0xF0, 3, 0]), ("Box BIOS", "1.0", "05/31/94"))
_SYSTEM: Final = (1, bytes([1, 2, 3, 4]), ("Box works", "Box one", "A", "a serial number"))
EXTRAS: Final = Extras(
    leaves=((2, 0, 0x03020101, 0, 0, 0x06040A42),),
    cache_bits=2,
    memory_map=((0, 0x9FC00, 1), (0xF0000, 0x10000, 2), (0x100000, 0x700000, 1)),
    xms=Xms(),
    ems=Ems(),
    vbe=Vbe(),
    pci=(
        PciFunction(0, 0, 0, 0x8086, 0x1237, 0x0600, registers=((0x06, 0x80), (0x50, 0x12), (0xFF, 0x34))),
        PciFunction(0, 7, 0, 0x8086, 0x7000, 0x0601, several=True),
        PciFunction(0, 7, 1, 0x8086, 0x7010, 0x0101),
        PciFunction(1, 31, 7, 0x1234, 0x5678),
    ),
    dmi=dmi_table([_BIOS, _SYSTEM]),
    pnp=True,
    display_rom="Box display BIOS v1",
    drivers=("MOUSE$",),
    taken=(("MOUSE$", 0x33),),
    dos_high=True,
)
FULL: Final = replace(LATE, name="full", cpuid=(2, 0x052C, 0x01BF, "BoxProcessor"), extras=EXTRAS)
