"""Just enough DOS and BIOS, in Python, for the agent's routines on the bench. A test bends it as it needs."""

from __future__ import annotations

import fnmatch
from collections.abc import Callable
from dataclasses import dataclass, field

from support.agent_bench import BDA, ENVIRONMENT, ROM, SEGMENT, Bench

ERROR_FILE = 2
LISTS = 0x80  # segment of what INT 21h AH=52h points into


@dataclass
class FakeDos:
    """Files by their path; what the agent printed; the vectors that it set.

    unreadable: paths whose content can't be read. after_read: called with the path after each read.
    """

    bench: Bench
    version: tuple[int, int] = (5, 0)
    oem: int = 0
    boot_drive: int = 3
    files: dict[str, bytes] = field(default_factory=dict)
    unreadable: set[str] = field(default_factory=set)
    undeletable: set[str] = field(default_factory=set)
    asked: list[str] = field(default_factory=list)
    after_read: Callable[[str], None] = lambda path: None
    screen: bytearray = field(default_factory=bytearray)
    first_block: int = 0x100
    _handles: dict[int, tuple[str, int]] = field(default_factory=dict)
    _found: list[str] = field(default_factory=list)
    _dta: tuple[int, int] = (SEGMENT, 0x80)

    def __post_init__(self) -> None:
        bench = self.bench
        bench.interrupts[0x21] = lambda _: self.serve()
        bench.interrupts[0x2F] = lambda _: None
        bench.memory.put_word(4 * 0x2F, 0x1234)
        bench.memory.put_word((LISTS << 4) + 0x24, self.first_block)
        bench.poke((LISTS << 4) + 0x26, b"\xff" * 0x22 + b"\xff" * 4 + b"\x04\x80\0\0\0\0NUL     ")
        bench.word("dos_version", self.version[0] << 8 | self.version[1])
        bench.put("option_spool", b"C:\\\0")
        bench.put("agent_serial", bytes.fromhex("44332211"))
        bench.put("boot_nonce", bytes.fromhex("D4C3B2A1"))
        self.environment([b"COMSPEC=C:\\COMMAND.COM", b"PATH=C:\\"], b"C:\\READOFF.COM")

    def environment(self, strings: list[bytes], program: bytes | None) -> None:
        """The agent's environment, in a memory block of its own."""
        octets = b"".join(each + b"\0" for each in strings) or b"\0"
        octets += b"\0"
        if program is not None:
            octets += b"\1\0" + program + b"\0"
        paragraphs = (len(octets) + 15) // 16
        self.bench.memory.put_word((SEGMENT << 4) + 0x2C, ENVIRONMENT)
        self.block(ENVIRONMENT - 1, b"M", SEGMENT, paragraphs)
        self.bench.poke(ENVIRONMENT << 4, octets.ljust(16 * paragraphs, b"\xdb"))

    def block(self, at: int, mark: bytes, owner: int, paragraphs: int, name: bytes = b"") -> None:
        """A memory block's header at segment ``at``."""
        header = mark + owner.to_bytes(2, "little") + paragraphs.to_bytes(2, "little") + b"\0\0\0"
        self.bench.poke(at << 4, header + name[:8].ljust(8, b"\0"))

    def chain(self, *blocks: tuple[int, int, bytes]) -> list[int]:
        """A sound chain from first_block on: owner (-1: itself), paragraphs, name. Gives the header segments."""
        at, segments = self.first_block, []
        for number, (owner, paragraphs, name) in enumerate(blocks):
            mark = b"Z" if number == len(blocks) - 1 else b"M"
            self.block(at, mark, at + 1 if owner == -1 else owner, paragraphs, name)
            segments.append(at)
            at += paragraphs + 1
        return segments

    def serve(self) -> None:
        """INT 21h. A function that nobody foresaw fails the test."""
        function = self.bench.registers.ax >> 8
        handle = getattr(self, f"_f{function:02x}", None)
        assert handle is not None, f"INT 21h AX={self.bench.registers.ax:04X}"
        handle()

    # -- helpers ----------------------------------------------------------------------------------
    def _text(self, segment: int, offset: int) -> str:
        return self.bench.memory.string(segment, offset).decode("cp437")

    def _path(self) -> str:
        path = self._text(self.bench.registers.ds, self.bench.registers.dx)
        self.asked.append(path)
        return path

    def _good(self, ax: int | None = None) -> None:
        if ax is not None:
            self.bench.registers.ax = ax
        self.bench.carry(False)

    def _bad(self, code: int) -> None:
        self.bench.registers.ax = code
        self.bench.carry(True)

    # -- functions --------------------------------------------------------------------------------
    def _f19(self) -> None:
        self.bench.registers.ax = 0x1902

    def _f1a(self) -> None:
        self._dta = (self.bench.registers.ds, self.bench.registers.dx)

    def _f25(self) -> None:
        pass

    def _f2a(self) -> None:
        self.bench.registers.cx, self.bench.registers.dx = 1994, 0x051F

    def _f2c(self) -> None:
        self.bench.registers.cx, self.bench.registers.dx = 0x0616, 0

    def _f30(self) -> None:
        self.bench.registers.ax = self.version[1] << 8 | self.version[0]
        self.bench.registers.bx = self.oem << 8

    def _f33(self) -> None:
        if self.bench.registers.ax == 0x3306:
            self.bench.registers.bx = self.version[1] << 8 | self.version[0]
            self.bench.registers.dx = 0x1000
            return
        assert self.bench.registers.ax == 0x3305 and self.version[0] >= 4
        self.bench.registers.dx = self.boot_drive

    def _f36(self) -> None:
        assert self.bench.registers.dx == 3, "a drive that is not there, or not fixed"
        registers = self.bench.registers
        registers.ax, registers.bx, registers.cx, registers.dx = 4, 1000, 512, 16000
        self.bench.carry(False)

    def _f3d(self) -> None:
        path = self._path()
        if path not in self.files:
            self._bad(ERROR_FILE)
            return
        handle = max(self._handles, default=4) + 1
        self._handles[handle] = (path, 0)
        self._good(handle)

    def _f3e(self) -> None:
        self._handles.pop(self.bench.registers.bx, None)
        self._good()

    def _f3f(self) -> None:
        registers = self.bench.registers
        path, at = self._handles[registers.bx]
        if path in self.unreadable:
            self._bad(5)
            return
        octets = self.files[path][at : at + registers.cx]
        self.bench.poke((registers.ds << 4) + registers.dx, octets)
        self._handles[registers.bx] = (path, at + len(octets))
        self.after_read(path)
        self._good(len(octets))

    def _f40(self) -> None:
        registers = self.bench.registers
        octets = self.bench.memory.read(registers.ds, registers.dx, registers.cx)
        if registers.bx in (1, 2):
            self.screen += octets
        else:
            path, at = self._handles[registers.bx]
            self.files[path] = self.files[path][:at] + octets + self.files[path][at + len(octets) :]
            self._handles[registers.bx] = (path, at + len(octets))
        self._good(len(octets))

    def _f41(self) -> None:
        path = self._path()
        if path in self.undeletable or path not in self.files:
            self._bad(5)
            return
        del self.files[path]
        self._good()

    def _f42(self) -> None:
        registers = self.bench.registers
        path, at = self._handles[registers.bx]
        base = (0, at, len(self.files[path]))[registers.ax & 0xFF]
        at = base + (registers.cx << 16 | registers.dx)
        self._handles[registers.bx] = (path, at)
        registers.dx = at >> 16
        self._good(at & 0xFFFF)

    def _f44(self) -> None:
        """4408h and 4409h: C: is fixed, D: removable, E: remote, F: substituted."""
        registers = self.bench.registers
        drive = registers.bx & 0xFF
        assert drive > 2, "A: and B: are not to be asked for"
        if drive > 6:
            self._bad(0x0F)
        elif registers.ax == 0x4409:
            registers.dx = {5: 0x1000, 6: 0x8000}.get(drive, 0)
            self._good()
        else:
            assert registers.ax == 0x4408 and drive < 5
            self._good(1 if drive == 3 else 0)

    def _f4e(self) -> None:
        pattern = self._path()
        self._found = sorted(
            path for path in self.files if fnmatch.fnmatch(path, pattern.replace("\\", "[\\]"))
        )
        self._f4f()

    def _f4f(self) -> None:
        while self._found and self._found[0] not in self.files:
            self._found.pop(0)
        if not self._found:
            self._bad(18)
            return
        path = self._found.pop(0)
        name = path.rsplit("\\", 1)[-1].encode("cp437")
        dta = (self._dta[0] << 4) + self._dta[1]
        self.bench.poke(dta + 0x1A, len(self.files[path]).to_bytes(4, "little") + name + b"\0")
        self._good()

    def _f52(self) -> None:
        self.bench.registers.es, self.bench.registers.bx = LISTS, 0x26

    def _f5b(self) -> None:
        path = self._path()
        if path in self.files:
            self._bad(0x50)
            return
        self.files[path] = b""
        self._f3d()


def give_timer(bench: Bench) -> None:
    """The timer's counter, latched and read low octet first, in mode 2. A block of the agent's loop takes it as long
    as 60 AAM on an 8088: the bench's own time goes by octets of code alone.
    """
    left: list[int] = []

    def latch(value: int) -> None:
        assert value == 0, f"the timer is programmed: {value:02X}h"
        count = -(bench.engine.now() // 9_760) & 0xFFFF
        left[:] = [count & 0xFF, count >> 8]

    bench.ports_out[0x43] = latch
    bench.ports_in[0x40] = lambda: left.pop(0)


@dataclass
class FakeBios:
    """The BIOS services that the snapshot asks, as an AT with a colour VGA answers them."""

    bench: Bench
    model: int = 0xFC

    def __post_init__(self) -> None:
        bench, registers = self.bench, self.bench.registers
        bench.poke(ROM, bytes(range(256)) * 256)
        # the tail of Debian's seabios image: "06/23/99", model FCh
        bench.poke(ROM + 0xFFF0, bytes.fromhex("EA5BE000F030362F32332F393900FC00"))
        bench.poke(ROM + 0xFFFE, bytes([self.model]))
        bench.poke(BDA + 0x49, b"\x03\x50\x00")
        bench.poke(BDA + 0x84, b"\x18")

        def set_ax(value: int) -> Callable[[Bench], None]:
            return lambda _: setattr(registers, "ax", value)

        bench.interrupts[0x10] = lambda _: self.video()
        bench.interrupts[0x11] = set_ax(0x4227)
        bench.interrupts[0x12] = set_ax(639)
        bench.interrupts[0x13] = lambda _: bench.carry(True)
        bench.interrupts[0x15] = lambda _: self.system()
        bench.interrupts[0x16] = lambda _: bench.zero(True)
        bench.interrupts[0x1A] = lambda _: bench.carry(True)

        give_timer(bench)

    def video(self) -> None:
        """INT 10h: a VGA."""
        registers = self.bench.registers
        if registers.ax == 0x1A00:
            registers.ax, registers.bx = 0x1A1A, 0x0008
        elif registers.ax >> 8 == 0x12 and registers.bx & 0xFF == 0x10:
            registers.bx, registers.cx = 0x0003, 0x0009

    def system(self) -> None:
        """INT 15h: 88h and C0h."""
        registers = self.bench.registers
        self.bench.carry(False)
        if registers.ax >> 8 == 0x88:
            registers.ax = 0x3B74
        elif registers.ax >> 8 == 0xC0:
            self.bench.poke(0xFE000, bytes.fromhex("0800FC0001744000"))
            registers.es, registers.bx = 0xFE00, 0
            registers.ax &= 0x00FF
        else:
            registers.ax = 0x8600 | registers.ax & 0xFF
            self.bench.carry(True)
