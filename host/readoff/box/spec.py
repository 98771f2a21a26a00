"""What a test machine is like: one frozen description, and three ready ones.

The machines are invented. Their speeds follow from a simple rule (clock.py) and stand for no real
product.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum
from typing import Final, Literal

from readoff.box.extras import NOTHING, Extras
from readoff.box.hierarchy import CacheLevel


class Processor(IntEnum):
    """Processor generations that the box can play; the value orders them by age."""

    I8086 = 86
    I80286 = 286
    I80386 = 386
    I80486 = 486


Display = Literal["mda", "cga", "ega", "vga"]
UartKind = Literal["8250", "16450", "16550a", "none"]


@dataclass(frozen=True)
class MachineSpec:
    """Everything that distinguishes one test machine from another.

    clock_hz: processor clock. clocks_per_octet: clocks for each octet of code fetched; all of a
    machine's speed follows from it. io_clocks: clocks for each port access. video_clocks: further
    clocks for each write to text video memory (0 costs nothing on the host either).
    caches, memory_clocks: levels, nearest first, and the further clocks of a data read that none of them
    serves; without either, data reads cost nothing (and nothing on the host).
    boot_spread, run_spread: standard deviation, as a fraction, of the speed between boots and between
    runs of a boot; drawn from seed, boot number and run number, so that they repeat exactly.
    cpuid: (highest leaf, leaf 1 EAX, leaf 1 EDX, vendor) or None; only from I80486 on.
    cmos: (index, value) pairs from 10h on that overrule what the box works out; the check sum follows
    unless 2Eh or 2Fh is given. uart_paced: octets take their time on the line and overrun; else all
    is there at once. break_on: DOS looks for Ctrl-C at every call (BREAK ON). ebda: 1 KB of conventional
    memory goes to the BIOS. extras: what is absent unless asked for, see extras.py.
    """

    name: str = "box"
    processor: Processor = Processor.I80286
    fpu: bool = False
    clock_hz: int = 8_000_000
    clocks_per_octet: float = 3.0
    io_clocks: int = 8
    video_clocks: int = 0
    caches: tuple[CacheLevel, ...] = ()
    memory_clocks: int = 0
    conventional_kb: int = 640
    extended_kb: int = 1024
    ebda: bool = False
    display: Display = "vga"
    uart: UartKind = "16450"
    uart_paced: bool = True
    serial_ports: int = 1
    pit_mode: Literal[2, 3] = 3
    enhanced_keyboard: bool = True
    rtc: bool = True
    started_at: datetime = datetime(1994, 5, 31, 6, 22)
    dos_version: tuple[int, int] = (5, 0)
    break_on: bool = False
    rom_text: str = "Test machine in software, no real product"
    rom_date: str = "05/31/91"
    model: int = 0xFC
    submodel: int = 1
    revision: int = 0
    cpuid: tuple[int, int, int, str] | None = None
    cmos: tuple[tuple[int, int], ...] = ()
    extras: Extras = NOTHING
    seed: int = 1
    boot_spread: float = 0.0
    run_spread: float = 0.0


XT: Final = MachineSpec(
    name="xt",
    processor=Processor.I8086,
    clock_hz=4_772_727,
    clocks_per_octet=4.0,
    extended_kb=0,
    display="cga",
    uart="8250",
    enhanced_keyboard=False,
    rtc=False,
    dos_version=(3, 30),
    rom_date="11/08/82",
    model=0xFE,
)
AT: Final = MachineSpec(name="at", display="ega")
LATE: Final = MachineSpec(
    name="late",
    processor=Processor.I80486,
    fpu=True,
    clock_hz=33_000_000,
    clocks_per_octet=2.0,
    conventional_kb=640,
    extended_kb=7168,
    uart="16550a",
    pit_mode=2,
    rom_date="12/15/93",
    cpuid=(1, 0x0480, 0x0001, "BoxProcessor"),
)
