"""The bench as the watch knows it: its sources, what was told of them, and whether a machine may be powered off."""

from __future__ import annotations

import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from readoff.arrivals.told import About, Note, Status, Took

NOTES_KEPT = 30
RATE_OVER = 4.0
"""Seconds over which the octets of a line are told as a rate."""
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
    """One line or folder as the page shows it.

    state: one word. power: what is known of its machine's spool. rate: octets a second of late. troubles: records that
    were refused, let go or started again, and octets that were no frame, so far.
    """

    status: Status
    state: str
    last_arrival: datetime | None
    power: Power
    rate: int
    troubles: int


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
        self._troubles: Counter[str] = Counter()
        self._octets: dict[str, deque[tuple[float, int]]] = {}

    def hear(self, what: Took | Note) -> None:
        """Takes what the watch tells."""
        if isinstance(what, Note):
            with self._lock:
                self._notes.append(Told(datetime.now(UTC), what.source, what.what))
                self._troubles[what.source] += what.about in (About.RECORD, About.NOISE)

    def notes(self) -> list[Told]:
        """What was told, the newest first."""
        with self._lock:
            return list(reversed(self._notes))

    def sources(self) -> list[Source]:
        """Each line and folder at this moment, lines first."""
        now, wall = time.monotonic(), datetime.now(UTC)
        statuses = sorted(self._statuses(), key=lambda each: each.kind != "line")
        with self._lock:
            return [
                Source(
                    each,
                    _state(each, now),
                    None if each.last_arrival is None else wall - timedelta(seconds=now - each.last_arrival),
                    power_of(each),
                    self._rate(each, now),
                    self._troubles[each.name],
                )
                for each in statuses
            ]

    def _rate(self, status: Status, now: float) -> int:
        """Octets a second since the oldest look within RATE_OVER."""
        seen = self._octets.setdefault(status.name, deque())
        seen.append((now, status.octets))
        while len(seen) > 2 and seen[1][0] < now - RATE_OVER:
            seen.popleft()
        (then, before), took = seen[0], now - seen[0][0]
        return round((status.octets - before) / took) if took >= 0.1 and now - then < 4 * RATE_OVER else 0

    def mark(self) -> object:
        """A value that differs when there is something new to see."""
        with self._lock:
            told = self._notes[-1] if self._notes else None
        return told, [(replace(each.status), each.state, each.rate) for each in self.sources()]


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
