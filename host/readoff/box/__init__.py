"""A PC in a box: an embedded test machine that runs real DOS programs, deterministically.

It is a test machine, not a product's likeness: enough processor, BIOS, DOS, timer, clock, serial port and
text display for READOFF.COM and the sample programs, with the habits of real DOS that an emulator's own
DOS is kinder about, and with ways to inject faults.
"""

from readoff.box.drives import Drive
from readoff.box.hierarchy import CacheLevel
from readoff.box.machine import Box, Exit
from readoff.box.spec import AT, LATE, XT, MachineSpec, Processor

__all__ = ["AT", "LATE", "XT", "Box", "CacheLevel", "Drive", "Exit", "MachineSpec", "Processor"]
