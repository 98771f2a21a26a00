"""Graphics memory of an EGA or VGA: four planes behind one window at A0000, and the registers that steer them.

Write modes 0 to 2 with map mask, set/reset, rotation, function and bit mask; read modes 0 and 1; chained octets (mode
13h) are plain memory. An EGA's registers read as FF, except the start address. (Registers: the hardware references of
these adapters; from memory.)
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from readoff.box.engine import Engine
from readoff.box.spec import Display

WINDOW: Final = 0xA0000
WINDOW_SIZE: Final = 0x10000
PLANAR: Final = frozenset({0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x12})
PACKED: Final = 0x13
SEQ_MASK, SEQ_MEMORY = 2, 4
GC_SET, GC_ENABLE, GC_COMPARE, GC_ROTATE, GC_MAP, GC_MODE, GC_MISC, GC_CARE, GC_BITS = range(9)
CRTC_START, CRTC_OFFSET = 0x0C, 0x13
_ROW_WORDS: Final = {0x0D: 20, 4: 20, 5: 20}
# The default palette registers in planar modes of 16 colours on a colour display (from memory).
_EGA_REGISTERS: Final = bytes([0, 1, 2, 3, 4, 5, 0x14, 7, *range(0x38, 0x40), 0])
_FUNCTIONS: Final[tuple[Callable[[int, int], int], ...]] = (
    lambda new, _old: new,
    lambda new, old: new & old,
    lambda new, old: new | old,
    lambda new, old: new ^ old,
)


class Planes:
    """The graphics side of an EGA or VGA. Attached to the window only while a planar mode is on."""

    def __init__(self, engine: Engine, display: Display) -> None:
        self._engine = engine
        self._memory = engine.memory
        self._vga = display == "vga"
        self.planes = [bytearray(WINDOW_SIZE) for _ in range(4)]
        self.latches = [0, 0, 0, 0]
        self.sequencer, self.graphics, self.crtc = bytearray(8), bytearray(16), bytearray(32)
        self.index = {"sequencer": 0, "graphics": 0, "crtc": 0}
        self.palette = bytearray(17)
        self.dac = bytearray(768)
        self._dac_read = self._dac_write = 0
        self._hooks: tuple[int, ...] = ()

    def set_mode(self, mode: int, *, keep: bool) -> None:
        """Registers, colours and memory as the BIOS leaves them."""
        planar = mode in PLANAR
        self.sequencer[:5] = bytes([3, 1, 15, 0, 0x0E if mode == PACKED else 0x06 if planar else 0x02])
        self.graphics[:9] = bytes(
            [
                0,
                0,
                0,
                0,
                0,
                0x40 if mode == PACKED else 0,
                0x05 if planar or mode == PACKED else 0x0D if 4 <= mode <= 6 else 0x0E,
                15,
                255,
            ]
        )
        self.crtc[:] = bytes(32)
        self.crtc[CRTC_OFFSET] = _ROW_WORDS.get(mode, 40)
        self.palette[:] = _EGA_REGISTERS if planar else bytes([*range(16), 0])
        self.dac[:] = _default_dac(packed=mode == PACKED)
        if not keep:
            for plane in self.planes:
                plane[:] = bytes(WINDOW_SIZE)
            if mode == PACKED:
                self._memory.octets[WINDOW : WINDOW + WINDOW_SIZE] = bytes(WINDOW_SIZE)
        if planar and not self._hooks:
            self._hooks = self._engine.hook_accesses(
                WINDOW, WINDOW + WINDOW_SIZE - 1, self._read, self._write
            )
        elif not planar:
            for hook in self._hooks:
                self._engine.unhook(hook)
            self._hooks = ()

    # -- memory -----------------------------------------------------------------------------------
    def _read(self, address: int, size: int) -> None:
        for at in range(address, address + size):
            offset = at & WINDOW_SIZE - 1
            self.latches = [plane[offset] for plane in self.planes]
            self._memory.octets[at] = self._seen()

    def _seen(self) -> int:
        if not self.graphics[GC_MODE] & 8:
            return self.latches[self.graphics[GC_MAP] & 3]
        differs = 0
        for plane, latch in enumerate(self.latches):
            if self.graphics[GC_CARE] >> plane & 1:
                differs |= latch ^ (0xFF if self.graphics[GC_COMPARE] >> plane & 1 else 0)
        return ~differs & 0xFF

    def _write(self, address: int, size: int, value: int) -> None:
        for i in range(size):
            self._put(address + i & WINDOW_SIZE - 1, value >> 8 * i & 0xFF)

    def _put(self, offset: int, octet: int) -> None:
        mode, rotate = self.graphics[GC_MODE] & 3, self.graphics[GC_ROTATE]
        turned = (octet >> (rotate & 7) | octet << 8 - (rotate & 7)) & 0xFF
        bits = self.graphics[GC_BITS]
        for plane in range(4):
            if not self.sequencer[SEQ_MASK] >> plane & 1:
                continue
            old = self.latches[plane]
            if mode == 1:
                self.planes[plane][offset] = old
                continue
            new = (0xFF if octet >> plane & 1 else 0) if mode == 2 else turned
            if mode == 0 and self.graphics[GC_ENABLE] >> plane & 1:
                new = 0xFF if self.graphics[GC_SET] >> plane & 1 else 0
            new = _FUNCTIONS[rotate >> 3 & 3](new, old)
            self.planes[plane][offset] = new & bits | old & ~bits & 0xFF

    # -- ports ------------------------------------------------------------------------------------
    def registers(self, name: str) -> bytearray:
        """The registers behind an index port: "sequencer", "graphics" or "crtc"."""
        found: bytearray = getattr(self, name)
        return found

    def select(self, name: str, value: int) -> None:
        """The index port is written."""
        self.index[name] = value

    def read_index(self, name: str) -> int:
        """The index port is read."""
        return self.index[name] if self._vga else 0xFF

    def write(self, name: str, value: int) -> None:
        """The data port is written."""
        registers = self.registers(name)
        registers[self.index[name] % len(registers)] = value

    def read(self, name: str) -> int:
        """The data port is read."""
        index = self.index[name]
        if not self._vga and not (name == "crtc" and CRTC_START <= index <= CRTC_START + 3):
            return 0xFF
        registers = self.registers(name)
        return registers[index % len(registers)]

    def dac_port(self, port: int, value: int) -> None:
        """3C7h to 3C9h are written."""
        if port == 0x3C7:
            self._dac_read = 3 * value
        elif port == 0x3C8:
            self._dac_write = 3 * value
        else:
            self.dac[self._dac_write % 768] = value & 63
            self._dac_write += 1

    def dac_octet(self) -> int:
        """3C9h is read."""
        self._dac_read += 1
        return self.dac[(self._dac_read - 1) % 768]

    # -- pixels -----------------------------------------------------------------------------------
    def pixel(self, x: int, y: int, colour: int) -> None:
        """One pixel of a planar mode, as the BIOS draws it; bit 7 of the colour: exclusive or."""
        offset = (y * 2 * self.crtc[CRTC_OFFSET] + (x >> 3)) & WINDOW_SIZE - 1
        bit = 0x80 >> (x & 7)
        for plane in range(4):
            old = self.planes[plane][offset]
            set_ = bool(colour >> plane & 1)
            if colour & 0x80:
                self.planes[plane][offset] = old ^ (bit if set_ else 0)
            else:
                self.planes[plane][offset] = old | bit if set_ else old & ~bit


def _default_dac(*, packed: bool) -> bytes:
    """64 colours by two bits each of red, green and blue; in mode 13h the 16 colours and then greys."""
    if packed:
        sixteen = [_sixteen(colour) for colour in range(16)]
        greys = [(level * 63 // 239,) * 3 for level in range(240)]
        return bytes(part for colour in (*sixteen, *greys) for part in colour)
    levels = [
        tuple(42 * (code >> bit & 1) + 21 * (code >> bit + 3 & 1) for bit in (2, 1, 0)) for code in range(64)
    ]
    return bytes(part for colour in levels * 4 for part in colour)


def _sixteen(colour: int) -> tuple[int, int, int]:
    bright = 21 if colour & 8 else 0
    red, green, blue = (42 * (colour >> bit & 1) + bright for bit in (2, 1, 0))
    return (red, 21, blue) if colour == 6 else (red, green, blue)
