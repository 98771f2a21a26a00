"""An 8250, 16450 or 16550A: registers, the pace of the line, overrun, the FIFO.

A character takes (1 start + data + parity + stop bits) * divisor * 16 / 1.8432 MHz. Paced, each octet
comes and goes at its time on the virtual clock and one that nobody took in time is lost with OE set;
instant, everything is there at once.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Final

from readoff.box.spec import UartKind

LSR_READY, LSR_OVERRUN, LSR_PARITY, LSR_FRAMING, LSR_BREAK, LSR_THRE, LSR_TEMT = 1, 2, 4, 8, 16, 32, 64
LCR_DLAB: Final = 0x80
MCR_LOOP: Final = 0x10
MCR_OUT2: Final = 0x08
IER_RECEIVED, IER_EMPTY, IER_LINE, IER_MODEM = 1, 2, 4, 8
MSR_CTS, MSR_DSR, MSR_DCD = 0x10, 0x20, 0x80
FIFO_DEPTH: Final = 16
LOOKS_IN_VAIN: Final = 4
# 10^12 ps * 16 / 1,843,200 Hz = 78,125,000 / 9 ps a bit time and unit of the divisor.
_BIT_NUMERATOR: Final = 78_125_000
_BIT_DENOMINATOR: Final = 9

Deliver = Callable[[int], None]


class Uart:
    """One UART. ``sent`` is called with each octet that leaves; ``arrive`` queues what comes in.

    other_divisor: the divisor of the far end, or None when it always agrees. Octets at a divisor more
    than 5 % off arrive as nonsense with a framing error. skip_to: called with the moment of the next event where the
    line status has been looked at again and again and stays as it is (LOOKS_IN_VAIN); it may move the clock on.
    """

    def __init__(
        self, now: Callable[[], int], kind: UartKind, *, paced: bool, interrupt: Callable[[bool], None]
    ) -> None:
        self._now = now
        self.kind = kind
        self.paced = paced
        self._interrupt = interrupt
        self.sent: Deliver = lambda octet: None
        self.connected = False
        self.other_divisor: int | None = None
        self.skip_to: Callable[[int | None], None] | None = None
        self.lost = 0  # octets lost to overrun since power-up
        self.start()

    def start(self) -> None:
        """As real DOS leaves it: 2400 baud, 8 bits, MCR 08h."""
        self.divisor = 0x0030
        self.ier = 0
        self.lcr = 0x03
        self.mcr = 0x08
        self.scratch = 0
        self.fifo = False
        self._trigger = 1
        self._errors = 0
        self._received: deque[tuple[int, int]] = deque()  # octet, error bits
        self._wire: deque[tuple[int, int, int]] = deque()  # moment of arrival, octet, error bits
        self._last_arrival = 0
        self._to_send: deque[int] = deque()
        self._shifting: int | None = None
        self._shift_done = 0
        self._empty_pending = False
        self._asserted = False
        self._msr_last = self._lines()
        self._msr_delta = 0
        self._looks, self._last_look = 0, -1

    # -- the line ---------------------------------------------------------------------------------
    def character_time(self, divisor: int | None = None) -> int:
        """Picoseconds of one character."""
        bits = 1 + 5 + (self.lcr & 3) + (self.lcr >> 3 & 1) + 1 + (self.lcr >> 2 & 1)
        return bits * (divisor or self.divisor or 65536) * _BIT_NUMERATOR // _BIT_DENOMINATOR

    def arrive(self, octets: bytes) -> None:
        """The far end begins to send these now, one after the other."""
        self._advance()
        far = self.other_divisor or self.divisor
        step = self.character_time(far) if self.paced else 0
        garbled = self._mismatched()
        for octet in octets:
            self._last_arrival = max(self._last_arrival, self._now()) + step
            wrong = LSR_FRAMING if garbled else 0
            self._wire.append((self._last_arrival, octet ^ 0x5A if garbled else octet, wrong))
        self._advance()

    def next_event(self) -> int | None:
        """When something will happen by itself, or None."""
        moments = [self._wire[0][0]] if self._wire else []
        if self._shifting is not None:
            moments.append(self._shift_done)
        return min(moments, default=None)

    def _mismatched(self) -> bool:
        far, near = self.other_divisor, self.divisor
        return far is not None and abs(far - near) * 20 > far

    def _advance(self) -> None:
        now = self._now()
        self._advance_sending(now)
        while self._wire and self._wire[0][0] <= now:
            _, octet, wrong = self._wire.popleft()
            self._receive(octet, wrong)

    def _receive(self, octet: int, wrong: int) -> None:
        if not self.paced:
            self._received.append((octet, wrong))
            return
        depth = FIFO_DEPTH if self.fifo else 1
        if len(self._received) >= depth:
            self._errors |= LSR_OVERRUN
            self.lost += 1
            if self.fifo:
                return  # the FIFO keeps what it has; the newcomer is lost
            self._received.clear()  # without one, the unread octet is overwritten
        self._received.append((octet, wrong))
        self._errors |= wrong

    def _advance_sending(self, now: int) -> None:
        while self._shifting is not None and self._shift_done <= now:
            octet, self._shifting = self._shifting, None
            self._leave(octet)
            if self._to_send:
                self._shifting = self._to_send.popleft()
                self._shift_done += self.character_time()
                if not self._to_send:
                    self._empty_pending = True

    def _leave(self, octet: int) -> None:
        if self.mcr & MCR_LOOP:
            self._receive(octet, 0)
        else:
            self.sent(octet ^ 0x5A if self._mismatched() else octet)

    def _send(self, octet: int) -> None:
        self._empty_pending = False
        if not self.paced:
            self._leave(octet)
            self._empty_pending = True
            return
        now = self._now()
        if self._shifting is None:
            self._shifting = octet
            self._shift_done = now + self.character_time()
            self._empty_pending = True
        elif len(self._to_send) < (FIFO_DEPTH if self.fifo else 1):
            self._to_send.append(octet)
        else:
            self._to_send[-1] = octet  # written into a full register: the earlier octet is gone
            self.lost += 1

    # -- registers --------------------------------------------------------------------------------
    def read(self, register: int) -> int:
        """Register 0 to 7."""
        self._advance()
        value = self._read(register)
        if self.skip_to is not None and register == 5:
            self._look(value)
        self.update_interrupt()
        return value

    def _look(self, status: int) -> None:
        self._looks = self._looks + 1 if status == self._last_look else 0
        self._last_look = status
        if self._looks >= LOOKS_IN_VAIN and self.skip_to is not None:
            self.skip_to(self.next_event())

    def _read(self, register: int) -> int:
        if register < 2 and self.lcr & LCR_DLAB:
            return self.divisor >> 8 * register & 0xFF
        if register == 0:
            return self._received.popleft()[0] if self._received else 0
        if register == 1:
            return self.ier
        if register == 2:
            return self._identify()
        if register == 5:
            return self._line_status()
        if register == 6:
            return self._modem_status()
        return {3: self.lcr, 4: self.mcr}.get(register, self.scratch if self.kind != "8250" else 0xFF)

    def _line_status(self) -> int:
        status = self._errors | (LSR_READY if self._received else 0)
        self._errors = 0
        if not self._to_send:
            status |= LSR_THRE
            if self._shifting is None:
                status |= LSR_TEMT
        return status

    def _lines(self) -> int:
        if self.mcr & MCR_LOOP:
            return (
                (self.mcr & 2) << 3 | (self.mcr & 1) << 5 | (self.mcr & 4) << 4 | (self.mcr & 8) << 4
            )  # CTS=RTS, DSR=DTR, RI=OUT1, DCD=OUT2
        return MSR_CTS | MSR_DSR | MSR_DCD if self.connected else 0

    def _modem_status(self) -> int:
        lines = self._lines()
        changed = (lines ^ self._msr_last) >> 4 | self._msr_delta
        self._msr_last, self._msr_delta = lines, 0
        return lines | changed

    def _cause(self) -> int:
        """The interrupt cause by priority, as IIR bits; 1 = none."""
        if self.ier & IER_LINE and self._errors:
            return 0x06
        if self.ier & IER_RECEIVED and self._received:
            return 0x04 if not self.fifo or len(self._received) >= self._trigger else 0x0C
        if self.ier & IER_EMPTY and self._empty_pending and not self._to_send:
            return 0x02
        if self.ier & IER_MODEM and self._lines() != self._msr_last:
            return 0x00
        return 0x01

    def _identify(self) -> int:
        cause = self._cause()
        if cause == 0x02:
            self._empty_pending = False
        return cause | (0xC0 if self.fifo else 0)

    def write(self, register: int, value: int) -> None:
        """Register 0 to 7."""
        self._advance()
        self._write(register, value)
        self.update_interrupt()

    def _write(self, register: int, value: int) -> None:
        if register < 2 and self.lcr & LCR_DLAB:
            shift = 8 * register
            self.divisor = self.divisor & (0xFF00 >> shift) | value << shift
        elif register == 0:
            self._send(value)
        elif register == 1:
            if value & IER_EMPTY and not self.ier & IER_EMPTY and not self._to_send:
                self._empty_pending = True
            self.ier = value & 0x0F
        elif register == 2 and self.kind == "16550a":
            self._control_fifo(value)
        elif register == 3:
            self.lcr = value
        elif register == 4:
            self.mcr = value & 0x1F
        elif register == 7:
            self.scratch = value

    def _control_fifo(self, value: int) -> None:
        on = bool(value & 1)
        if on != self.fifo or value & 2:
            self._received.clear()
        if on != self.fifo or value & 4:
            self._to_send.clear()
        self.fifo = on
        self._trigger = (1, 4, 8, 14)[value >> 6]

    def update_interrupt(self) -> None:
        """Set the interrupt line by cause and OUT2."""
        wanted = bool(self.ier and self.mcr & MCR_OUT2 and not self.mcr & MCR_LOOP and self._cause() != 1)
        if wanted or self._asserted:
            self._interrupt(wanted)
            self._asserted = wanted

    def run_due(self) -> None:
        """Let what is due happen, for the timetable."""
        self._advance()
        self.update_interrupt()
