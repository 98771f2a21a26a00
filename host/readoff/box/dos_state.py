"""What the parts of DOS share: the caller's frame, current drive and folders, date and time."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Final

from readoff.box import images
from readoff.box.clock import PIT_DENOMINATOR, PIT_NUMERATOR
from readoff.box.drives import Drives
from readoff.box.engine import Engine
from readoff.box.memory import Memory
from readoff.box.spec import MachineSpec

BDA_TICKS: Final = 0x46C
BDA_MIDNIGHT: Final = 0x470
KERNEL: Final = images.KERNEL_SEGMENT << 4
FLAG_CARRY: Final = 1


_FRAME_OFFSETS: Final = {
    name: 2 * i for i, name in enumerate("ax bx cx dx si di bp ds es ip cs flags".split())
}


class Frame:
    """The caller's registers where INT 21h pushed them. Attributes ax to flags are words in memory."""

    __slots__ = ("_address", "_memory")
    _address: int
    _memory: Memory
    ax: int
    bx: int
    cx: int
    dx: int
    si: int
    di: int
    bp: int
    ds: int
    es: int
    ip: int
    cs: int
    flags: int

    def __init__(self, memory: Memory, segment: int, offset: int) -> None:
        object.__setattr__(self, "_memory", memory)
        object.__setattr__(self, "_address", (segment << 4) + offset)

    def __getattr__(self, name: str) -> int:
        return self._memory.word((self._address + _FRAME_OFFSETS[name]) & 0xFFFFF)

    def __setattr__(self, name: str, value: int) -> None:
        self._memory.put_word((self._address + _FRAME_OFFSETS[name]) & 0xFFFFF, value)

    @property
    def al(self) -> int:
        """Low half of AX."""
        return self.ax & 0xFF

    def set_al(self, value: int) -> None:
        """Change AL only."""
        self.ax = self.ax & 0xFF00 | value

    def set_carry(self, on: bool) -> None:
        """CF of the caller."""
        self.flags = self.flags | FLAG_CARRY if on else self.flags & ~FLAG_CARRY


class DosState:
    """Variables of the kernel that have no place in guest memory, and access to those that have."""

    def __init__(
        self, engine: Engine, spec: MachineSpec, drives: Drives, kernel: images.Image, today: date
    ) -> None:
        self.engine = engine
        self.memory = engine.memory
        self.spec = spec
        self.drives = drives
        self.kernel = kernel
        self.folders: dict[str, str] = dict.fromkeys(drives.letters, "")
        self.drive = "C" if drives.get("C") else (drives.letters or ["C"])[0]
        self.dta = (0, 0x80)
        self.extended_error = 0
        self.verify = 0
        self.return_code = 0
        self.date = today

    @property
    def psp(self) -> int:
        """Segment of the running process's PSP."""
        return self.memory.word(KERNEL + self.kernel.at.current_psp)

    @psp.setter
    def psp(self, segment: int) -> None:
        self.memory.put_word(KERNEL + self.kernel.at.current_psp, segment)

    def now(self) -> datetime:
        """DOS's date and time: days counted at midnight, the time from the BIOS's ticks."""
        if self.memory.octets[BDA_MIDNIGHT]:
            self.memory.octets[BDA_MIDNIGHT] = 0
            self.date += timedelta(days=1)
        ticks = self.memory.word(BDA_TICKS) | self.memory.word(BDA_TICKS + 2) << 16
        # A tick is 65536 counts of 264/315 us.
        centiseconds = ticks * 65536 * PIT_NUMERATOR // PIT_DENOMINATOR // 10**10
        moment = datetime.combine(self.date, time())
        return moment + timedelta(milliseconds=10 * min(centiseconds, 24 * 360_000 - 1))

    def set_date(self, value: date) -> None:
        """2Bh."""
        self.date = value

    def set_time(self, value: time) -> None:
        """2Dh: sets the BIOS's ticks."""
        ticks = ticks_of(value)
        self.memory.put_word(BDA_TICKS, ticks & 0xFFFF)
        self.memory.put_word(BDA_TICKS + 2, ticks >> 16)


def ticks_of(value: time) -> int:
    """Ticks since midnight (18.20651 a second)."""
    seconds = value.hour * 3600 + value.minute * 60 + value.second
    microseconds = seconds * 10**6 + value.microsecond
    return microseconds * 10**6 * PIT_DENOMINATOR // PIT_NUMERATOR // 65536
