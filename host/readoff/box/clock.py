"""Virtual time: what happens when, the interrupt controller and the interval timer.

Time is counted in picoseconds from power-up of the box. An 8088 is bound by its bus, so the box takes
code octets fetched times clocks per octet as the time of a basic block: simple, deterministic, and
fast on the host. Real programs on real machines do not keep to it.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from typing import Final

from readoff.box.engine import NEVER, Engine

# One count of the PIT lasts 264/315 us (315/264 MHz = 1,193,181.82 Hz).
PIT_NUMERATOR: Final = 264_000_000
PIT_DENOMINATOR: Final = 315
REFRESH_TOGGLE: Final = 15_085_000  # picoseconds, 18 counts of channel 1 (common practice, no source)


class Timetable:
    """Callbacks at moments of virtual time, in order; equal moments in order of entry."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._entries: list[tuple[int, int, Callable[[], None]]] = []
        self._count = 0
        self._urgent = False

    def at(self, moment: int, function: Callable[[], None]) -> None:
        """Call function when virtual time reaches moment (picoseconds)."""
        self._count += 1
        heapq.heappush(self._entries, (moment, self._count, function))
        self._set()

    def next(self) -> int:
        """The next moment, or NEVER."""
        return self._entries[0][0] if self._entries else NEVER

    def move_on(self, moment: int) -> None:
        """Move the clock on to a moment, unless it is past."""
        ahead = moment - self._engine.now()
        if 0 < ahead < NEVER:
            self._engine.advance(ahead)

    def urgent(self, value: bool) -> None:
        """Whether the engine shall look in at every basic block (an interrupt waits for IF = 1)."""
        if value != self._urgent:
            self._urgent = value
            self._set()

    def _set(self) -> None:
        self._engine.set_deadline(0 if self._urgent else self.next())

    def run_due(self) -> None:
        """Call what is due."""
        now = self._engine.now()
        while self._entries and self._entries[0][0] <= now:
            heapq.heappop(self._entries)[2]()
        self._set()


class InterruptController:
    """One 8259: requests, mask, in-service priorities, the non-specific end of interrupt."""

    def __init__(self, timetable: Timetable) -> None:
        self._timetable = timetable
        self.mask = 0
        self.requests = 0
        self.in_service = 0
        self._read_in_service = False
        self._words_to_come = 0

    def request(self, line: int) -> None:
        """IRQ line goes up."""
        self.requests |= 1 << line
        self.refresh()

    def withdraw(self, line: int) -> None:
        """IRQ line goes down before it was served."""
        self.requests &= ~(1 << line)
        self.refresh()

    def pending(self) -> int | None:
        """The line to serve now, by priority, or None."""
        waiting = self.requests & ~self.mask
        for line in range(8):
            if self.in_service >> line & 1:
                return None
            if waiting >> line & 1:
                return line
        return None

    def acknowledge(self, line: int) -> int:
        """The processor takes the line; the interrupt's number."""
        self.requests &= ~(1 << line)
        self.in_service |= 1 << line
        self.refresh()
        return 8 + line

    def refresh(self) -> None:
        """Tell the timetable whether something waits."""
        self._timetable.urgent(self.pending() is not None)

    def read(self, port: int) -> int:
        """Port 20h or 21h."""
        if port == 0x21:
            return self.mask
        return self.in_service if self._read_in_service else self.requests

    def write(self, port: int, value: int) -> None:
        """Port 20h or 21h. An initialisation sequence is swallowed; vectors stay at 08h."""
        if port == 0x21:
            if self._words_to_come:
                self._words_to_come -= 1
            else:
                self.mask = value
        elif value & 0x10:
            self._words_to_come = 2 + (value & 1) - (value >> 1 & 1)
            self.in_service = self.mask = 0
        elif value & 0x08:
            if value & 2:
                self._read_in_service = bool(value & 1)
        elif value & 0xE0 == 0x60:
            self.in_service &= ~(1 << (value & 7))
        elif value & 0x20:
            self.in_service &= self.in_service - 1 if self.in_service else 0
        self.refresh()


class Counter:
    """One channel of an 8253 or 8254, worked out from virtual time whenever it is looked at."""

    def __init__(self, now: Callable[[], int]) -> None:
        self._now = now
        self.mode = 3
        self.access = 3
        self.reload = 65536
        self.started = 0  # picoseconds
        self.gate = True
        self._stopped_at: int | None = None
        self._latched: int | None = None
        self._status: int | None = None
        self._half_read = False
        self._half_written: int | None = None
        self.on_load: Callable[[], None] = lambda: None

    def program(self, mode: int, reload: int, started: int) -> None:
        """Set it going, as a BIOS does: mode 0, 2 or 3, counts (65536 for a written 0), since when."""
        self.mode, self.reload, self.started = mode, reload, started
        self.on_load()

    def elapsed(self, moment: int | None = None) -> int:
        """Counts since the last load."""
        if moment is None:
            moment = self._now() if self._stopped_at is None else self._stopped_at
        return max(0, moment - self.started) * PIT_DENOMINATOR // PIT_NUMERATOR

    def moment_of(self, counts: int) -> int:
        """When so many counts since the last load will be over, in picoseconds."""
        return self.started - (-counts * PIT_NUMERATOR // PIT_DENOMINATOR)

    def count(self) -> int:
        """What the counter holds now, 0 to FFFFh (65536 reads as 0)."""
        gone = self.elapsed()
        if self.mode == 3:
            half = gone % self.reload * 2 % self.reload
            return (self.reload - half) & 0xFFFE
        if self.mode == 2:
            return (self.reload - gone % self.reload) & 0xFFFF
        return (self.reload - gone) & 0xFFFF

    def output(self) -> bool:
        """The level of OUT."""
        gone = self.elapsed()
        if self.mode == 3:
            return gone % self.reload * 2 < self.reload
        if self.mode == 2:
            return gone % self.reload != self.reload - 1
        return gone >= self.reload

    def set_gate(self, gate: bool) -> None:
        """Channel 2 only: GATE low holds the counter; in modes 2 and 3 its rise loads it anew."""
        if gate == self.gate:
            return
        self.gate = gate
        if not gate:
            self._stopped_at = self._now()
            return
        held = self._now() - (self._stopped_at or 0)
        self._stopped_at = None
        self.started = self._now() if self.mode in (1, 2, 3, 5) else self.started + held

    def control(self, value: int) -> None:
        """A control word for this channel."""
        if not value & 0x30:
            if self._latched is None:
                self._latched = self.count()
            return
        self.access = value >> 4 & 3
        mode = value >> 1 & 7
        self.mode = mode & 3 if mode > 5 else mode
        self._half_written = None
        self._half_read = False
        self._latched = None

    def read_back(self, value: int) -> None:
        """8254: latch count and status."""
        if not value & 0x20 and self._latched is None:
            self._latched = self.count()
        if not value & 0x10 and self._status is None:
            self._status = self.output() << 7 | self.access << 4 | self.mode << 1

    def write(self, value: int) -> None:
        """An octet of a new count."""
        if self.access == 1:
            self._load(value)
        elif self.access == 2:
            self._load(value << 8)
        elif self._half_written is None:
            self._half_written = value
        else:
            low, self._half_written = self._half_written, None
            self._load(value << 8 | low)

    def _load(self, value: int) -> None:
        self.reload = value or 65536
        self.started = self._now()
        if self._stopped_at is not None:
            self._stopped_at = self.started
        self.on_load()

    def read(self) -> int:
        """An octet of the count (low first), or of the status if it was latched."""
        if self._status is not None:
            status, self._status = self._status, None
            return status
        value = self.count() if self._latched is None else self._latched
        if self.access == 3:
            if not self._half_read:
                self._half_read = True
                return value & 0xFF
            self._half_read = False
        self._latched = None
        return value & 0xFF if self.access == 1 else value >> 8


class IntervalTimer:
    """Three counters at ports 40h to 43h, and the bits of port 61h that belong to them."""

    def __init__(
        self, engine: Engine, timetable: Timetable, controller: InterruptController, *, has_read_back: bool
    ) -> None:
        self._now = engine.now
        self._timetable = timetable
        self._controller = controller
        self._has_read_back = has_read_back
        self.counters = [Counter(engine.now) for _ in range(3)]
        self.counters[0].on_load = self._loaded
        self._generation = 0
        self._ticks = 0
        self.speaker = 0
        self.counters[2].set_gate(False)

    def _loaded(self) -> None:
        self._generation += 1
        self._ticks = 0
        self._plan(self._generation)

    def _plan(self, generation: int) -> None:
        counter = self.counters[0]
        self._timetable.at(
            counter.moment_of((self._ticks + 1) * counter.reload), lambda: self._tick(generation)
        )

    def _tick(self, generation: int) -> None:
        if generation != self._generation:
            return  # the channel was loaded again meanwhile
        self._controller.request(0)
        self._ticks += 1
        if self.counters[0].mode in (2, 3):
            self._plan(generation)

    def read(self, port: int) -> int:
        """Ports 40h to 42h; 43h reads FF."""
        return self.counters[port - 0x40].read() if port < 0x43 else 0xFF

    def write(self, port: int, value: int) -> None:
        """Ports 40h to 43h."""
        if port < 0x43:
            self.counters[port - 0x40].write(value)
        elif value >> 6 < 3:
            self.counters[value >> 6].control(value)
        elif self._has_read_back:
            for channel in range(3):
                if value >> (channel + 1) & 1:
                    self.counters[channel].read_back(value)

    def read_speaker(self) -> int:
        """Port 61h: bits 0 and 1 as written, bit 4 toggles with refresh, bit 5 is OUT of channel 2."""
        refresh = self._now() // REFRESH_TOGGLE & 1
        return self.speaker & 0x0F | refresh << 4 | self.counters[2].output() << 5

    def write_speaker(self, value: int) -> None:
        """Port 61h: bit 0 is GATE of channel 2."""
        self.speaker = value
        self.counters[2].set_gate(bool(value & 1))
