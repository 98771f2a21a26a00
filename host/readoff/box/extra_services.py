"""Installs a machine's extras (extras.py) in a boot and serves their interrupts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from readoff.box import images
from readoff.box.dos_memory import OWNER_DOS, DosMemory
from readoff.box.dos_state import KERNEL
from readoff.box.engine import EXTENDED, FLAG_CARRY, Engine
from readoff.box.extras import Extras, PciFunction, Vbe

_DMI_ENTRY: Final = 0xF0400
_DMI_TABLE: Final = 0xF0800
_PNP_ENTRY: Final = 0xF0500
_DISPLAY_ROM: Final = 0xC0000
_DISPLAY_BLOCKS: Final = 64
_VBE_TEXTS: Final = 0xC7000
_NOP: Final = 0x90
_IRET: Final = 0xCF
_RETF: Final = 0xCB
_CHARACTER_DEVICE: Final = 0x8000
_BLOCKS: Final = (0x05, 0x06, 0x09, 0x0A, 0x0C, 0x0D)  # functions of an XMS manager
_HANDLE: Final = 0x0B0B
_SUBSTITUTE: Final = "XMSXXXX0"
_EXPANDED: Final = "EMMXXXX0"


def _with_sum(octets: bytes, at: int, length: int) -> bytes:
    """Octets whose first ``length`` add up to 0 (mod 256), by the one at ``at``."""
    made = bytearray(octets)
    made[at] = -sum(made[:length]) & 0xFF
    return bytes(made)


def _structures(table: bytes) -> int:
    """How many there are: each ends with two NULs behind its texts."""
    count = at = 0
    while at < len(table):
        at = table.index(b"\0\0", at + table[at + 1]) + 2
        count += 1
    return count


class ExtraServices:
    """Extras at work. serve_15, serve_1a and serve_10 give False for what is not theirs."""

    def __init__(self, engine: Engine, extras: Extras) -> None:
        self._engine = engine
        self._memory = engine.memory
        self._registers = engine.registers
        self._extras = extras
        self._pci = {(f.bus, f.device << 3 | f.function): f.space() for f in extras.pci or ()}
        self.pci_reads = 0
        self.a20_asked = 0
        self._block_kb: int | None = None
        self._locked = False
        self._write_rom()

    # -- ROM --------------------------------------------------------------------------------------
    def _write_rom(self) -> None:
        extras = self._extras
        if extras.dmi:
            entry = b"_DMI_\0" + len(extras.dmi).to_bytes(2, "little") + _DMI_TABLE.to_bytes(4, "little")
            entry += _structures(extras.dmi).to_bytes(2, "little") + b"\x23"
            self._put(_DMI_ENTRY, _with_sum(entry, 5, 15))
            self._put(_DMI_TABLE, extras.dmi)
        if extras.pnp:
            entry = b"$PnP\x10\x21" + bytes(17) + bytes.fromhex("41D00A03") + bytes(6)
            self._put(_PNP_ENTRY, _with_sum(entry, 8, 0x21))
        if extras.display_rom:
            head = b"\x55\xaa" + bytes([_DISPLAY_BLOCKS, 0xCB]) + bytes(26)
            rom = (head + extras.display_rom.encode("cp437") + b"\0").ljust(_DISPLAY_BLOCKS * 512, b"\0")
            self._put(_DISPLAY_ROM, rom)
        self._vbe = _vbe_block(extras.vbe, self._put) if extras.vbe else b""

    def _put(self, address: int, octets: bytes) -> None:
        self._memory.octets[address : address + len(octets)] = octets

    # -- drivers ----------------------------------------------------------------------------------
    def load_drivers(self, blocks: DosMemory, nul_device: int) -> None:
        """Device drivers in memory of DOS's, in the chain behind NUL (linear address of its header)."""
        extras = self._extras
        names = [
            *([_SUBSTITUTE] if extras.xms else []),
            *([_EXPANDED] if extras.ems else []),
            *extras.drivers,
        ]
        for name in names:
            segment = blocks.allocate(4, OWNER_DOS)
            blocks.own(segment, OWNER_DOS, "SD")
            self._load_driver(segment, name, nul_device)

    def _load_driver(self, segment: int, name: str, nul_device: int) -> None:
        """Header; at 20h a gate that ends by IRET, at 22h one that ends by RETF."""
        before = bytes(self._memory.octets[nul_device : nul_device + 4])
        gates = bytes([_NOP, _IRET, _NOP, _RETF])
        header = before + _CHARACTER_DEVICE.to_bytes(2, "little") + b"\x22\0\x22\0" + name.encode().ljust(8)
        self._engine.load(segment << 4, header.ljust(0x20, b"\0") + gates)
        self._memory.put_word(nul_device, 0)
        self._memory.put_word(nul_device + 2, segment)
        if name == _SUBSTITUTE:
            self._take(0x2F, segment, self._serve_2f)
            self._gate(segment, 0x22, self._serve_xms)
            self._xms_segment = segment
        elif name == _EXPANDED:
            self._take(0x67, segment, self._serve_67)
        for taker, vector in self._extras.taken:
            if taker == name:
                self._take(vector, segment, lambda: None)

    def _take(self, vector: int, segment: int, serve: Callable[[], None]) -> None:
        self._memory.put_word(4 * vector, 0x20)
        self._memory.put_word(4 * vector + 2, segment)
        self._gate(segment, 0x20, serve)

    def _gate(self, segment: int, offset: int, serve: Callable[[], None]) -> None:
        place = (segment << 4) + offset
        self._engine.hook_code(place, place, lambda _address: serve())

    def _serve_2f(self) -> None:
        registers = self._registers
        if registers.ax == 0x4300:
            registers.ax = 0x4380
        elif registers.ax == 0x4310:
            registers.es, registers.bx = self._xms_segment, 0x22

    def _serve_xms(self) -> None:
        registers, xms = self._registers, self._extras.xms
        assert xms is not None
        function = registers.ax >> 8
        if function == 0x00:
            registers.ax, registers.bx, registers.dx = xms.version, xms.revision, int(xms.hma)
        elif function == 0x07:
            registers.ax, registers.bx = int(xms.a20), registers.bx & 0xFF00
        elif function == 0x08:
            registers.ax, registers.dx = min(xms.largest_kb, 0xFFFF), min(xms.free_kb, 0xFFFF)
            registers.bx &= 0xFF00
        elif function in _BLOCKS:
            self._serve_block(function, xms.largest_kb)
        elif function == 0x88 and xms.version >= 0x0300:
            registers.eax, registers.edx = xms.largest_kb, xms.free_kb
            registers.ecx, registers.bx = 0xFFFFFF, registers.bx & 0xFF00
        else:
            registers.ax, registers.bx = 0, registers.bx & 0xFF00 | 0x80

    def _serve_block(self, function: int, largest_kb: int) -> None:
        """The A20 line for a program, and one block of memory: given, locked, given back."""
        registers = self._registers
        held = self._block_kb is not None and registers.dx == _HANDLE
        error = 0
        if function == 0x09:
            error = 0xA0 if self._block_kb is not None or registers.dx > largest_kb else 0
        elif function in (0x0A, 0x0C, 0x0D):
            error = 0xA2 if not held else 0xAB if function == 0x0A and self._locked else 0
        registers.ax, registers.bx = int(not error), registers.bx & 0xFF00 | error
        if error:
            return
        if function in (0x05, 0x06):
            self.a20_asked += 1 if function == 0x05 else -1
        elif function == 0x09:
            self._block_kb, registers.dx = registers.dx, _HANDLE
            self._engine.map_extended(largest_kb << 10)
        elif function == 0x0A:
            self._block_kb = None
        else:
            self._locked = function == 0x0C
            if self._locked:
                registers.dx, registers.bx = EXTENDED >> 16, EXTENDED & 0xFFFF

    @property
    def given_kb(self) -> int:
        """KB of extended memory that a program holds."""
        return self._block_kb or 0

    def _serve_67(self) -> None:
        registers, ems = self._registers, self._extras.ems
        assert ems is not None
        function = registers.ax >> 8
        registers.ax &= 0x00FF
        if function == 0x41 and ems.frame:
            registers.bx = ems.frame
        elif function == 0x42:
            registers.bx, registers.dx = ems.free_pages, ems.pages
        elif function == 0x46:
            registers.ax = ems.version
        elif function == 0x4B:
            registers.bx = ems.handles
        elif function != 0x40:
            registers.ax = 0x8400

    # -- BIOS -------------------------------------------------------------------------------------
    def _carry(self, on: bool) -> None:
        address = ((self._registers.ss << 4) + self._registers.sp + 4) & 0xFFFFF
        flags = self._memory.word(address)
        self._memory.put_word(address, flags | FLAG_CARRY if on else flags & ~FLAG_CARRY)

    def serve_15(self) -> bool:
        """INT 15h AX=E820h."""
        registers, ranges = self._registers, self._extras.memory_map
        if registers.ax != 0xE820 or not ranges:
            return False
        at = registers.ebx % len(ranges)
        base, length, kind = ranges[at]
        entry = base.to_bytes(8, "little") + length.to_bytes(8, "little") + kind.to_bytes(4, "little")
        self._put((registers.es << 4) + registers.di, entry)
        registers.eax, registers.ecx = 0x534D4150, len(entry)
        more = at + 1 < len(ranges) or self._extras.endless_map
        registers.ebx = at + 1 if more else 0
        self._carry(False)
        return True

    def serve_1a(self) -> bool:
        """INT 1Ah AX=B1xxh: presence, and reads by octet, word and double word."""
        registers = self._registers
        if registers.ax >> 8 != 0xB1 or self._extras.pci is None:
            return False
        function = registers.ax & 0xFF
        self._carry(False)
        if function == 0x01:
            registers.eax, registers.edx = 0x0001, 0x20494350
            registers.bx, registers.ecx = 0x0210, max((bus for bus, _ in self._pci), default=0)
        elif function in (0x08, 0x09, 0x0A):
            size = 1 << (function - 0x08)
            self.pci_reads += 1
            space = self._pci.get((registers.bx >> 8, registers.bx & 0xFF), b"\xff" * 256)
            value = int.from_bytes(space[registers.di : registers.di + size], "little")
            registers.ecx = value if size == 4 else registers.ecx & ~((1 << 8 * size) - 1) | value
            registers.ax &= 0x00FF
        else:
            registers.ax = 0x8100 | function
            self._carry(True)
        return True

    def serve_10(self) -> bool:
        """INT 10h AX=4F00h."""
        registers = self._registers
        if registers.ax != 0x4F00 or not self._vbe:
            return False
        self._put((registers.es << 4) + registers.di, self._vbe)
        registers.ax = 0x004F
        return True


def _vbe_block(vbe: Vbe, put: Callable[[int, bytes], None]) -> bytes:
    """The 512 octets, with its texts and modes in the display's ROM."""
    at = _VBE_TEXTS
    pointers = []
    modes = b"".join(mode.to_bytes(2, "little") for mode in (*vbe.modes, 0xFFFF))
    for octets in (*(t.encode() + b"\0" for t in (vbe.oem, vbe.vendor, vbe.product, vbe.revision)), modes):
        put(at, octets)
        pointers.append((at & 0xFFFF).to_bytes(2, "little") + (at >> 4 & 0xF000).to_bytes(2, "little"))
        at += len(octets) + len(octets) % 2
    oem, vendor, product, revision, listed = pointers
    block = b"VESA" + vbe.version.to_bytes(2, "little") + oem + b"\x01\0\0\0" + listed
    block += vbe.memory_64kb.to_bytes(2, "little")
    if vbe.version >= 0x200:
        block += b"\x00\x01" + vendor + product + revision
    return block.ljust(256, b"\0")


def nul_device() -> int:
    """Linear address of the NUL device's header, in DOS's list of lists."""
    return KERNEL + int(images.kernel().at.lists) + 0x22


__all__ = ["ExtraServices", "PciFunction", "nul_device"]
