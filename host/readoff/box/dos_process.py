"""Processes: the PSP, environments, EXEC of .COM and .EXE, every way to end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from readoff.box import dos_errors as err
from readoff.box.dos_errors import DosError
from readoff.box.dos_handles import Handles
from readoff.box.dos_memory import DosMemory, DosMemoryError
from readoff.box.dos_paths import resolve
from readoff.box.dos_state import KERNEL, DosState, Frame

PSP_TOP, PSP_INT22, PSP_INT23, PSP_INT24, PSP_PARENT = 0x02, 0x0A, 0x0E, 0x12, 0x16
PSP_ENVIRONMENT, PSP_STACK, PSP_FCB1, PSP_FCB2, PSP_TAIL = 0x2C, 0x2E, 0x5C, 0x6C, 0x80
PSP_PARAGRAPHS: Final = 0x10
COM_ROOM: Final = 0x100  # octets of stack that a .COM must have
EXIT_NORMAL, EXIT_BREAK, EXIT_CRITICAL, EXIT_RESIDENT = 0, 1, 2, 3
# What comes back in AX and BX after EXEC is no more use; a program that relies on them fails here too.
AX_AFTER_EXEC: Final = 0xA5E1
BX_AFTER_EXEC: Final = 0x5B1A


@dataclass(frozen=True)
class Ended:
    """A process that ended. kind: 0 by itself, 1 Ctrl-C or divide error, 2 critical error, 3 resident."""

    psp: int
    parent: int
    name: str
    kind: int
    code: int


@dataclass(frozen=True)
class _Image:
    octets: bytes
    is_exe: bool
    least: int  # paragraphs with the PSP
    most: int


class Processes:
    """The functions of DOS that start and end programs."""

    def __init__(self, state: DosState, handles: Handles, blocks: DosMemory) -> None:
        self._state = state
        self._memory = state.memory
        self._handles = handles
        self._blocks = blocks
        self.on_loaded: Callable[[int, int], None] = lambda address, size: None
        self.on_ended: Callable[[Ended], None] = lambda ended: None
        self.names: dict[int, str] = {}

    # -- the kernel's state -----------------------------------------------------------------------
    def release_stacks(self) -> None:
        """Leave the kernel for good: no stack in use, InDOS 0."""
        at = self._state.kernel.at
        octets = self._memory.octets
        for stack in (at.io_stack, at.disk_stack):
            octets[KERNEL + stack + 2] = 0
        octets[KERNEL + at.indos] = octets[KERNEL + at.error_mode] = 0
        self._memory.put_word(KERNEL + at.active, 0)

    def _vector(self, number: int) -> tuple[int, int]:
        return self._memory.word(4 * number), self._memory.word(4 * number + 2)

    def _put_far(self, address: int, offset: int, segment: int) -> None:
        self._memory.put_word(address, offset)
        self._memory.put_word(address + 2, segment)

    # -- starting ---------------------------------------------------------------------------------
    def make_psp(self, psp: int, top: int, environment: int, parent: int, back: tuple[int, int]) -> None:
        """A PSP for a program whose memory ends at segment top. back: (offset, segment) for INT 22h."""
        base = psp << 4
        version = self._state.spec.dos_version
        self._state.engine.load(base, bytes(0x100))
        self._state.engine.load(base, b"\xcd\x20")
        self._memory.put_word(base + PSP_TOP, top)
        self._state.engine.load(base + 5, b"\x9a\xf0\xfe\x1d\xf0")
        self._put_far(base + PSP_INT22, *back)
        self._put_far(base + PSP_INT23, *self._vector(0x23))
        self._put_far(base + PSP_INT24, *self._vector(0x24))
        self._memory.put_word(base + PSP_PARENT, parent)
        self._memory.octets[base + 0x18 : base + 0x2C] = b"\xff" * 20
        self._memory.put_word(base + PSP_ENVIRONMENT, environment)
        self._memory.put_word(base + 0x32, 20)
        self._put_far(base + 0x34, 0x18, psp)
        self._put_far(base + 0x38, 0xFFFF, 0xFFFF)
        self._memory.octets[base + 0x40] = version[0]
        self._memory.octets[base + 0x41] = version[1]
        self._state.engine.load(base + 0x50, b"\xcd\x21\xcb")
        for fcb in (PSP_FCB1, PSP_FCB2):
            self._memory.octets[base + fcb + 1 : base + fcb + 12] = b" " * 11
        self._memory.octets[base + PSP_TAIL + 1] = 0x0D

    def f_4b(self, frame: Frame) -> None:
        """EXEC: AL = 00 load and run, 03 load an overlay."""
        if frame.al not in (0, 3):
            raise DosError(err.INVALID_FUNCTION)
        place = resolve(self._state, self._memory.string(frame.ds, frame.dx).decode("cp437"))
        entry = place.drive.entries.get(place.path)
        self._handles.touch(place, "read")
        if entry is None:
            raise DosError(err.FILE_NOT_FOUND)
        if entry.is_folder:
            raise DosError(err.ACCESS_DENIED)
        block = (frame.es << 4) + frame.bx
        if frame.al == 3:
            self._load_overlay(entry.data, self._memory.word(block), self._memory.word(block + 2))
            return
        self._run(frame, block, entry.data, f"{place.letter}:\\{place.path}")

    def _load_overlay(self, data: bytes, segment: int, factor: int) -> None:
        octets = _relocated(data, factor) if data[:2] in (b"MZ", b"ZM") else data
        self._state.engine.load(segment << 4, octets)

    def _run(self, frame: Frame, block: int, data: bytes, path: str) -> None:
        parent = self._state.psp
        image = _measure(data)
        word = self._memory.word
        environment, psp, size = self._claim(word(block), parent, image, path)
        top = psp + size
        stem = path.rpartition("\\")[2].partition(".")[0]
        self._blocks.own(environment, psp, "")
        self._blocks.own(psp, psp, stem)
        self.names[psp] = path
        self.make_psp(psp, top, environment, parent, (frame.ip, frame.cs))
        base = psp << 4
        tail = self._memory.read(word(block + 4), word(block + 2), 128)
        self._memory.octets[base + PSP_TAIL : base + PSP_TAIL + 128] = tail
        for target, source in ((PSP_FCB1, 6), (PSP_FCB2, 10)):
            if word(block + source + 2) != 0xFFFF:
                fcb = self._memory.read(word(block + source + 2), word(block + source), 12)
                self._memory.octets[base + target : base + target + 12] = fcb
        self._handles.inherit(psp)
        self._put_far(4 * 0x22, frame.ip, frame.cs)
        self._state.psp = psp
        self._state.dta = (psp, 0x80)
        self.release_stacks()
        self._enter(psp, size, image)

    def _claim(self, given: int, parent: int, image: _Image, path: str) -> tuple[int, int, int]:
        """Blocks for environment and program: (environment, psp, paragraphs)."""
        source = given or self._memory.word((parent << 4) + PSP_ENVIRONMENT)
        octets = self._environment(source) + b"\x01\x00" + path.encode("cp437") + b"\0"
        environment = 0
        try:
            # What lies behind the last NUL of an environment block is whatever was there.
            environment = self._blocks.allocate((len(octets) + 31) // 16, parent)
            self._state.engine.load(environment << 4, octets)
            size = min(image.most, self._blocks.largest())
            if size < image.least:
                raise DosMemoryError(err.NO_MEMORY)
            return environment, self._blocks.allocate(size, parent), size
        except DosMemoryError as error:
            if environment:
                self._blocks.free(environment)
            raise DosError(error.code) from None

    def _environment(self, segment: int) -> bytes:
        if not segment:
            return b"\0\0"
        octets = self._memory.read(segment, 0, 0x8000)
        end = octets.find(b"\0\0")
        if end < 0:
            raise DosError(err.BAD_ENVIRONMENT)
        return octets[: end + 2]

    def _enter(self, psp: int, size: int, image: _Image) -> None:
        load = psp + PSP_PARAGRAPHS
        data = image.octets
        if image.is_exe:
            octets = _relocated(data, load)
            words = _header(data)
            self._state.engine.load(load << 4, octets)
            cs, ip = load + words[11] & 0xFFFF, words[10]
            ss, sp = load + words[7] & 0xFFFF, words[8]
        else:
            octets = data
            self._state.engine.load(load << 4, octets)
            cs = ss = psp
            ip, sp = 0x100, min(0xFFFE, size * 16 - 2)
            self._memory.put_word((psp << 4) + sp, 0)
        self.on_loaded(load << 4, len(octets))
        self._state.engine.redirect(
            cs=cs, ip=ip, ss=ss, sp=sp, ds=psp, es=psp, ax=0, bx=0, cx=0xFF, dx=psp, si=ip, di=sp, bp=0x091C
        )

    # -- ending -----------------------------------------------------------------------------------
    def f_00(self, frame: Frame) -> None:
        """End; code 0."""
        self.end(self._kind(), 0)

    def f_4c(self, frame: Frame) -> None:
        """End with a code."""
        self.end(self._kind(), frame.al)

    def f_31(self, frame: Frame) -> None:
        """Stay resident with DX paragraphs."""
        psp = self._state.psp
        try:
            self._blocks.resize(psp, max(6, frame.dx))
        except DosMemoryError as error:
            if error.code != err.NO_MEMORY:
                raise DosError(error.code) from None
        self.end(EXIT_RESIDENT, frame.al)

    def f_4d(self, frame: Frame) -> None:
        """Kind and code of the last child; reading clears them."""
        frame.ax, self._state.return_code = self._state.return_code, 0

    def _kind(self) -> int:
        address = KERNEL + self._state.kernel.at.exit_kind
        kind: int = self._memory.octets[address]
        self._memory.octets[address] = 0
        return kind

    def end(self, kind: int, code: int) -> None:
        """End the running process and go on in its parent, by INT 22h's address, on the parent's stack.

        The parent's stack is the one of its last INT 21h, as in a real kernel: a parent whose hooks
        made calls in its name meanwhile must restore its own.
        """
        self._blocks.check()
        psp = self._state.psp
        base = psp << 4
        parent = self._memory.word(base + PSP_PARENT)
        back = self._memory.word(base + PSP_INT22), self._memory.word(base + PSP_INT22 + 2)
        for number, at in ((0x22, PSP_INT22), (0x23, PSP_INT23), (0x24, PSP_INT24)):
            self._put_far(4 * number, self._memory.word(base + at), self._memory.word(base + at + 2))
        if kind != EXIT_RESIDENT:
            self._handles.close_all(psp)
            self._blocks.free_owned(psp)
        self._state.psp = parent
        self._state.return_code = kind << 8 | code
        self.release_stacks()
        self.on_ended(Ended(psp, parent, self.names.get(psp, ""), kind, code))
        stack = self._memory.word((parent << 4) + PSP_STACK), self._memory.word((parent << 4) + PSP_STACK + 2)
        frame = Frame(self._memory, stack[1], stack[0])
        self._state.engine.redirect(
            cs=back[1],
            ip=back[0],
            ss=stack[1],
            sp=stack[0] + 24 & 0xFFFF,
            ds=frame.ds,
            es=frame.es,
            ax=AX_AFTER_EXEC,
            bx=BX_AFTER_EXEC,
            cx=frame.cx,
            dx=0,
            si=frame.si,
            di=frame.di,
            bp=frame.bp,
        )

    # -- memory -----------------------------------------------------------------------------------
    def f_48(self, frame: Frame) -> None:
        """Allocate."""
        try:
            frame.ax = self._blocks.allocate(frame.bx, self._state.psp)
        except DosMemoryError as error:
            raise DosError(error.code, error.most) from None

    def f_49(self, frame: Frame) -> None:
        """Free."""
        try:
            self._blocks.free(frame.es)
        except DosMemoryError as error:
            raise DosError(error.code) from None

    def f_4a(self, frame: Frame) -> None:
        """Resize."""
        try:
            self._blocks.resize(frame.es, frame.bx)
        except DosMemoryError as error:
            raise DosError(error.code, error.most if error.code == err.NO_MEMORY else None) from None
        if frame.es == self._state.psp:  # a program that moves itself when it starts has done so by now
            code = min(frame.bx - PSP_PARAGRAPHS << 4, 0xFF00)
            self.on_loaded(frame.es + PSP_PARAGRAPHS << 4, max(0, code))

    def f_58(self, frame: Frame) -> None:
        """Get or set the strategy of allocation; there are no upper memory blocks."""
        if frame.al == 0:
            frame.ax = self._blocks.strategy
        elif frame.al == 1 and frame.bx <= 2:
            self._blocks.strategy = frame.bx
        elif frame.al == 2:
            frame.set_al(0)
        else:
            raise DosError(err.INVALID_FUNCTION)


def _header(data: bytes) -> list[int]:
    return [int.from_bytes(data[i : i + 2], "little") for i in range(0, 28, 2)]


def _measure(data: bytes) -> _Image:
    """What a program file needs. Raises DosError(0Bh) on an .EXE that cannot be."""
    if data[:2] not in (b"MZ", b"ZM"):
        if len(data) > 0xFF00:
            raise DosError(err.NO_MEMORY)
        return _Image(data, False, PSP_PARAGRAPHS + (len(data) + COM_ROOM + 15) // 16, 0xFFFF)
    words = _header(data)
    size = words[2] * 512 - (512 - words[1] if words[1] else 0) - words[4] * 16
    if len(data) < 28 or size < 0 or words[12] + 4 * words[3] > len(data):
        raise DosError(err.BAD_FORMAT)
    paragraphs = PSP_PARAGRAPHS + (size + 15) // 16
    return _Image(data, True, paragraphs + words[5], min(0xFFFF, paragraphs + max(words[5], words[6])))


def _relocated(data: bytes, segment: int) -> bytes:
    """The load image of an .EXE with its relocations for a segment."""
    words = _header(data)
    size = words[2] * 512 - (512 - words[1] if words[1] else 0) - words[4] * 16
    octets = bytearray(data[words[4] * 16 :][: max(0, size)])
    for i in range(words[3]):
        at = words[12] + 4 * i
        offset, place = (
            int.from_bytes(data[at : at + 2], "little"),
            int.from_bytes(data[at + 2 : at + 4], "little"),
        )
        target = place * 16 + offset
        if target + 2 > len(octets):
            raise DosError(err.BAD_FORMAT)
        value = int.from_bytes(octets[target : target + 2], "little") + segment
        octets[target : target + 2] = (value & 0xFFFF).to_bytes(2, "little")
    return bytes(octets)
