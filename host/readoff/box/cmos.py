"""The real-time clock and the 128 octets of CMOS memory behind ports 70h and 71h."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Final

from readoff.box.engine import SECOND

SUM_FIRST: Final = 0x10
SUM_LAST: Final = 0x2D
UPDATE_FLAG: Final = 0x80
# The flag rises 244 us before an update of 1,984 us; the new time shows when it falls.
UPDATE_TIME: Final = (244 + 1984) * 10**6
_CLOSE: Final = SECOND // 1000  # looks closer together than this follow on one another
_MANY_LOOKS: Final = 64
_TOO_MANY_LOOKS: Final = 700  # the clock does not go
_BEFORE_EVENT: Final = SECOND // 4000


def check_sum(octets: bytes | bytearray) -> int:
    """The AT's sum: 10h to 2Dh added up, 16 bits, for a whole CMOS of at least 2Eh octets."""
    return sum(octets[SUM_FIRST : SUM_LAST + 1]) & 0xFFFF


def to_bcd(value: int) -> int:
    """0 to 99 as two decimal digits."""
    return value // 10 << 4 | value % 10


def from_bcd(value: int) -> int:
    """Two decimal digits as 0 to 99."""
    return (value >> 4) * 10 + (value & 15)


class RealTimeClock:
    """Counts on the virtual clock. Its seconds change at their own phase, not with the ticks.

    now: virtual picoseconds. started_at: the time shown when the box's time was 0. phase: picoseconds
    into the second at that moment.
    """

    def __init__(self, now: Callable[[], int], started_at: datetime, phase: int) -> None:
        self._now = now
        self._base = started_at
        self._phase = phase
        self.octets = bytearray(128)
        self.octets[0x0A] = 0x26
        self.octets[0x0B] = 0x02
        self.octets[0x0D] = 0x80
        self.index = 0

    def set_configuration(self, pairs: tuple[tuple[int, int], ...]) -> None:
        """Write octets from 10h on; the check sum follows unless it is among them."""
        for index, value in pairs:
            self.octets[index] = value
        given = {index for index, _ in pairs}
        total = check_sum(self.octets)
        if 0x2E not in given:
            self.octets[0x2E] = total >> 8
        if 0x2F not in given:
            self.octets[0x2F] = total & 0xFF

    def restore(self, octets: bytes) -> None:
        """What CMOS memory held when the power went; the clock's own registers are left alone."""
        self.octets[0x0E:] = octets[0x0E:]

    def _since_base(self) -> int:
        return self._now() + self._phase

    def time(self) -> datetime:
        """What the clock shows, in whole seconds."""
        return self._base + timedelta(seconds=self._since_base() // SECOND)

    def set_time(self, moment: datetime) -> None:
        """Set the clock; the second begins now."""
        self._phase = -self._now()
        self._base = moment

    def until_update(self) -> int:
        """Picoseconds until the update-in-progress bit rises; 0 while it is set."""
        return max(0, SECOND - UPDATE_TIME - self._since_base() % SECOND)

    def updating(self) -> bool:
        """Whether the update-in-progress bit is set."""
        return self._since_base() % SECOND >= SECOND - UPDATE_TIME

    def read(self) -> int:
        """Port 71h."""
        index = self.index
        if index == 0x0A:
            return self.octets[0x0A] & 0x7F | (UPDATE_FLAG if self.updating() else 0)
        fields = self._fields()
        if index not in fields:
            return self.octets[index]
        value = fields[index]
        if index == 0x04 and not self.octets[0x0B] & 2:
            half = value >= 12
            value = self._coded((value + 11) % 12 + 1)
            return value | 0x80 if half else value
        return self._coded(value)

    def _coded(self, value: int) -> int:
        return value if self.octets[0x0B] & 4 else to_bcd(value)

    def _fields(self) -> dict[int, int]:
        shown = self.time()
        return {
            0x00: shown.second,
            0x02: shown.minute,
            0x04: shown.hour,
            0x06: shown.isoweekday() % 7 + 1,
            0x07: shown.day,
            0x08: shown.month,
            0x09: shown.year % 100,
            0x32: shown.year // 100,
        }

    def write(self, value: int) -> None:
        """Port 71h. Writing a part of the time moves the clock; a date that does not exist is ignored."""
        names = {0: "second", 2: "minute", 4: "hour", 7: "day", 8: "month", 9: "year"}
        name = names.get(self.index)
        if name is None:
            if self.index not in (0x0C, 0x0D):
                self.octets[self.index] = value
            return
        number = value if self.octets[0x0B] & 4 else from_bcd(value)
        shown = self.time()
        if name == "year":
            number += shown.year // 100 * 100
        try:
            moved = shown.replace(**{name: number})  # type: ignore[arg-type]
        except ValueError:
            return
        self._base += moved - shown


class Waiting:
    """Lets time pass when a program does nothing but look at the clock until it changes.

    After some looks at status A in close succession the next ones take longer, up to shortly before the next event of
    the machine or the next update: what the program sees is a slower bus, and its waits cost the host little. advance:
    adds picoseconds to the virtual time; next_event: when the next event is due.
    """

    def __init__(
        self,
        rtc: RealTimeClock,
        now: Callable[[], int],
        advance: Callable[[int], None],
        next_event: Callable[[], int],
    ) -> None:
        self._rtc = rtc
        self._now = now
        self._advance = advance
        self._next_event = next_event
        self._looks = 0
        self._last = 0
        self._shown = rtc.time()

    def read(self) -> int:
        """Port 71h."""
        if self._rtc.index == 0x0A:
            self._look()
        return self._rtc.read()

    def _look(self) -> None:
        now, shown = self._now(), self._rtc.time()
        follows = now - self._last < _CLOSE and shown == self._shown and not self._rtc.updating()
        self._looks = self._looks + 1 if follows else 0
        self._shown = shown
        if _MANY_LOOKS < self._looks < _TOO_MANY_LOOKS:
            spare = min(self._next_event() - now, self._rtc.until_update()) - _BEFORE_EVENT
            if spare > 0:
                self._advance(spare)
        self._last = self._now()
