"""The units that a schema may give to a metric; a schema can declare further ones of its own.

Names only, written as a report prints them. "" is a bare number.
"""

from __future__ import annotations

UNITS = frozenset(
    {
        "",
        "%",
        # time
        "h",
        "min",
        "s",
        "ms",
        "us",
        "ns",
        "ticks",
        "ticks/s",
        # frequency and rate
        "Hz",
        "kHz",
        "MHz",
        "frames",
        "frames/s",
        "passes",
        "passes/s",
        "loops",
        "loops/s",
        "operations",
        "operations/s",
        "points",
        "points/s",
        # amounts of data
        "bits",
        "octets",
        "KB",
        "MB",
        "sectors",
        "octets/s",
        "KB/s",
        "MB/s",
        "characters",
        "characters/s",
        "pixels",
        "pixels/s",
        # published programs' own
        "Dhrystones/s",
        "DMIPS",
        "KWIPS",
        "MWIPS",
        "flop",
        "flops",
        "kflops",
        "Mflops",
    }
)
