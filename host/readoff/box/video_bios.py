"""INT 10h: the functions of the display BIOS, over video.py."""

from __future__ import annotations

from typing import Final

from readoff.box import video
from readoff.box.engine import Engine
from readoff.box.images import ROM_SEGMENT
from readoff.box.video import BDA, Video

_COMBINATIONS: Final = {"mda": 0x01, "cga": 0x02, "ega": 0x04, "vga": 0x08}  # INT 10h AX=1A00h


class VideoBios:
    """Serves INT 10h in the processor's registers."""

    def __init__(self, engine: Engine, screen: Video, font: int) -> None:
        self._registers = engine.registers
        self._memory = engine.memory
        self._screen = screen
        self._font = font

    def serve(self) -> None:
        """One INT 10h."""
        ax = self._registers.ax
        function = ax >> 8
        if function == 0x0E:
            self._screen.type(ax & 0xFF)
        elif function <= 0x13 and (serve := getattr(self, f"_{function:02x}", None)) is not None:
            serve(ax & 0xFF)
        elif function == 0x1A and self._screen.display == "vga":
            self._1a(ax & 0xFF)

    def _00(self, mode: int) -> None:
        self._screen.set_mode(mode)
        self._registers.ax = self._registers.ax & 0xFF00 | (0x20 if mode & 0x7F > 7 else 0x30)

    def _01(self, _al: int) -> None:
        self._memory.put_word(BDA + video.SHAPE, self._registers.cx)

    def _02(self, _al: int) -> None:
        dx = self._registers.dx
        self._screen.set_cursor(self._registers.bx >> 8, dx >> 8, dx & 0xFF)

    def _03(self, _al: int) -> None:
        row, column = self._screen.cursor(self._registers.bx >> 8)
        self._registers.dx = row << 8 | column
        self._registers.cx = self._memory.word(BDA + video.SHAPE)

    def _05(self, page: int) -> None:
        self._memory.octets[BDA + video.PAGE] = page & 7
        self._memory.put_word(BDA + video.PAGE_START, (page & 7) * self._memory.word(BDA + video.PAGE_SIZE))

    def _scroll(self, rows: int) -> None:
        cx, dx = self._registers.cx, self._registers.dx
        page = self._memory.octets[BDA + video.PAGE]
        self._screen.scroll(rows, cx >> 8, cx & 0xFF, dx >> 8, dx & 0xFF, self._registers.bx >> 8, page)

    def _06(self, rows: int) -> None:
        self._scroll(rows)

    def _07(self, rows: int) -> None:
        self._scroll(-rows)

    def _08(self, _al: int) -> None:
        page = self._registers.bx >> 8
        row, column = self._screen.cursor(page)
        cell = self._screen.cell(page, row, column)
        self._registers.ax = self._memory.word(cell)

    def _09(self, character: int) -> None:
        bx = self._registers.bx
        self._screen.put(bx >> 8, character, bx & 0xFF, self._registers.cx)

    def _0a(self, character: int) -> None:
        self._screen.put(self._registers.bx >> 8, character, None, self._registers.cx)

    def _0b(self, _al: int) -> None:
        """Background and palette of modes 4 to 6."""
        bx, at = self._registers.bx, BDA + video.COLOUR_SELECT
        octets = self._memory.octets
        if bx >> 8:
            octets[at] = octets[at] & ~0x20 & 0xFF | (bx & 1) << 5
        else:
            octets[at] = octets[at] & ~0x1F & 0xFF | bx & 0x1F

    def _0c(self, colour: int) -> None:
        self._screen.pixel(self._registers.cx, self._registers.dx, colour)

    def _0f(self, _al: int) -> None:
        octets = self._memory.octets
        keep = octets[BDA + video.EGA_INFO] & 0x80 if self._screen.display in ("ega", "vga") else 0
        self._registers.ax = (self._screen.columns & 0xFF) << 8 | self._screen.mode | keep
        self._registers.bx = self._registers.bx & 0xFF | octets[BDA + video.PAGE] << 8

    def _10(self, function: int) -> None:
        """Palette registers (00h, 02h; on a VGA 09h) and colours of the DAC (10h, 12h, 15h, 17h, 1Ah)."""
        planes, registers, memory = self._screen.planes, self._registers, self._memory
        if planes is None or (function > 2 and self._screen.display != "vga"):
            return
        at = (registers.es << 4) + registers.dx
        bx, cx, dx = registers.bx, registers.cx, registers.dx
        if function == 0x00:
            planes.palette[min(bx & 0xFF, 16)] = bx >> 8
        elif function == 0x02:
            planes.palette[:] = memory.octets[at : at + 17]
        elif function == 0x09:
            memory.octets[at : at + 17] = planes.palette
        elif function == 0x10:
            planes.dac[3 * (bx & 0xFF) : 3 * (bx & 0xFF) + 3] = bytes([dx >> 8 & 63, cx >> 8 & 63, cx & 63])
        elif function == 0x12:
            planes.dac[3 * bx : 3 * (bx + cx)] = memory.octets[at : at + 3 * cx]
        elif function == 0x17:
            memory.octets[at : at + 3 * cx] = planes.dac[3 * bx : 3 * (bx + cx)]
        elif function == 0x1A:
            registers.bx = 0

    def _11(self, function: int) -> None:
        """Fonts: 12h and 02h give rows of 8 lines, 11h and 01h of 14, 14h and 04h of 16."""
        if self._screen.display not in ("ega", "vga"):
            return
        octets = self._memory.octets
        lines = {0x10: 0, 0x11: 14, 0x12: 8, 0x14: 16, 0x01: 14, 0x02: 8, 0x04: 16}.get(function)
        if function == 0x30:
            self._registers.cx = self._memory.word(BDA + video.CELL_HEIGHT)
            self._registers.dx = self._registers.dx & 0xFF00 | octets[BDA + video.LAST_ROW]
            self._registers.es = ROM_SEGMENT
            self._registers.bp = self._font
        elif lines and function & 0x10:
            scan_lines = 400 if self._screen.display == "vga" else 350
            rows = scan_lines // lines
            octets[BDA + video.LAST_ROW] = rows - 1
            self._memory.put_word(BDA + video.CELL_HEIGHT, lines)
            size = rows * self._screen.columns * 2
            # A whole number of 4 KB and some room, as the VGA's BIOS has it: 2000h for 50 rows of 80.
            self._memory.put_word(BDA + video.PAGE_SIZE, -(-size // 0x1000) * 0x1000)

    def _12(self, _al: int) -> None:
        """BL=10h: what memory and switches an EGA or VGA has. Others keep BL, which tells them apart."""
        if self._registers.bx & 0xFF == 0x10 and self._screen.display in ("ega", "vga"):
            self._registers.bx = (1 if self._screen.mode in (7, 0x0F) else 0) << 8 | 3
            self._registers.cx = 0x0009

    def _13(self, options: int) -> None:
        """A string at ES:BP; bit 0 moves the cursor, bit 1 says that attributes are among it."""
        registers = self._registers
        page, attribute = registers.bx >> 8, registers.bx & 0xFF
        dx = registers.dx
        before = self._screen.cursor(page)
        step = 2 if options & 2 else 1
        text = self._memory.read(registers.es, registers.bp, registers.cx * step)
        self._screen.set_cursor(page, dx >> 8, dx & 0xFF)
        for i in range(0, len(text), step):
            self._screen.type(text[i], page, text[i + 1] if step == 2 else attribute)
        if not options & 1:
            self._screen.set_cursor(page, *before)

    def _1a(self, function: int) -> None:
        if function == 0:
            self._registers.ax = self._registers.ax & 0xFF00 | 0x1A
            self._registers.bx = _COMBINATIONS[self._screen.display]
