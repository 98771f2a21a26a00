"""One thread that watches one folder: looks now and then, and at once when the system says that something changed.

What the system says is only a hint. Nothing is said about network shares, events get lost when there are many,
and a change may come without one: what counts is what a look finds. So there is no need for a second, polling
observer either.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer

from readoff.arrivals.folders import FolderReader
from readoff.arrivals.told import About, Note, Told

PENDING_WAIT = 0.25
"""Seconds between looks while a file is growing or settling."""

HINT_WAIT = 0.05
"""Seconds between a hint and the look: hints come in crowds."""


class _Hints(FileSystemEventHandler):
    """Gathers the paths that the system speaks of."""

    def __init__(self, wake: threading.Event) -> None:
        self._wake = wake
        self._lock = threading.Lock()
        self._paths: set[str] = set()

    def on_any_event(self, event: FileSystemEvent) -> None:
        """Opening and closing without writing are our own doing, too: they are no hint."""
        if event.event_type in ("opened", "closed_no_write") or event.is_directory:
            return
        with self._lock:
            self._paths |= {str(path) for path in (event.src_path, event.dest_path) if path}
        self._wake.set()

    def fetch(self) -> set[str]:
        """The paths since the last call."""
        with self._lock:
            paths, self._paths = self._paths, set()
        return paths


class WatchedFolder(threading.Thread):
    """Works one FolderReader until ``stop`` is called. every: seconds between looks without a hint."""

    def __init__(self, reader: FolderReader, told: Told, *, recursive: bool, every: float = 2.0) -> None:
        super().__init__(name=f"folder {reader.folder}", daemon=True)
        self.reader, self.status = reader, reader.status
        self._told, self._recursive, self._every = told, recursive, every
        self._wake = threading.Event()
        self._ending = threading.Event()
        self._hints = _Hints(self._wake)

    def stop(self) -> None:
        """Ends it after the file in hand; does not wait."""
        self._ending.set()
        self._wake.set()

    def run(self) -> None:
        """Looks again and again. An error of our own ends the thread and is told, not swallowed."""
        try:
            with self._observed():
                while not self._ending.is_set():
                    self._rest(self._look())
        except Exception as error:
            self.status.alive, self.status.problem = False, f"{type(error).__name__}: {error}"
            what = f"no longer watched, by a mistake of this program ({self.status.problem})"
            self._told(Note(self.status.name, About.SOURCE, what))
            raise

    def _rest(self, took: float) -> None:
        """Waits for the next look; when that is far off, the files that hold a record are looked at meanwhile."""
        until = time.monotonic() + max(PENDING_WAIT if self.reader.pending else self._every, 3 * took)
        while (left := until - time.monotonic()) > 0:
            if self._wake.wait(min(left, PENDING_WAIT) if self.reader.waiting else left):
                self._ending.wait(min(HINT_WAIT + took, self._every))
                return
            if left > PENDING_WAIT:
                self.reader.look_again(time.monotonic())

    def _look(self) -> float:
        """One look; gives the seconds that it took, so that a huge folder does not take all our time."""
        self._wake.clear()
        began = time.monotonic()
        self.reader.look(began, self._hints.fetch(), lambda: not self._ending.is_set())
        took = time.monotonic() - began
        self.reader.deep_every = max(self.reader.deep_every, 20 * took)
        return took

    @contextmanager
    def _observed(self) -> Iterator[None]:
        observer = None
        try:
            observer = Observer()
            observer.schedule(self._hints, str(self.reader.folder), recursive=self._recursive)
            observer.start()
        except OSError:
            pass  # no folder yet, or no watches left: looks alone will do
        try:
            yield
        finally:
            if observer is not None:
                observer.stop()
                if observer.is_alive():
                    observer.join()
