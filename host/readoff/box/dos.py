"""The kernel's gates: which service a call is for, how it failed, and the small services themselves."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, time
from typing import Final

from readoff.box import dos_errors as err
from readoff.box import images
from readoff.box.dos_errors import CriticalError, DosError
from readoff.box.dos_folders import Folders
from readoff.box.dos_handles import ANSWERS, Handles, OpenFile
from readoff.box.dos_memory import DosMemory
from readoff.box.dos_paths import pattern_of
from readoff.box.dos_process import EXIT_CRITICAL, Processes
from readoff.box.dos_state import KERNEL, DosState, Frame
from readoff.box.drives import Drives
from readoff.box.engine import FLAG_CARRY, Engine
from readoff.box.spec import MachineSpec
from readoff.errors import BoxError

# AH of INT 24h: an error in the data area of a disk, where ignore, retry and fail are all allowed.
_DISK_ERROR: Final = 0x3E
_DONE, _CRITICAL = 0, 1
END_OF_TEXT: Final = 0x1A


class Dos:
    """DOS on one boot of the box."""

    def __init__(self, engine: Engine, spec: MachineSpec, drives: Drives, top: int, today: date) -> None:
        self._engine = engine
        self._memory = engine.memory
        self._registers = engine.registers
        self.kernel = images.kernel()
        self._at = self.kernel.at
        self.state = DosState(engine, spec, drives, self.kernel, today)
        self._load()
        first = images.KERNEL_SEGMENT + (self._at.kernel_end >> 4)
        self.blocks = DosMemory(self._memory, first, top, names=spec.dos_version >= (4, 0))
        self._memory.put_word(KERNEL + self._at.first_mcb, first)
        self.handles = Handles(self.state)
        self.folders = Folders(self.state, self.handles)
        self.processes = Processes(self.state, self.handles, self.blocks)
        self.calls = 0
        self.strict = True  # a function that is not imitated is a BoxError; else error 1, as on real DOS
        self._services: dict[int, Callable[[Frame], int | None]] = {
            int(name[2:], 16): getattr(owner, name)
            for owner in (self, self.handles, self.folders, self.processes)
            for name in dir(owner)
            if name.startswith("f_")
        }

    def _load(self) -> None:
        self._engine.load(KERNEL, self.kernel.octets)
        segment = images.KERNEL_SEGMENT
        names = "int00 int20 int21 int22 int23 int24 int25 int27 int28 int29 int1b".split()
        for name in names:
            number = int(name[3:], 16)
            self._memory.put_word(4 * number, getattr(self._at, name))
            self._memory.put_word(4 * number + 2, segment)
        self._memory.put_word(4 * 0x26, self._at.int25)
        self._memory.put_word(4 * 0x26 + 2, segment)
        for number in (*range(0x2A, 0x30),):
            self._memory.put_word(4 * number, self._at.int28)
            self._memory.put_word(4 * number + 2, segment)
        if not self.state.spec.enhanced_keyboard:
            self._memory.octets[KERNEL + self._at.key_status_function] = 0x01
        self._memory.octets[KERNEL + self._at.break_check] = self.state.spec.break_on

    # -- gates ------------------------------------------------------------------------------------
    def _frame(self) -> Frame:
        at = KERNEL + self._at.user_sp
        return Frame(self._memory, self._memory.word(at + 2), self._memory.word(at))

    def _answer(self, al: int) -> None:
        self._registers.ax = self._registers.ax & 0xFF00 | al

    def gate_service(self) -> None:
        """A call with its registers in the caller's frame; the kernel goes on by AL."""
        self.calls += 1
        self.check_stacks()
        frame = self._frame()
        function = frame.ax >> 8
        service = self._services.get(function)
        if service is None and not self.strict:
            self._fail(frame, err.INVALID_FUNCTION)
            self._answer(_DONE)
            return
        if service is None:
            raise BoxError(
                f"INT 21h AH={function:02X}h is not imitated",
                where=f"{frame.cs:04X}:{frame.ip - 2 & 0xFFFF:04X}",
            )
        try:
            answer = service(frame) or _DONE
            if function >= 0x38 and function != 0x4D and not self._engine.redirected:
                frame.set_carry(False)
            self._answer(answer)
        except DosError as error:
            self._fail(frame, error.code, error.bx)
            self._answer(_DONE)
        except CriticalError as error:
            self._ask(error)
            self._answer(_CRITICAL)

    def _fail(self, frame: Frame, code: int, bx: int | None = None) -> None:
        self.state.extended_error = code
        if code == err.FAILED_BY_INT24:
            code = err.ACCESS_DENIED
        frame.ax = code
        if bx is not None:
            frame.bx = bx
        frame.set_carry(True)

    def _ask(self, error: CriticalError) -> None:
        self.state.extended_error = err.CRITICAL_FIRST + error.code
        words = (
            (self._at.critical_ax, (_DISK_ERROR | error.writing) << 8 | error.drive),
            (self._at.critical_code, error.code),
            (self._at.critical_device, self._at.device_con),
        )
        for at, value in words:
            self._memory.put_word(KERNEL + at, value)

    def gate_failed(self) -> None:
        """INT 24h answered: fail."""
        self._fail(self._frame(), err.FAILED_BY_INT24)
        self._answer(_DONE)

    def gate_abort(self) -> None:
        """INT 24h answered: abort."""
        self.processes.end(EXIT_CRITICAL, 0)

    def gate_reentry(self) -> None:
        """A call on a stack that is in use: a real kernel overwrites it and hangs."""
        registers = self._registers
        function = registers.ax >> 8
        raise BoxError(
            f"INT 21h AH={function:02X}h was called while DOS was inside another call on the same stack "
            f"(InDOS = {self._memory.octets[KERNEL + self._at.indos]}); a real kernel hangs here",
            where=self._engine.place(),
        )

    def gate_top(self) -> None:
        """The first command processor ended, which it never does."""
        raise BoxError("the command processor of the box has ended")

    def _standard(self, handle: int) -> OpenFile | None:
        try:
            return self.handles.of(handle)
        except DosError:
            return None

    def gate_char_out(self) -> None:
        """A character for handle 1."""
        self.check_stacks()
        character = self._registers.ax & 0xFF
        opened = self._standard(1)
        answer = _DONE
        if opened is not None:
            answer = ANSWERS.get(opened.kind, _DONE)
            if answer == _DONE:
                try:
                    self.handles.write(opened, bytes([character]))
                except (DosError, CriticalError):
                    self.state.extended_error = err.ACCESS_DENIED
        self._registers.ax = answer << 8 | character

    def gate_char_in(self) -> None:
        """A character from handle 0; the end of a file reads as 1Ah."""
        opened = self._standard(0)
        if opened is not None and opened.kind in ANSWERS:
            self._registers.ax = ANSWERS[opened.kind] << 8
            return
        character = END_OF_TEXT
        if opened is not None and opened.position < len(opened.data):
            character = opened.data[opened.position]
            opened.position += 1
        self._registers.ax = character

    def gate_quick(self) -> None:
        """Calls that need no DOS stack: 33h, 50h, 51h, 59h, 62h. Flags are on the caller's stack."""
        self.calls += 1
        registers, state = self._registers, self.state
        ax = registers.ax
        function = ax >> 8
        if function == 0x50:
            state.psp = registers.bx
        elif function in (0x51, 0x62):
            registers.bx = state.psp
        elif function == 0x59:
            registers.ax = state.extended_error
            registers.bx = 0x0D01
            registers.cx = registers.cx & 0xFF | 0x0200
        elif ax == 0x3300:
            registers.dx = registers.dx & 0xFF00 | self._memory.octets[KERNEL + self._at.break_check]
        elif ax == 0x3301:
            self._memory.octets[KERNEL + self._at.break_check] = registers.dx & 1
        elif ax == 0x3305:
            registers.dx = registers.dx & 0xFF00 | 3
        elif ax == 0x3306 and state.spec.dos_version >= (5, 0):
            registers.bx = state.spec.dos_version[1] << 8 | state.spec.dos_version[0]
            registers.dx = 0x1000 if state.spec.extras.dos_high else 0
        else:
            registers.ax = ax | 0x00FF
        if function == 0x59:
            address = (registers.ss << 4) + registers.sp + 4
            self._memory.put_word(address, self._memory.word(address) & ~FLAG_CARRY)

    def f_5d(self, frame: Frame) -> None:
        """AX=5D0Ah: set the extended error from the block at DS:DX, whose first word is its code."""
        if frame.al != 0x0A:
            raise BoxError(f"INT 21h AX=5D{frame.al:02X}h is not imitated")
        self.state.extended_error = self._memory.word((frame.ds << 4) + frame.dx)

    def check_stacks(self) -> None:
        """Raise BoxError when a DOS stack ran over its end."""
        for name in ("io_stack", "disk_stack"):
            top = self._memory.word(KERNEL + getattr(self._at, name))
            guard = KERNEL + top - images.STACK_SIZE - len(images.STACK_GUARD)
            if self._memory.octets[guard : guard + len(images.STACK_GUARD)] != images.STACK_GUARD:
                raise BoxError(
                    f"a DOS stack of {images.STACK_SIZE} octets ({name}) was too small for what hooks put on it",
                    where=self._engine.place(),
                )

    # -- small services ---------------------------------------------------------------------------
    def f_05(self, frame: Frame) -> None:
        """A character to the printer."""
        self.handles.printed.append(frame.dx & 0xFF)

    def f_0d(self, frame: Frame) -> None:
        """Flush: nothing is buffered but open files."""

    def f_1a(self, frame: Frame) -> None:
        """Set the DTA."""
        self.state.dta = (frame.ds, frame.dx)

    def f_25(self, frame: Frame) -> None:
        """Set a vector."""
        self._memory.put_word(4 * frame.al, frame.dx)
        self._memory.put_word(4 * frame.al + 2, frame.ds)

    def f_26(self, frame: Frame) -> None:
        """A copy of the running PSP at segment DX."""
        self._engine.load(frame.dx << 4, self._memory.read(self.state.psp, 0, 256))

    def f_29(self, frame: Frame) -> None:
        """Parse a name at DS:SI into an FCB at ES:DI (blanks are skipped, wildcards allowed)."""
        text = self._memory.read(frame.ds, frame.si, 64)
        start = len(text) - len(text.lstrip(b" \t"))
        end = start
        while end < len(text) and text[end] not in b' \t\r\0/;,=+<>|"':
            end += 1
        name = text[start:end].decode("cp437").upper()
        drive = 0
        if name[1:2] == ":":
            drive, name = ord(name[0]) - ord("A") + 1, name[2:]
        pattern = pattern_of(name)
        octets = bytes([drive]) + pattern.encode("cp437")
        self._engine.load((frame.es << 4) + frame.di, octets)
        frame.si = frame.si + end & 0xFFFF
        letter = chr(ord("A") + drive - 1) if drive else self.state.drive
        bad = self.state.drives.get(letter) is None
        frame.set_al(0xFF if bad else int("?" in pattern))

    def f_2a(self, frame: Frame) -> None:
        """Date: CX year, DH month, DL day, AL day of the week (0 = Sunday)."""
        today = self.state.now()
        frame.cx, frame.dx = today.year, today.month << 8 | today.day
        frame.set_al(today.isoweekday() % 7)

    def f_2b(self, frame: Frame) -> None:
        """Set the date; AL = FF when it does not exist."""
        try:
            if not 1980 <= frame.cx <= 2099:
                raise ValueError
            self.state.set_date(date(frame.cx, frame.dx >> 8, frame.dx & 0xFF))
            frame.set_al(0)
        except ValueError:
            frame.set_al(0xFF)

    def f_2c(self, frame: Frame) -> None:
        """Time: CH hour, CL minute, DH second, DL hundredth."""
        now = self.state.now()
        frame.cx = now.hour << 8 | now.minute
        frame.dx = now.second << 8 | now.microsecond // 10_000

    def f_2d(self, frame: Frame) -> None:
        """Set the time."""
        cx, dx = frame.cx, frame.dx
        try:
            self.state.set_time(time(cx >> 8, cx & 0xFF, dx >> 8, (dx & 0xFF) * 10_000))
            frame.set_al(0)
        except ValueError:
            frame.set_al(0xFF)

    def f_2e(self, frame: Frame) -> None:
        """Verify flag."""
        self.state.verify = frame.al & 1

    def f_2f(self, frame: Frame) -> None:
        """Where the DTA is."""
        frame.es, frame.bx = self.state.dta

    def f_30(self, frame: Frame) -> None:
        """Version: AL major, AH minor."""
        major, minor = self.state.spec.dos_version
        frame.ax, frame.bx, frame.cx = minor << 8 | major, 0xFF00, 0

    def f_34(self, frame: Frame) -> None:
        """Where InDOS is."""
        frame.es, frame.bx = images.KERNEL_SEGMENT, self._at.indos

    def f_35(self, frame: Frame) -> None:
        """Get a vector."""
        frame.bx, frame.es = self._memory.word(4 * frame.al), self._memory.word(4 * frame.al + 2)

    def f_37(self, frame: Frame) -> None:
        """The switch character."""
        if frame.al != 0:
            raise DosError(err.INVALID_FUNCTION)
        frame.dx = frame.dx & 0xFF00 | ord("/")

    def f_38(self, frame: Frame) -> None:
        """Country: 1, with its 34 octets."""
        if frame.dx != 0xFFFF:
            octets = b"\0\0$\0\0\0\0,\0.\0-\0:\0\0\2\0".ljust(34, b"\0")
            self._engine.load((frame.ds << 4) + frame.dx, octets)
        frame.ax = frame.bx = 1

    def f_52(self, frame: Frame) -> None:
        """The list of lists; the word before it is the first memory block."""
        frame.es, frame.bx = images.KERNEL_SEGMENT, self._at.lists

    def f_54(self, frame: Frame) -> None:
        """Verify flag."""
        frame.set_al(self.state.verify)
