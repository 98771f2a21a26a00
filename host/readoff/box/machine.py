"""The box: a machine that can be booted, given programs to run, and treated badly.

It is a test machine. It imitates what programs of the kind that Readoff runs notice of a PC, and it is
loud (BoxError) where a real machine would hang or where it does not know better.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Final, Literal

from readoff.box.boot import Boot, PowerCut, Reset
from readoff.box.dos_process import EXIT_BREAK, EXIT_CRITICAL, EXIT_NORMAL, EXIT_RESIDENT, Ended
from readoff.box.drives import Drive, Drives
from readoff.box.engine import SECOND
from readoff.box.keyboard import keys_of
from readoff.box.shell import Job
from readoff.box.spec import MachineSpec
from readoff.errors import BoxError, UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from readoff.box.line import Line

ExitKind = Literal["ended", "break", "critical", "resident", "reset", "power cut", "not started"]
_KINDS: Final[dict[int, ExitKind]] = {
    EXIT_NORMAL: "ended",
    EXIT_BREAK: "break",
    EXIT_CRITICAL: "critical",
    EXIT_RESIDENT: "resident",
}
_WATCH_EVERY: Final = SECOND // 20
DEFAULT_ENVIRONMENT: Final = {"COMSPEC": "C:\\COMMAND.COM", "PATH": "C:\\", "PROMPT": "$P$G"}


@dataclass(frozen=True)
class Exit:
    """How a run ended. console: all octets that went to the screen by the BIOS's teletype.

    code: the exit code; for "not started" DOS's error code. elapsed: virtual picoseconds.
    """

    kind: ExitKind
    code: int
    console: bytes
    elapsed: int
    how: str = ""

    @property
    def seconds(self) -> float:
        """Virtual seconds."""
        return self.elapsed / SECOND


class Box:
    """A test machine. Boot it, then run programs; drives survive, everything else goes with a boot.

    most_seconds: virtual seconds that a run may take; patience: seconds of the host's time. Beyond
    either a run ends with BoxError, so that nothing runs for ever.
    """

    def __init__(self, spec: MachineSpec, drives: dict[str, Drive] | None = None) -> None:
        self.spec = spec
        self.drives = Drives(drives if drives is not None else {"C": Drive()})
        self.environment = dict(DEFAULT_ENVIRONMENT)
        self.most_seconds = 600.0
        self.patience = 120.0
        self.shown_at = spec.started_at
        self.ended: list[Ended] = []
        self._cmos: bytes | None = None
        self._boot: Boot | None = None
        self._runs = 0
        self._next_number = 1

    # -- power ------------------------------------------------------------------------------------
    @property
    def on(self) -> Boot:
        """The boot in progress. Raises UsageError when the box is off."""
        if self._boot is None:
            raise UsageError("the box is off", next_step="Boot it first.")
        return self._boot

    def boot(self, number: int | None = None, *, cold: bool = True, at: datetime | None = None) -> None:
        """Power-up or reset. number: what chance is drawn from, so that boot 3 is always the same boot 3.

        at: what the clock shows; else it goes on from the last boot, a minute later after power-off.
        """
        if self._boot is not None:
            self.power_off()
        if at is not None:
            self.shown_at = at
        number = self._next_number if number is None else number
        self._next_number = number + 1
        self._runs = 0
        boot = Boot(
            self.spec,
            self.drives,
            number,
            self.shown_at,
            cold=cold,
            environment=self.environment,
            cmos=self._cmos,
        )
        boot.dos.processes.on_ended = self._process_ended
        self._boot = boot
        if (c_drive := self.drives.get("C")) is not None and "COMMAND.COM" not in c_drive.entries:
            c_drive.write("COMMAND.COM", boot.command_com(), self.spec.started_at)
        boot.timetable.run_due()
        boot.run_until_idle()

    def power_off(self) -> None:
        """Off. What programs did not close or commit is lost."""
        boot = self.on
        boot.dos.handles.forget_all()
        if boot.rtc is not None:
            self._cmos = bytes(boot.rtc.octets)
        self.shown_at += timedelta(microseconds=boot.engine.now() // 10**6) + timedelta(minutes=1)
        self._boot = None

    def _process_ended(self, ended: Ended) -> None:
        self.ended.append(ended)
        self.on.forget_shell(ended.psp)

    # -- running ----------------------------------------------------------------------------------
    def run(self, program: str, tail: str = "", *, keys: str = "") -> Exit:
        """Run a program on a drive by its path, as COMMAND.COM would.

        tail: its arguments. keys: typed whenever something has polled the keyboard for a while.
        Raises BoxError when it does what a real machine would not survive, or does not end.
        """
        if tail and not tail.startswith(" "):
            tail = f" {tail}"
        return self._perform(Job(program.upper(), tail), keys)

    def command(self, line: str, *, keys: str = "") -> Exit:
        """Have COMMAND.COM do a line: a program by name, a batch file, ECHO, redirection."""
        return self._perform(line, keys)

    def _perform(self, job: Job | str, keys: str) -> Exit:
        boot = self.on
        self._runs += 1
        boot.set_speed(self._runs)
        boot.keyboard.when_waiting.extend(keys_of(keys))
        started, heard = boot.engine.now(), len(boot.video.teletype)
        boot.jobs.append(job)
        watch = self._watch(boot, started)

        def left(kind: ExitKind, code: int = 0, how: str = "") -> Exit:
            console = bytes(boot.video.teletype[heard:])
            return Exit(kind, code, console, boot.engine.now() - started, how)

        try:
            boot.run_until_idle()
            boot.dos.check_stacks()
        except Reset as reset:
            self.power_off()
            return left("reset", how=reset.how)
        except PowerCut:
            self.power_off()
            return left("power cut")
        finally:
            watch()
            boot.keyboard.when_waiting.clear()
        result = boot.first_shell().results.pop()
        if result.error is not None:
            return left("not started", result.error)
        return left(_KINDS.get(result.code >> 8, "ended"), result.code & 0xFF)

    def _watch(self, boot: Boot, started: int) -> Callable[[], None]:
        """End a run that takes too long. Returns what takes the watch away."""
        active = True
        host_started = time.monotonic()

        def look() -> None:
            if not active:
                return
            virtual = (boot.engine.now() - started) / SECOND
            if virtual > self.most_seconds or time.monotonic() - host_started > self.patience:
                raise BoxError(
                    f"the program does not end ({virtual:.1f} s on the box)", where=boot.engine.place()
                )
            boot.timetable.at(boot.engine.now() + _WATCH_EVERY, look)

        def stop() -> None:
            nonlocal active
            active = False

        boot.timetable.at(started + _WATCH_EVERY, look)
        return stop

    # -- around the box ---------------------------------------------------------------------------
    def drive(self, letter: str) -> Drive:
        """A drive by its letter."""
        return self.drives[letter]

    def line(self, number: int = 1) -> Line:
        """The outside of COM1 and so on, of this boot."""
        lines = self.on.lines
        if not 1 <= number <= len(lines):
            raise UsageError(f"the box has no COM{number}")
        return lines[number - 1]

    def screen_rows(self) -> list[str]:
        """The text screen, one string a row; [] in a graphics mode."""
        return self.on.video.screen_rows()

    def type_at(self, seconds: float, keys: str) -> None:
        """Press keys at a moment from now on the virtual clock, 20 ms apart."""
        boot = self.on
        moment = boot.engine.now() + round(seconds * SECOND)
        for i, key in enumerate(keys_of(keys)):
            boot.timetable.at(moment + i * SECOND // 50, partial(boot.keyboard.press, key))

    # -- faults and counting ----------------------------------------------------------------------
    def cut_power_at(self, seconds: float) -> None:
        """Cut the power at a moment from now on the virtual clock."""
        boot = self.on

        def cut() -> None:
            raise PowerCut

        boot.timetable.at(boot.engine.now() + round(seconds * SECOND), cut)

    def cut_power_after(self, instructions: int) -> None:
        """Cut the power before the guest's instruction number so-and-so from now on (exact, and slow)."""
        engine = self.on.engine
        left = instructions

        def count(_address: int) -> None:
            nonlocal left
            if left == 0:
                raise PowerCut
            left -= 1

        engine.hook_code(1, 0xFFFFFFFF, count)
        engine.forget_code()

    @contextmanager
    def counting(self, *, but: range = range(0)) -> Iterator[Callable[[], int]]:
        """Count the guest's instructions meanwhile: ``with box.counting() as count: ...; count()``.

        but: linear addresses whose instructions are left out.
        """
        engine = self.on.engine
        total = 0

        def tick(_uc: object, address: int, _size: int, _data: object) -> None:
            nonlocal total
            total += address not in but

        hook = engine.hook_code_lean(tick)
        engine.forget_code()
        try:
            yield lambda: total
        finally:
            engine.unhook(hook)

    @contextmanager
    def counting_between(self, begin: int, end: int) -> Iterator[list[int]]:
        """Count instructions from one linear address to another, each time that the guest goes that way.

        The list grows by one number at each arrival at end after begin; what interrupts do counts too.
        """
        engine = self.on.engine
        counts: list[int] = []
        since: int | None = None

        def look(_uc: int, address: int, _size: int, _data: object) -> None:
            nonlocal since
            if since is not None:
                since += 1
            if address == begin:
                since = 0
            elif address == end and since is not None:
                counts.append(since)
                since = None

        hook = engine.hook_code_lean(look)
        engine.forget_code()
        try:
            yield counts
        finally:
            engine.unhook(hook)
