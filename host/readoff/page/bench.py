"""The bench as the watch knows it: its sources, what was told of them, and whether a machine may be powered off."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from readoff.arrivals.told import Note, Status, Took

NOTES_KEPT = 30
TALKING = 10.0
"""Seconds after its last octet for which a line is said to be talking."""


@dataclass(frozen=True)
class Told:
    """A note with the time at which it was told (UTC)."""

    at: datetime
    source: str
    what: str


@dataclass(frozen=True)
class Source:
    """One line or folder as the page shows it. state: one word; power: what is known of its machine's spool."""

    status: Status
    state: str
    last_arrival: datetime | None
    power: Power


@dataclass(frozen=True)
class Power:
    """What the host can know about powering off. answer: "yes", "no" or "" (not known); why: a sentence."""

    answer: str
    why: str

    @property
    def title(self) -> str:
        """In big letters."""
        return {"yes": "Safe to power off, at the prompt", "no": "Leave it on"}.get(
            self.answer, "Power off: not known"
        )


class Bench:
    """Gathers what the watch tells. Fed in the thread of the watch, looked at from any.

    statuses: gives the state of each source at this moment.
    """

    def __init__(self, statuses: Callable[[], Sequence[Status]] = tuple) -> None:
        self._statuses = statuses
        self._lock = threading.Lock()
        self._notes: deque[Told] = deque(maxlen=NOTES_KEPT)

    def hear(self, what: Took | Note) -> None:
        """Takes what the watch tells."""
        if isinstance(what, Note):
            with self._lock:
                self._notes.append(Told(datetime.now(UTC), what.source, what.what))

    def notes(self) -> list[Told]:
        """What was told, the newest first."""
        with self._lock:
            return list(reversed(self._notes))

    def sources(self) -> list[Source]:
        """Each line and folder at this moment, lines first."""
        now, wall = time.monotonic(), datetime.now(UTC)
        statuses = sorted(self._statuses(), key=lambda each: each.kind != "line")
        return [_source(each, now, wall) for each in statuses]

    def mark(self) -> object:
        """A value that differs when there is something new to see."""
        with self._lock:
            told = self._notes[-1] if self._notes else None
        return told, [(each.status, each.state) for each in self.sources()]


def _source(status: Status, now: float, wall: datetime) -> Source:
    last = status.last_arrival
    at = None if last is None else wall - timedelta(seconds=now - last)
    return Source(status, _state(status, now), at, power_of(status))


def _state(status: Status, now: float) -> str:
    if not status.alive:
        return "away"
    if status.pending:
        return "bringing in"
    active = status.last_activity
    return "talking" if active is not None and now - active < TALKING else "open"


def power_of(status: Status) -> Power:
    """What a source lets the host know about powering off the machine at its other end.

    Only an agent's own farewell tells that its spool is empty, and nothing tells whether a program runs now.
    """
    if status.pending:
        return Power("no", "A record is coming in" if status.kind == "line" else "A file is still growing")
    if status.kind == "folder":
        return Power("", "A folder says nothing about what still lies in a machine's spool")
    if not status.alive:
        return Power("", "The line is away, and with it what the agent would say")
    if status.left is None:
        return Power("", "The agent has not said that its spool is empty")
    if status.left:
        plural = "record stays" if status.left == 1 else "records stay"
        return Power("no", f"{status.left} {plural} in the agent's spool, not yet kept here")
    return Power(
        "yes",
        "The agent's last word was that its spool is empty. Nothing tells what runs now: wait for the prompt, "
        "and for the disk's light to go out",
    )
