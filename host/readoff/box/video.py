"""Video in guest memory: modes, cursor, pages, scrolling, teletype, pixels; INT 10h's functions.

Letters are not drawn in graphics modes. While one is on the text memory does not hold the text: it reads FF on EGA
and VGA, as on the real cards; in modes 4 to 6 it is the picture.
"""

from __future__ import annotations

from typing import Final

from readoff.box.engine import Engine
from readoff.box.planes import CRTC_OFFSET, CRTC_START, PACKED, PLANAR, WINDOW, Planes
from readoff.box.spec import Display
from readoff.contract import cp437

BDA: Final = 0x400
MODE, COLUMNS, PAGE_SIZE, PAGE_START, CURSORS, SHAPE, PAGE, CRTC = (
    0x49,
    0x4A,
    0x4C,
    0x4E,
    0x50,
    0x60,
    0x62,
    0x63,
)
LAST_ROW, CELL_HEIGHT, EGA_INFO, EGA_SWITCHES = 0x84, 0x85, 0x87, 0x88
COLOUR_SELECT: Final = 0x66
COLOUR_TEXT: Final = 0xB8000
MONO_TEXT: Final = 0xB0000
_TEXT_AREA: Final = 0x8000
BLANK: Final = 0x0720
_GRAPHICS_COLUMNS: Final = {
    4: 40,
    5: 40,
    6: 80,
    0x0D: 40,
    0x0E: 80,
    0x0F: 80,
    0x10: 80,
    0x11: 80,
    0x12: 80,
    0x13: 40,
}
_MODES: Final[dict[Display, frozenset[int]]] = {
    "mda": frozenset({7}),
    "cga": frozenset(range(7)),
    "ega": frozenset({*range(8), 0x0D, 0x0E, 0x0F, 0x10}),
    "vga": frozenset({*range(8), *range(0x0D, 0x14)}),
}


class Video:
    """The display adapter and its BIOS. All state that programs can see is in guest memory."""

    def __init__(self, engine: Engine, display: Display) -> None:
        self._memory = engine.memory
        self._registers = engine.registers
        self._now = engine.now
        self.display = display
        self.planes = Planes(engine, display) if display in ("ega", "vga") else None
        self.teletype = bytearray()  # every octet that went through AH=0Eh and the like
        self.mode_changes: list[int] = []

    # -- the BIOS data area -----------------------------------------------------------------------
    @property
    def mode(self) -> int:
        """The mode in force, without the keep-memory bit."""
        return self._memory.octets[BDA + MODE]

    @property
    def columns(self) -> int:
        """Columns of the screen."""
        return self._memory.word(BDA + COLUMNS)

    @property
    def rows(self) -> int:
        """Rows of the screen."""
        return self._memory.octets[BDA + LAST_ROW] + 1 if self.display in ("ega", "vga") else 25

    @property
    def is_text(self) -> bool:
        """Whether a text mode is on."""
        return self.mode <= 3 or self.mode == 7

    def _base(self) -> int:
        return MONO_TEXT if self.mode == 7 else COLOUR_TEXT

    def start(self) -> None:
        """What POST does: the adapter's own text mode."""
        self._memory.octets[COLOUR_TEXT : COLOUR_TEXT + _TEXT_AREA] = b"\xff" * _TEXT_AREA
        self._memory.octets[MONO_TEXT : MONO_TEXT + _TEXT_AREA] = b"\xff" * _TEXT_AREA
        self.set_mode(7 if self.display == "mda" else 3)
        self.mode_changes.clear()

    def set_mode(self, value: int) -> None:
        """AH=00h. A mode that the adapter lacks changes nothing."""
        mode = value & 0x7F
        if mode not in _MODES[self.display]:
            return
        self.mode_changes.append(value)
        memory = self._memory
        was_text = self.is_text
        text = mode <= 3 or mode == 7
        columns = (40 if mode < 2 else 80) if text else _GRAPHICS_COLUMNS[mode]
        memory.octets[BDA + MODE] = mode
        memory.put_word(BDA + COLUMNS, columns)
        page_size = {40: 0x0800, 80: 0x1000}[columns] if text else 0x4000
        memory.put_word(BDA + PAGE_SIZE, page_size)
        memory.put_word(BDA + PAGE_START, 0)
        memory.octets[BDA + CURSORS : BDA + CURSORS + 16] = bytes(16)
        height = {"vga": 16, "ega": 14}.get(self.display, 8)
        memory.put_word(BDA + SHAPE, 0x0B0C if mode == 7 else 0x0607)
        memory.octets[BDA + PAGE] = 0
        memory.put_word(BDA + CRTC, 0x3B4 if mode in (7, 0x0F) else 0x3D4)
        if self.display in ("ega", "vga"):
            memory.octets[BDA + LAST_ROW] = 24
            memory.put_word(BDA + CELL_HEIGHT, height if text else 8)
            memory.octets[BDA + EGA_INFO] = 0x60 | value & 0x80
            memory.octets[BDA + EGA_SWITCHES] = 0x09
        memory.octets[BDA + COLOUR_SELECT] = 0x3F if mode == 6 else 0x30
        if self.planes is not None:
            self.planes.set_mode(mode, keep=bool(value & 0x80))
        self._fill_for(mode, text=text, was_text=was_text, keep=bool(value & 0x80))

    def _fill_for(self, mode: int, *, text: bool, was_text: bool, keep: bool) -> None:
        area = memoryview(self._memory.octets)[self._base() : self._base() + _TEXT_AREA]
        if not text:
            octet = 0x00 if mode <= 6 else 0xFF
            if not (mode <= 6 and keep):
                area[:] = bytes([octet]) * _TEXT_AREA
        elif not keep:
            area[:] = BLANK.to_bytes(2, "little") * (_TEXT_AREA // 2)
        elif not was_text:
            area[:] = bytes(_TEXT_AREA)

    # -- pixels -----------------------------------------------------------------------------------
    def pixel(self, x: int, y: int, colour: int) -> None:
        """AH=0Ch: one pixel; bit 7 of the colour: exclusive or, except in mode 13h."""
        octets = self._memory.octets
        if self.mode == PACKED:
            octets[WINDOW + (320 * y + x & 0xFFFF)] = colour
        elif self.mode in PLANAR and self.planes is not None:
            self.planes.pixel(x, y, colour)
        elif self.mode in (4, 5, 6):
            bits = 1 if self.mode == 6 else 2
            per_octet = 8 // bits
            at = COLOUR_TEXT + (y & 1) * 0x2000 + (y >> 1) * 80 + x // per_octet
            shift = 8 - bits * (x % per_octet + 1)
            mask, new = (1 << bits) - 1 << shift, (colour & (1 << bits) - 1) << shift
            octets[at] = octets[at] ^ new if colour & 0x80 else octets[at] & ~mask & 0xFF | new

    def frame(self) -> bytes:
        """What the display shows in a graphics mode, plane after plane as it lies in memory."""
        if self.mode in (4, 5, 6):
            return bytes(self._memory.octets[COLOUR_TEXT : COLOUR_TEXT + 0x4000])
        if self.mode == PACKED:
            return bytes(self._memory.octets[WINDOW : WINDOW + 64000])
        assert self.planes is not None and self.mode in PLANAR
        heights = {0x0D: 200, 0x0E: 200, 0x0F: 350, 0x10: 350}
        length = 2 * self.planes.crtc[CRTC_OFFSET] * heights.get(self.mode, 480)
        start = self.planes.crtc[CRTC_START] << 8 | self.planes.crtc[CRTC_START + 1]
        shown = {0x0F: (0, 2), 0x11: (0,)}.get(self.mode, (0, 1, 2, 3))
        return b"".join(bytes(self.planes.planes[plane][start : start + length]) for plane in shown)

    # -- cells ------------------------------------------------------------------------------------
    def cursor(self, page: int) -> tuple[int, int]:
        """(row, column) of a page's cursor."""
        word = self._memory.word(BDA + CURSORS + 2 * (page & 7))
        return word >> 8, word & 0xFF

    def set_cursor(self, page: int, row: int, column: int) -> None:
        """Move a page's cursor."""
        self._memory.put_word(BDA + CURSORS + 2 * (page & 7), row << 8 | column)

    def cell(self, page: int, row: int, column: int) -> int:
        """Linear address of a cell of a page."""
        size = self._memory.word(BDA + PAGE_SIZE)
        within = page * size + 2 * (row * self.columns + column)
        return self._base() + within % _TEXT_AREA

    def scroll(
        self, rows: int, top: int, left: int, bottom: int, right: int, attribute: int, page: int
    ) -> None:
        """Move a window up (rows > 0) or down (< 0); 0 clears it. Edges are inclusive and clipped."""
        if not self.is_text:
            return
        bottom, right = min(bottom, self.rows - 1), min(right, self.columns - 1)
        height, width = bottom - top + 1, right - left + 1
        if height <= 0 or width <= 0:
            return
        octets = self._memory.octets
        lines = [
            bytes(octets[(start := self.cell(page, row, left)) : start + 2 * width])
            for row in range(top, bottom + 1)
        ]
        blank = bytes([0x20, attribute]) * width
        count = min(abs(rows), height) or height
        moved = lines[count:] + [blank] * count if rows >= 0 else [blank] * count + lines[: height - count]
        for row, line in zip(range(top, bottom + 1), moved, strict=True):
            start = self.cell(page, row, left)
            octets[start : start + 2 * width] = line

    def put(self, page: int, character: int, attribute: int | None, count: int = 1) -> None:
        """Write a character count times from the cursor on, without moving it."""
        if not self.is_text:
            return
        row, column = self.cursor(page)
        for i in range(count):
            cell = self.cell(page, row, column + i)
            self._memory.octets[cell] = character
            if attribute is not None:
                self._memory.octets[cell + 1] = attribute

    def type(self, character: int, page: int | None = None, attribute: int | None = None) -> None:
        """Teletype output to the active page: BEL, BS, LF and CR act, the rest shows and may scroll."""
        self.teletype.append(character)
        page = self._memory.octets[BDA + PAGE] if page is None else page
        row, column = self.cursor(page)
        if character == 0x08:
            column = max(0, column - 1)
        elif character == 0x0A:
            row += 1
        elif character == 0x0D:
            column = 0
        elif character != 0x07:
            self.put(page, character, attribute)
            column += 1
            if column >= self.columns:
                row, column = row + 1, 0
        if row >= self.rows:
            row = self.rows - 1
            fill = self._memory.octets[self.cell(page, row, column) + 1] if self.is_text else 7
            self.scroll(1, 0, 0, row, self.columns - 1, fill, page)
        self.set_cursor(page, row, column)

    # -- for the people around the box ------------------------------------------------------------
    def screen_octets(self) -> bytes:
        """Characters and attributes of what the screen shows, row by row."""
        start = self._base() + self._memory.word(BDA + PAGE_START)
        return bytes(self._memory.octets[start : start + 2 * self.rows * self.columns])

    def screen_rows(self) -> list[str]:
        """The screen as text, one string a row, in the glyphs of code page 437. [] in graphics modes."""
        if not self.is_text:
            return []
        characters = self.screen_octets()[::2]
        width = self.columns
        return [cp437.glyphs(characters[i : i + width]) for i in range(0, len(characters), width)]

    def read_status(self) -> int:
        """Ports 3BAh and 3DAh: retrace bits that change with time (about 15.7 kHz and 60 Hz)."""
        now = self._now()
        horizontal = now % 63_600_000 > 51_000_000
        vertical = now % 16_683_000_000 > 15_300_000_000
        return int(horizontal or vertical) | vertical << 3
