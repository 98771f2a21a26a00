"""The BIOS: power-on setting up of guest memory, and INT 11h to 1Ah behind the ROM's gates."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Final

from readoff.box import images
from readoff.box.cmos import RealTimeClock, from_bcd, to_bcd
from readoff.box.drives import Drives
from readoff.box.engine import FLAG_CARRY, FLAG_ZERO, Engine
from readoff.box.extra_services import ExtraServices
from readoff.box.keyboard import Keyboard
from readoff.box.memory import MEGABYTE
from readoff.box.spec import MachineSpec, Processor

BDA: Final = 0x400
ROM: Final = images.ROM_SEGMENT << 4
COM_BASES: Final = (0x3F8, 0x2F8, 0x3E8, 0x2E8)
STACK_USE: Final = 40  # octets below the caller's stack pointer that a BIOS service overwrites
PARAGRAPHS_A_KB: Final = 64
SECTOR: Final = 512
DISK_TURN: Final = 10**12 // 60  # picoseconds, of a disk of 3,600 turns a minute


class Bios:
    """Serves the gates of the ROM. ``reset`` is called when the guest starts the machine anew."""

    def __init__(
        self,
        engine: Engine,
        spec: MachineSpec,
        keyboard: Keyboard,
        rtc: RealTimeClock | None,
        drives: Drives,
    ) -> None:
        self._engine = engine
        self._memory = engine.memory
        self._registers = engine.registers
        self._spec = spec
        self._keyboard = keyboard
        self._rtc = rtc
        self._drives = drives
        self.image = images.rom()
        self.sectors_read = 0
        self.reset: Callable[[str], None] = lambda how: None
        self.extras: ExtraServices | None = None

    # -- power-on ---------------------------------------------------------------------------------
    def load_rom(self) -> None:
        """The ROM with this machine's date, model and words, and an octet that makes its sum zero."""
        rom, spec, at = bytearray(self.image.octets), self._spec, self.image.at
        origin = self.image.origin

        def put(offset: int, octets: bytes) -> None:
            rom[offset - origin : offset - origin + len(octets)] = octets

        put(at.date, spec.rom_date.encode("ascii")[:8].ljust(8))
        put(at.model, bytes([spec.model]))
        put(at.ident, spec.rom_text.encode("cp437")[:63])
        features = 0x70 if spec.rtc else 0x00
        put(at.system_table + 2, bytes([spec.model, spec.submodel, spec.revision, features, 0x40]))
        self._memory.octets[ROM : ROM + 0x10000] = b"\xff" * 0x10000
        rom[-1] = -(sum(rom[:-1]) + 0xFF * (0x10000 - len(rom))) & 0xFF
        self._engine.load(ROM + origin, bytes(rom))

    def start(self, *, cold: bool, ticks: int, keep: bytes) -> None:
        """Vectors and BIOS data area. keep: 16 octets for 40:F0, zeros after a reset."""
        memory, spec, at = self._memory, self._spec, self.image.at
        memory.octets[0:0x600] = bytes(0x600)
        for number in range(0x78):
            self.set_vector(number, images.ROM_SEGMENT, at.nothing)
        for number in range(0x60, 0x68):
            self.set_vector(number, 0, 0)
        names = "int05 int08 int09 int10 int11 int12 int13 int14 int15 int16 int17 int18 int19 int1a".split()
        for name in names:
            self.set_vector(int(name[3:], 16), images.ROM_SEGMENT, getattr(at, name))
        self.set_vector(0x1E, images.ROM_SEGMENT, at.disk_table)
        self.set_vector(0x1F, images.ROM_SEGMENT, at.font)
        for i in range(spec.serial_ports if spec.uart != "none" else 0):
            memory.put_word(BDA + 2 * i, COM_BASES[i])
        memory.put_word(BDA + 0x10, self.equipment())
        memory.put_word(BDA + 0x13, self.conventional_kb())
        if spec.ebda:
            memory.put_word(BDA + 0x0E, self.conventional_kb() * PARAGRAPHS_A_KB)
            memory.octets[self.conventional_kb() * 1024] = 1
        memory.put_word(BDA + 0x6C, ticks & 0xFFFF)
        memory.put_word(BDA + 0x6E, ticks >> 16)
        memory.put_word(BDA + 0x72, 0 if cold else 0x1234)
        memory.octets[BDA + 0x75] = sum(not self._drives[d].removable for d in self._drives.letters)
        memory.octets[BDA + 0xF0 : BDA + 0x100] = keep
        self._keyboard.start()

    def set_vector(self, number: int, segment: int, offset: int) -> None:
        """Point a vector somewhere."""
        self._memory.put_word(4 * number, offset)
        self._memory.put_word(4 * number + 2, segment)

    def conventional_kb(self) -> int:
        """INT 12h."""
        return self._spec.conventional_kb - (1 if self._spec.ebda else 0)

    def equipment(self) -> int:
        """INT 11h's word."""
        floppies = sum(self._drives[d].removable for d in self._drives.letters)
        display = {"mda": 0x30, "cga": 0x20}.get(self._spec.display, 0x00)
        ports = self._spec.serial_ports if self._spec.uart != "none" else 0
        word = display | ports << 9 | (2 if self._spec.fpu else 0)
        return word | ((floppies - 1) << 6 | 1 if floppies else 0)

    # -- gates ------------------------------------------------------------------------------------
    def scribble(self) -> None:
        """Overwrite what a service of a real BIOS would use of the caller's stack."""
        registers = self._registers
        base, top = registers.ss << 4, registers.sp
        if top >= STACK_USE and base + top <= MEGABYTE:
            self._memory.octets[base + top - STACK_USE : base + top] = b"\xcc" * STACK_USE

    def _flag(self, mask: int, on: bool, depth: int = 4) -> None:
        """A flag in the interrupt's frame on the stack."""
        address = ((self._registers.ss << 4) + self._registers.sp + depth) & 0xFFFFF
        flags = self._memory.word(address)
        self._memory.put_word(address, flags | mask if on else flags & ~mask)

    def gate_int11(self) -> None:
        """Equipment."""
        self._registers.ax = self._memory.word(BDA + 0x10)

    def gate_int12(self) -> None:
        """Conventional memory."""
        self._registers.ax = self._memory.word(BDA + 0x13)

    def gate_int13(self) -> None:
        """Disks: 00 reset, 02 read (of fixed disks: zeros), 08 parameters, 15 kind. Others are not there."""
        registers = self._registers
        function, drive = registers.ax >> 8, registers.dx & 0xFF
        letters = [d for d in self._drives.letters if self._drives[d].removable != bool(drive & 0x80)]
        present = drive & 0x7F < len(letters)
        self._flag(FLAG_CARRY, not present or function not in (0x00, 0x02, 0x08, 0x15))
        if function == 0x00 and present:
            registers.ax &= 0x00FF
        elif function == 0x08 and present:
            sectors = self._drives[letters[drive & 0x7F]].capacity // 512
            heads, per_track = (2, 18) if drive < 0x80 else (16, 63)
            cylinders = min(1024, max(1, sectors // (heads * per_track)))
            registers.ax &= 0x00FF
            registers.bx = registers.bx & 0xFF00 | 4
            registers.cx = (cylinders - 1 & 0xFF) << 8 | (cylinders - 1) >> 2 & 0xC0 | per_track
            registers.dx = (heads - 1) << 8 | len(letters)
            if drive < 0x80:
                registers.es, registers.di = images.ROM_SEGMENT, self.image.at.disk_table
        elif function == 0x02 and present and drive & 0x80 and registers.ax & 0xFF:
            self._read_sectors(registers.ax & 0xFF)
        elif function == 0x15 and present:
            registers.ax = registers.ax & 0xFF | (0x0300 if drive & 0x80 else 0x0200)
        else:
            registers.ax = registers.ax & 0xFF | 0x0100

    def _read_sectors(self, count: int) -> None:
        """Zeros, after the time of a turn of the disk."""
        registers = self._registers
        start = (registers.es << 4) + registers.bx
        if start >> 16 != (start + count * SECTOR - 1) >> 16:
            registers.ax = 0x0900  # a page of the DMA would be crossed
            self._flag(FLAG_CARRY, True)
            return
        self._memory.octets[start : start + count * SECTOR] = bytes(count * SECTOR)
        self._engine.advance(DISK_TURN)
        registers.ax = count
        self.sectors_read += count

    def gate_int15(self) -> None:
        """88h, E801h, C0h, 86h, 87h; all else is not supported (CF = 1, AH = 86h)."""
        registers, spec = self._registers, self._spec
        ax = registers.ax
        function = ax >> 8
        if self.extras is not None and self.extras.serve_15():
            return
        at_or_later = spec.processor >= Processor.I80286
        self._flag(FLAG_CARRY, False)
        if function == 0x88 and at_or_later:
            registers.ax = min(spec.extended_kb, 0xFC00)
        elif ax == 0xE801 and spec.processor >= Processor.I80386:
            low = min(spec.extended_kb, 0x3C00)
            registers.ax = registers.cx = low
            registers.bx = registers.dx = (spec.extended_kb - low) // 64
        elif function == 0xC0 and at_or_later:
            registers.es, registers.bx = images.ROM_SEGMENT, self.image.at.system_table
            registers.ax &= 0x00FF
        elif function == 0x86 and at_or_later:
            self._engine.advance((registers.cx << 16 | registers.dx) * 10**6)
            registers.ax &= 0x00FF
        elif function == 0x4F:
            self._flag(FLAG_CARRY, True)  # take the key
        else:
            registers.ax = registers.ax & 0xFF | 0x8600
            self._flag(FLAG_CARRY, True)

    def gate_int16(self) -> None:
        """Keyboard: 00 01 02 05 and, on enhanced keyboards, 10 11 12."""
        registers = self._registers
        function = registers.ax >> 8
        enhanced = bool(function & 0x10)
        if enhanced and not self._spec.enhanced_keyboard:
            return
        if function & 0x0F == 0x00:
            registers.ax = self._keyboard.take(enhanced) or 0
        elif function & 0x0F == 0x01:
            key = self._keyboard.peek(enhanced)
            self._flag(FLAG_ZERO, key is None)
            if key is not None:
                registers.ax = key
        elif function & 0x0F == 0x02:
            registers.ax = registers.ax & 0xFF00 | self._memory.octets[BDA + 0x17]
        elif function == 0x05 and self._spec.enhanced_keyboard:
            registers.ax = registers.ax & 0xFF00 | (not self._keyboard.store(registers.cx))

    def gate_key_ready(self) -> None:
        """AL for the wait of INT 16h."""
        ready = self._keyboard.peek(True) is not None
        self._registers.ax = self._registers.ax & 0xFF00 | ready

    def gate_key(self) -> None:
        """INT 9."""
        is_break = self._keyboard.translate()
        self._registers.ax = self._registers.ax & 0xFF00 | is_break

    def gate_int18(self) -> None:
        """No BASIC in ROM: the machine stops being used; as a reset for whoever looks."""
        self.reset("INT 18h")

    def gate_int19(self) -> None:
        """Boot."""
        self.reset("INT 19h")

    def gate_reset(self) -> None:
        """FFFF:0."""
        self.reset("FFFF:0000")

    def gate_int1a(self) -> None:
        """Time of day: 00 and 01 ticks, 02 to 05 the RTC where there is one; B1h only among the extras."""
        registers, memory = self._registers, self._memory
        if self.extras is not None and self.extras.serve_1a():
            return
        function = registers.ax >> 8
        if function == 0x00:
            registers.dx, registers.cx = memory.word(BDA + 0x6C), memory.word(BDA + 0x6E)
            registers.ax = registers.ax & 0xFF00 | memory.octets[BDA + 0x70]
            memory.octets[BDA + 0x70] = 0
        elif function == 0x01:
            memory.put_word(BDA + 0x6C, registers.dx)
            memory.put_word(BDA + 0x6E, registers.cx)
            memory.octets[BDA + 0x70] = 0
        elif self._rtc is None or function not in (2, 3, 4, 5):
            self._flag(FLAG_CARRY, True)
        else:
            self._flag(FLAG_CARRY, False)
            self._serve_rtc(self._rtc, function)

    def _serve_rtc(self, rtc: RealTimeClock, function: int) -> None:
        registers = self._registers
        shown = rtc.time()
        if function == 2:
            registers.cx = to_bcd(shown.hour) << 8 | to_bcd(shown.minute)
            registers.dx = to_bcd(shown.second) << 8
        elif function == 4:
            registers.cx = to_bcd(shown.year // 100) << 8 | to_bcd(shown.year % 100)
            registers.dx = to_bcd(shown.month) << 8 | to_bcd(shown.day)
        else:
            cx, dx = registers.cx, registers.dx
            high, low = from_bcd(cx >> 8), from_bcd(cx & 0xFF)
            try:
                moment = (
                    shown.replace(hour=high, minute=low, second=from_bcd(dx >> 8))
                    if function == 3
                    else datetime.combine(
                        datetime(high * 100 + low, from_bcd(dx >> 8), from_bcd(dx & 0xFF)), shown.time()
                    )
                )
            except ValueError:
                self._flag(FLAG_CARRY, True)
                return
            rtc.set_time(moment)
