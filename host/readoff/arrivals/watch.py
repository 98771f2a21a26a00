"""All sources at once: folders and lines, each in a thread of its own, and one writer to the store."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import FrameType

from readoff.arrivals.clerk import Clerk, Planner
from readoff.arrivals.connections import Address, parse_address
from readoff.arrivals.folders import FolderReader
from readoff.arrivals.intake import Intake
from readoff.arrivals.lines import ListeningLine, PortLine
from readoff.arrivals.told import About, Note, Status, Told, Took
from readoff.arrivals.watched_folder import WatchedFolder

SERVE_WAIT = 0.05
END_WAIT = 10.0
"""Seconds that the sources have to end; one that hangs in the system is then left behind."""


def _tell_nobody(what: Took | Note) -> None:
    """For those who only want the store filled."""


class Watch:
    """Watches folders and lines, and takes what arrives.

    folders: paths; recursive: and the folders in them. lines: as readoff.arrivals.connections says.
    told: called for each arrival and note, in the thread of ``run``. every: seconds between looks at a folder;
    settle: seconds without a change after which a file that does not go on to its END is taken as it is. move_to:
    a folder outside the watched ones, to which their files are moved once they were taken.
    Raises LineError for a line that is written wrong.
    """

    def __init__(
        self,
        intake: Intake,
        folders: Sequence[Path | str] = (),
        lines: Sequence[str] = (),
        *,
        recursive: bool = False,
        told: Told = _tell_nobody,
        every: float = 2.0,
        settle: float = 3.0,
        move_to: Path | None = None,
    ) -> None:
        self._clerk = Clerk(intake, told)
        self._ending = threading.Event()
        addresses = [parse_address(line) for line in dict.fromkeys(lines)]
        self.folders = [
            WatchedFolder(
                self._reader(Path(folder), recursive, settle, move_to),
                self._clerk.tell,
                recursive=recursive,
                every=every,
            )
            for folder in dict.fromkeys(folders)
        ]
        self.lines = [self._line(address) for address in addresses]

    def _reader(self, folder: Path, recursive: bool, settle: float, move_to: Path | None) -> FolderReader:
        clerk = self._clerk
        return FolderReader(folder, clerk, clerk.tell, recursive=recursive, settle=settle, move_to=move_to)

    def _line(self, address: Address) -> PortLine | ListeningLine:
        return (ListeningLine if address.form == "listen" else PortLine)(address, self._clerk)

    def plan_with(self, planner: Planner) -> None:
        """Lets a planner answer the agents that stand by, in the thread of ``run``; without one: nothing to do."""
        self._clerk.planner = planner

    def note(self, about: About, source: str, what: str) -> None:
        """Tells something in the thread of ``run``, from any thread; does not wait."""
        self._clerk.tell(Note(source, about, what))

    def run(self, until_idle: float | None = None) -> None:
        """Works until ``stop``, Ctrl-C or SIGTERM, or until nothing has come for ``until_idle`` seconds.

        What is in hand is finished first: an arrival is committed and answered, or not begun. A second Ctrl-C
        interrupts at once, as usual. The store is used in the calling thread alone. Call it once.
        """
        sources = [*self.folders, *self.lines]
        with self._signals():
            for source in sources:
                source.start()
            began = time.monotonic()
            try:
                while not self._ending.is_set():
                    if self._clerk.serve(SERVE_WAIT) or until_idle is None:
                        continue
                    if self._idle(began, time.monotonic()) >= until_idle:
                        break
            finally:
                self._wind_up(sources)

    def stop(self) -> None:
        """Ends ``run``, from any thread; does not wait."""
        self._ending.set()

    def statuses(self) -> list[Status]:
        """The state of each source at this moment, from any thread."""
        found = [folder.status for folder in self.folders]
        for line in self.lines:
            found += line.statuses() if isinstance(line, ListeningLine) else [line.status]
        return [replace(status) for status in found]

    def _idle(self, began: float, now: float) -> float:
        """Seconds since something last came; 0 while a file is growing, or a folder was not looked at yet."""
        if any(folder.status.alive and folder.status.pending for folder in self.folders):
            return 0.0
        return now - max([began, *(each.last_activity or began for each in self.statuses())])

    def _wind_up(self, sources: Sequence[WatchedFolder | PortLine | ListeningLine]) -> None:
        """Ends the sources, and serves them until the last one has ended."""
        for source in sources:
            source.stop()
        deadline = time.monotonic() + END_WAIT
        first: Exception | None = None
        while time.monotonic() < deadline:
            alive = any(source.is_alive() for source in sources)
            try:
                if not self._clerk.serve(SERVE_WAIT if alive else 0) and not alive:
                    break
            except Exception as error:
                first = first or error
        if first is not None:
            raise first

    @contextmanager
    def _signals(self) -> Iterator[None]:
        """Ctrl-C and SIGTERM end ``run``, once; where we are not in the main thread, others see to signals."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        wanted = (signal.SIGINT, signal.SIGTERM)
        before = {number: signal.getsignal(number) for number in wanted}

        def end(number: int, frame: FrameType | None) -> None:
            self.stop()
            signal.signal(number, before[signal.Signals(number)])

        for number in wanted:
            signal.signal(number, end)
        try:
            yield
        finally:
            for number in wanted:
                signal.signal(number, before[number])
