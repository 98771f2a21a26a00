"""The agent's line on the bench: a UART with its pace and overruns, a faulty wire, and the host's real receiver.

Time is the bench's virtual time, so that a run repeats exactly from its seed.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Final

from readoff.box.clock import Timetable
from readoff.box.spec import UartKind
from readoff.box.uart import Uart
from readoff.contract.record import RecordId
from readoff.link.events import Arrived, Event, Offered
from readoff.link.rates import START, HostRate
from readoff.link.receiver import Receiver
from support.agent_bench import BDA, Bench
from support.fake_dos import FakeBios, FakeDos

BASE: Final = 0x2F8  # not where COM1 usually is: bases come from the BIOS data area
MILLISECOND: Final = 10**9
TICK: Final = 54_925_400_000
MOST_SECONDS: Final = 240
HOST_SETS: Final = 30 * MILLISECOND
"""Until the host's answer is out and its port set."""
PIT_COUNT: Final = 838_095


def attach_uart(bench: Bench, uart: Uart) -> None:
    """Put a UART's eight registers at BASE."""
    for register in range(8):
        bench.ports_in[BASE + register] = partial(uart.read, register)
        bench.ports_out[BASE + register] = partial(uart.write, register)


@dataclass
class Faults:
    """What the wire does to each octet, one way. Chances are per octet; delay in picoseconds."""

    flip: float = 0.0
    lose: float = 0.0
    double: float = 0.0
    delay: int = 0

    def of(self, octet: int, draw: random.Random) -> list[int]:
        """What comes out of the wire for one octet."""
        if self.lose and draw.random() < self.lose:
            return []
        if self.flip and draw.random() < self.flip:
            octet ^= 1 << draw.randrange(8)
        return [octet, octet] if self.double and draw.random() < self.double else [octet]


@dataclass
class LineBench:
    """The agent with a spool, at one end of a line; a host at the other, as long as ``host_lives``.

    answers: what the host does with an event; the default keeps everything. store: what the host was told to keep.
    step: virtual picoseconds for each octet of code the agent executes (a slow machine has a large one).
    paced: octets take their time on the line; without, none is ever waited for.
    """

    records: dict[str, bytes]
    uart_kind: UartKind = "16550a"
    divisor: int = 1
    seed: int = 1
    to_host: Faults = field(default_factory=Faults)
    to_agent: Faults = field(default_factory=Faults)
    step: int = 600_000
    paced: bool = True
    ticks_run: bool = True
    keep: bool = False

    def __post_init__(self) -> None:
        self.bench = Bench()
        self.dos = FakeDos(self.bench)
        FakeBios(self.bench)
        self.dos.files |= {f"C:\\{name}": octets for name, octets in self.records.items()}
        self.draw = random.Random(self.seed)
        self.engine = self.bench.engine
        self.engine.set_per_octet(self.step)
        self.timetable = Timetable(self.engine)
        self.engine.on_due = self.timetable.run_due
        self.uart = Uart(self.engine.now, self.uart_kind, paced=self.paced, interrupt=lambda on: None)
        self.uart.sent = self._sent
        self.receiver = Receiver(HostRate(self.divisor if self.divisor > START else 1))
        self.store: dict[RecordId, bytes] = {}
        self.events: list[Event] = []
        self.host_lives: Callable[[], bool] = lambda: True
        self.answers: Callable[[Event], None] = self.keep_all
        self.octets_to_host = 0
        self.from_agent = bytearray()
        self.handled = 0
        attach_uart(self.bench, self.uart)
        self.bench.poke(BDA, BASE.to_bytes(2, "little"))
        self.uart.other_divisor = self.receiver.divisor
        self._latch: list[int] = []
        self.bench.ports_out[0x43] = lambda value: self._latch_counter()
        self.bench.ports_in[0x20] = lambda: 0  # no tick is asked for that was not counted
        self.bench.ports_in[0x40] = lambda: self._latch.pop(0) if self._latch else 0
        self.bench.put("option_port", b"\x01")
        self.bench.word("option_rate_divisor", self.divisor)
        self.bench.put("option_keep", bytes([self.keep]))
        self._pass_time()
        self.timetable.at(MOST_SECONDS * 10**12, self._too_long)
        if self.ticks_run:
            self._tick()

    def _too_long(self) -> None:
        raise AssertionError(f"no end within {MOST_SECONDS} virtual seconds; the agent said: {self.said}")

    def _latch_counter(self) -> None:
        count = -(self.engine.now() // PIT_COUNT) & 0xFFFF
        self._latch = [count & 0xFF, count >> 8]

    def _tick(self) -> None:
        address = BDA + 0x6C
        self.bench.memory.put_word(address, self.bench.memory.word(address) + 1 & 0xFFFF)
        self.timetable.at(self.engine.now() + TICK, self._tick)

    # -- the wire ---------------------------------------------------------------------------------
    def _sent(self, octet: int) -> None:
        self.octets_to_host += 1
        self.from_agent.append(octet)
        for each in self.to_host.of(octet, self.draw):
            self._later(self.to_host.delay, partial(self._at_host, each))

    def _later(self, delay: int, function: Callable[[], None]) -> None:
        if delay:
            self.timetable.at(self.engine.now() + delay, function)
        else:
            function()

    def _at_host(self, octet: int) -> None:
        if not self.host_lives():
            return
        for event in self.receiver.receive(bytes([octet]), self.seconds):
            self.events.append(event)
            self.answers(event)
        self.pump()

    def pump(self) -> None:
        """Put what the receiver has to say on the wire."""
        out = [each for octet in self.receiver.to_send() for each in self.to_agent.of(octet, self.draw)]
        if out:
            self._later(self.to_agent.delay, lambda: self.uart.arrive(bytes(out)))
        if self.receiver.divisor != self.uart.other_divisor:
            self.timetable.at(self.engine.now() + self.to_agent.delay + HOST_SETS, self._set_host)

    def _set_host(self) -> None:
        self.uart.other_divisor = self.receiver.divisor

    def _pass_time(self) -> None:
        """The host's clock: it goes back to the start rate after long silence."""
        if self.host_lives() and self.receiver.passed(self.seconds):
            self._set_host()
        self.timetable.at(self.engine.now() + 50 * MILLISECOND, self._pass_time)

    def to_uart(self, octets: bytes) -> None:
        """Octets for the agent, past the receiver."""
        self.uart.arrive(octets)

    # -- the host ---------------------------------------------------------------------------------
    def keep_all(self, event: Event) -> None:
        """Commit what arrives, then say kept."""
        if isinstance(event, Offered):
            kept = self.store.get(event.id)
            if kept is not None and len(kept) == event.length:
                self.receiver.answer_known(event)
            else:
                self.receiver.answer_new(event)
        elif isinstance(event, Arrived):
            self.store[event.id] = event.octets
            self.receiver.kept(event.id, len(event.octets), event.check)

    # -- the agent --------------------------------------------------------------------------------
    def offer(self) -> int:
        """Run line_offer_spool; gives the records left, and checks CF and the port against it."""
        failed = self.bench.call("line_offer_spool")
        left = self.bench.registers.ax
        assert failed is (left > 0)
        return left

    @property
    def spool(self) -> dict[str, bytes]:
        """What is in the spool folder now."""
        return {path.removeprefix("C:\\"): octets for path, octets in self.dos.files.items()}

    @property
    def said(self) -> str:
        """What the agent printed."""
        return self.dos.screen.decode("cp437")

    @property
    def seconds(self) -> float:
        """Virtual time so far."""
        return self.engine.now() / 10**12
