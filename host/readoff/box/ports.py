"""Which device answers at which port."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from readoff.box.bios import COM_BASES
from readoff.box.clock import InterruptController, IntervalTimer
from readoff.box.cmos import RealTimeClock
from readoff.box.keyboard import Keyboard
from readoff.box.uart import Uart
from readoff.box.video import Video

Read = Callable[[], int]
Write = Callable[[int], None]


class Ports:
    """Port accesses by number; ports without a device read FF. ``log`` notes them when it is a list."""

    def __init__(self, cost: Callable[[], None]) -> None:
        self._cost = cost
        self._reads: dict[int, Read] = {}
        self._writes: dict[int, Write] = {}
        self.log: list[tuple[str, int, int]] | None = None

    def add(self, port: int, read: Read | None, write: Write | None) -> None:
        """Put a device at a port."""
        if read is not None:
            self._reads[port] = read
        if write is not None:
            self._writes[port] = write

    def read(self, port: int) -> int:
        """IN."""
        self._cost()
        device = self._reads.get(port & 0x3FF)
        value = 0xFF if device is None else device() & 0xFF
        if self.log is not None:
            self.log.append(("in", port, value))
        return value

    def write(self, port: int, value: int) -> None:
        """OUT."""
        self._cost()
        if self.log is not None:
            self.log.append(("out", port, value))
        device = self._writes.get(port & 0x3FF)
        if device is not None:
            device(value)

    # -- devices ----------------------------------------------------------------------------------
    def add_timing(self, controller: InterruptController, timer: IntervalTimer) -> None:
        """20h, 21h, 40h-43h, 61h."""
        for port in (0x20, 0x21):
            self.add(port, partial(controller.read, port), partial(controller.write, port))
        for port in range(0x40, 0x44):
            self.add(port, partial(timer.read, port), partial(timer.write, port))
        self.add(0x61, timer.read_speaker, timer.write_speaker)

    def add_keyboard(self, keyboard: Keyboard, reset: Callable[[str], None] | None) -> None:
        """60h and, on an AT, 64h, 92h and the second interrupt controller's mask."""
        self.add(0x60, keyboard.scan, None)
        if reset is None:
            return
        second_mask = [0xFF]
        self.add(0xA1, lambda: second_mask[0], lambda value: second_mask.__setitem__(0, value))
        self.add(0x64, lambda: 0x14, lambda value: reset("port 64h") if value == 0xFE else None)
        self.add(0x92, lambda: 0x00, lambda value: reset("port 92h") if value & 1 else None)

    def add_cmos(self, rtc: RealTimeClock, read: Read) -> None:
        """70h and 71h. read: what reads 71h."""

        def select(value: int) -> None:
            rtc.index = value & 0x7F

        self.add(0x70, None, select)
        self.add(0x71, read, rtc.write)

    def add_uart(self, number: int, uart: Uart) -> None:
        """Eight registers at the usual base of COM(number)."""
        base = COM_BASES[number - 1]
        for register in range(8):
            self.add(base + register, partial(uart.read, register), partial(uart.write, register))

    def add_video(self, video: Video) -> None:
        """The status port of the adapter."""
        if planes := video.planes:
            for name, bases in (("sequencer", (0x3C4,)), ("graphics", (0x3CE,)), ("crtc", (0x3D4, 0x3B4))):
                for base in bases:
                    self.add(base, partial(planes.read_index, name), partial(planes.select, name))
                    self.add(base + 1, partial(planes.read, name), partial(planes.write, name))
        if planes and video.display == "vga":
            for port in (0x3C7, 0x3C8, 0x3C9):
                self.add(port, planes.dac_octet if port == 0x3C9 else None, partial(planes.dac_port, port))
        for port in {"mda": (0x3BA,), "cga": (0x3DA,)}.get(video.display, (0x3BA, 0x3DA)):
            self.add(port, video.read_status, None)
