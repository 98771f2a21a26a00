"""One boot of the box: a processor with its devices, BIOS and DOS, until power-off or reset."""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from typing import Final

from readoff.box import images
from readoff.box.bios import Bios
from readoff.box.clock import Counter, InterruptController, IntervalTimer, Timetable
from readoff.box.cmos import RealTimeClock, Waiting
from readoff.box.dos import Dos
from readoff.box.dos_handles import OpenFile
from readoff.box.dos_state import ticks_of
from readoff.box.drives import Drives
from readoff.box.engine import EXTENDED, FLAG_INTERRUPT, NEVER, SECOND, Engine
from readoff.box.extra_services import ExtraServices, nul_device
from readoff.box.hierarchy import MODELLED_FROM, MODELLED_TO, Hierarchy
from readoff.box.keyboard import Keyboard
from readoff.box.line import Line
from readoff.box.ports import Ports
from readoff.box.processor import ProcessorKind
from readoff.box.shell import Job, Shell, program
from readoff.box.spec import MachineSpec, Processor
from readoff.box.uart import Uart
from readoff.box.video import COLOUR_TEXT, MONO_TEXT, Video
from readoff.box.video_bios import VideoBios
from readoff.errors import BoxError

# POST and DOS take their time before COMMAND.COM is there; virtual, and the same for every machine.
POST_TIME: Final = 12 * SECOND
ENVIRONMENT_ROOM: Final = 512


class Reset(Exception):  # noqa: N818 - an event, not an error
    """The guest started the machine anew; how says in which way."""

    def __init__(self, how: str) -> None:
        super().__init__(how)
        self.how = how


class PowerCut(Exception):  # noqa: N818 - an event, not an error
    """The power was cut by a fault that was asked for."""


class Boot:
    """Everything that power-up makes. Nothing here survives a reset; drives and clock do."""

    def __init__(
        self,
        spec: MachineSpec,
        drives: Drives,
        number: int,
        shown_at: datetime,
        *,
        cold: bool,
        environment: dict[str, str],
        cmos: bytes | None = None,
    ) -> None:
        self.spec = spec
        self.number = number
        chance = random.Random(f"{spec.seed}/{number}")
        self._picoseconds_a_clock = SECOND / spec.clock_hz
        self._speed = 1 + spec.boot_spread * chance.gauss(0, 1)
        self.engine = engine = Engine()
        self.timetable = Timetable(engine)
        self.controller = InterruptController(self.timetable)
        early = spec.processor == Processor.I8086
        self.timer = IntervalTimer(engine, self.timetable, self.controller, has_read_back=not early)
        self.rtc = RealTimeClock(engine.now, shown_at, chance.randrange(SECOND)) if spec.rtc else None
        self.keyboard = Keyboard(engine.memory, lambda: self.controller.request(1), spec.enhanced_keyboard)
        self.video = Video(engine, spec.display)
        self.processor = ProcessorKind(engine, spec)
        self._kept_cmos = cmos
        self.bios = Bios(engine, spec, self.keyboard, self.rtc, drives)
        self.bios.reset = self._reset
        self.lines = self._make_lines()
        self.ports = self._make_ports(early)
        self.jobs: deque[Job | str] = deque()
        self._shells: dict[int, Shell] = {}
        self.idle = False
        self.set_speed(0)
        self._hook_engine()
        engine.advance(POST_TIME)
        ready_at = shown_at + timedelta(microseconds=POST_TIME // 10**6)
        self._power_on(chance, ready_at, cold=cold)
        self.dos = Dos(engine, spec, drives, self.bios.conventional_kb() * 64, ready_at.date())
        self.dos.processes.on_loaded = self.processor.watch
        self.extras.load_drivers(self.dos.blocks, nul_device())
        self._hook_gates()
        self.first_psp = self._start_shell(environment)

    # -- making -----------------------------------------------------------------------------------
    def set_speed(self, run: int) -> None:
        """The speed of a run within the boot: run number 0 is the boot itself."""
        spread = self.spec.run_spread * random.Random(f"{self.spec.seed}/{self.number}/{run}").gauss(0, 1)
        exact = self._picoseconds_a_clock * self.spec.clocks_per_octet / (self._speed * (1 + spread))
        self.engine.set_per_octet(max(1, round(exact)))

    def _make_lines(self) -> list[Line]:
        lines = []
        for number in range(1, 1 + (self.spec.serial_ports if self.spec.uart != "none" else 0)):
            line_number = 4 if number % 2 else 3

            def interrupt(on: bool, irq: int = line_number) -> None:
                if on:
                    self.controller.request(irq)
                else:
                    self.controller.withdraw(irq)

            uart = Uart(self.engine.now, self.spec.uart, paced=self.spec.uart_paced, interrupt=interrupt)
            lines.append(Line(uart, self.timetable, self.engine.now, partial(self._plan_uart, uart)))
        return lines

    def _plan_uart(self, uart: Uart) -> None:
        """Look in when the UART will want an interrupt; without interrupts it is asked when it is read."""
        moment = uart.next_event()
        if uart.ier and moment is not None:

            def look() -> None:
                uart.run_due()
                self._plan_uart(uart)

            self.timetable.at(moment, look)

    def _make_ports(self, early: bool) -> Ports:
        cost = round(self.spec.io_clocks * self._picoseconds_a_clock)
        advance = self.engine.advance
        ports = Ports(lambda: advance(cost))
        ports.add_timing(self.controller, self.timer)
        ports.add_keyboard(self.keyboard, None if early else self._reset)
        if self.rtc is not None:
            waiting = Waiting(self.rtc, self.engine.now, advance, self.timetable.next)
            ports.add_cmos(self.rtc, waiting.read)
        for number, line in enumerate(self.lines, 1):
            ports.add_uart(number, line.uart)
        ports.add_video(self.video)
        return ports

    def _hook_engine(self) -> None:
        engine = self.engine
        engine.on_interrupt = self._interrupt
        engine.on_port_in = self.ports.read
        engine.on_port_out = self._port_out
        engine.on_due = self._due
        if self.spec.video_clocks:
            cost = round(self.spec.video_clocks * self._picoseconds_a_clock)
            start, advance = min(MONO_TEXT, COLOUR_TEXT), engine.advance
            engine.hook_writes(start, start + 0xFFFF, lambda _address, size: advance(cost * size))

        self.hierarchy: Hierarchy | None = None
        if self.spec.caches or self.spec.memory_clocks:
            clock = self._picoseconds_a_clock
            levels = [replace(each, clocks=round(each.clocks * clock)) for each in self.spec.caches]
            self.hierarchy = Hierarchy(levels, round(self.spec.memory_clocks * clock), engine.advance)
            engine.hook_reads(MODELLED_FROM, MODELLED_TO, self.hierarchy.read)
            engine.hook_reads(EXTENDED, NEVER, self.hierarchy.read)

    def _port_out(self, port: int, value: int) -> None:
        self.ports.write(port, value)
        for line in self.lines:
            if line.uart.ier:
                self._plan_uart(line.uart)

    def _power_on(self, chance: random.Random, ready_at: datetime, *, cold: bool) -> None:
        self.bios.load_rom()
        self.extras = self.bios.extras = ExtraServices(self.engine, self.spec.extras)
        self.bios.start(cold=cold, ticks=ticks_of(ready_at.time()), keep=bytes(16))
        self.video.start()
        counter: Counter = self.timer.counters[0]
        counter.program(self.spec.pit_mode, 65536, POST_TIME - chance.randrange(54 * 10**9))
        if self.rtc is not None and self._kept_cmos is not None:
            self.rtc.restore(self._kept_cmos)
        elif self.rtc is not None:
            self._fill_cmos(self.rtc)

    def _fill_cmos(self, rtc: RealTimeClock) -> None:
        base, extended = self.bios.conventional_kb(), min(self.spec.extended_kb, 0xFFFF)
        equipment = self.bios.equipment() & 0xFF
        pairs = [
            (0x10, 0x40),
            (0x12, 0xF0),
            (0x14, equipment),
            (0x15, base & 0xFF),
            (0x16, base >> 8),
            (0x17, extended & 0xFF),
            (0x18, extended >> 8),
            (0x19, 0x2F),
            (0x30, extended & 0xFF),
            (0x31, extended >> 8),
        ]
        rtc.set_configuration((*pairs, *self.spec.cmos))

    def _hook_gates(self) -> None:
        dos, bios = self.dos, self.bios
        rom = images.ROM_SEGMENT << 4
        display = VideoBios(self.engine, self.video, bios.image.at.font)

        def with_scribble(serve: Callable[[], None]) -> Callable[[], None]:
            def scribbling() -> None:
                bios.scribble()
                serve()

            return scribbling

        def video() -> None:
            if not self.extras.serve_10():
                display.serve()

        def gate(name: str) -> Callable[[], None]:
            if name == "far":
                return self._shell_gate
            serve: Callable[[], None] = video if name == "int10" else getattr(bios, f"gate_{name}")
            return with_scribble(serve) if name.startswith("int") else serve

        rom_gates = [gate(name) for name in images.ROM_GATES]
        self._hook_range(rom, bios.image.at.gates, bios.image.at.gates_end, rom_gates)
        kernel_gates = [getattr(dos, f"gate_{name}") for name in images.KERNEL_GATES]
        kernel = images.KERNEL_SEGMENT << 4
        self._hook_range(kernel, dos.kernel.at.gates, dos.kernel.at.gates_end, kernel_gates)
        self.engine.hook_code(0, 0x5FF, self._astray)
        self.engine.hook_code(0xA0000, 0xEFFFF, self._astray)

    def _hook_range(self, base: int, begin: int, end: int, gates: list[Callable[[], None]]) -> None:
        start = base + begin
        if end - begin != images.GATE_SIZE * len(gates):
            raise BoxError("the gates of an image and their names differ in number")

        def enter(address: int) -> None:
            index, within = divmod(address - start, images.GATE_SIZE)
            if not within:
                gates[index]()

        self.engine.hook_code(start, base + end - 1, enter)

    def _start_shell(self, environment: dict[str, str]) -> int:
        """COMMAND.COM as the first process, its own parent, ready to run."""
        engine, processes, blocks = self.engine, self.dos.processes, self.dos.blocks
        octets = b"".join(f"{k}={v}".encode("cp437") + b"\0" for k, v in environment.items())
        octets += b"\0\x01\0C:\\COMMAND.COM\0"
        room = max(ENVIRONMENT_ROOM, len(octets) + 128)
        environment_segment = blocks.allocate((room + 15) // 16, 8)
        code = self.command_com()
        size = 0x10 + (len(code) + 15) // 16
        psp = blocks.allocate(size, 8)
        engine.load(environment_segment << 4, octets)
        blocks.own(environment_segment, psp, "")
        blocks.own(psp, psp, "COMMAND")
        at = self.dos.kernel.at
        for number, offset in ((0x22, at.int22), (0x23, at.int23), (0x24, at.int24)):
            self.bios.set_vector(number, images.KERNEL_SEGMENT, offset)
        processes.make_psp(psp, psp + size, environment_segment, psp, (at.int22, images.KERNEL_SEGMENT))
        processes.names[psp] = "C:\\COMMAND.COM"
        self.dos.state.psp = psp
        self.dos.state.dta = (psp, 0x80)
        for kind in ("con", "con", "con", "aux", "prn"):
            same = kind == "con" and self.dos.handles.files  # handles 0 to 2 share one entry
            index = 0 if same else self.dos.handles.add(OpenFile(kind))
            handle = engine.memory.octets[(psp << 4) + 0x18 : (psp << 4) + 0x2C].tobytes().index(0xFF)
            engine.memory.octets[(psp << 4) + 0x18 + handle] = index
            opened = self.dos.handles.files[index]
            assert opened is not None
            opened.references += 1
        engine.load((psp << 4) + 0x100, code)
        registers = engine.registers
        for name, value in {"cs": psp, "ip": 0x100, "ss": psp, "sp": 0xFFE, "ds": psp, "es": psp}.items():
            setattr(registers, name, value)
        registers.flags = 0x0202
        return psp

    def command_com(self) -> bytes:
        """COMMAND.COM for this ROM."""
        at = self.bios.image.at
        return program(at.gates + images.GATE_SIZE * images.ROM_GATES.index("far"))

    # -- running ----------------------------------------------------------------------------------
    def _interrupt(self, number: int) -> None:
        """An INT instruction, or an exception of the processor."""
        memory, registers = self.engine.memory, self.engine.registers
        place = ((registers.cs << 4) + registers.ip - 2) & 0xFFFFF
        is_instruction = memory.octets[place] == 0xCD and memory.octets[(place + 1) & 0xFFFFF] == number
        if number == 7 and not is_instruction and not self.spec.fpu:
            self.processor.skip_floating_point()
            return
        if number == 6 and memory.word(4 * 6) == self.bios.image.at.nothing:
            raise BoxError("the processor met octets that are no instruction", where=self.engine.place())
        if number < 8:
            if number == 0 and not is_instruction:
                self.processor.before_divide_error()
            self.engine.deliver(number)
            return
        if not is_instruction:
            raise BoxError(f"the processor raised exception {number:02X}h", where=self.engine.place())
        if not memory.word(4 * number) and not memory.word(4 * number + 2):
            raise BoxError(
                f"INT {number:02X}h was called and its vector is 0000:0000", where=self.engine.place()
            )
        self.engine.deliver(number)

    def _due(self) -> None:
        self.timetable.run_due()
        if self.controller.pending() is not None and self.engine.registers.flags & FLAG_INTERRUPT:
            self.engine.stop()

    def _reset(self, how: str) -> None:
        raise Reset(how)

    def _astray(self, address: int) -> None:
        raise BoxError("the processor runs where there is no program", where=self.engine.place(address))

    def _shell_gate(self) -> None:
        psp = self.dos.state.psp
        shell = self._shells.get(psp)
        if shell is None:
            shell = Shell(self.engine, psp, self.jobs if psp == self.first_psp else None)
            self._shells[psp] = shell
        if not shell.step():
            self.idle = True
            self.engine.stop()

    def forget_shell(self, psp: int) -> None:
        """A process ended; if it was a command processor, its state goes."""
        if psp != self.first_psp:
            self._shells.pop(psp, None)

    def run_until_idle(self) -> None:
        """Run until the first command processor has nothing to do. Raises Reset, PowerCut, BoxError."""
        self.idle = False
        engine = self.engine
        while not self.idle:
            stopped = engine.go()
            if not stopped:
                self._wait_halted()
            line = self.controller.pending()
            if line is not None and not self.idle and engine.registers.flags & FLAG_INTERRUPT:
                engine.deliver(self.controller.acknowledge(line))

    def _wait_halted(self) -> None:
        """After a HLT: let time pass until an interrupt comes."""
        if not self.engine.registers.flags & FLAG_INTERRUPT:
            raise BoxError(
                "the processor stopped for good (HLT with interrupts off)", where=self.engine.place()
            )
        while self.controller.pending() is None:
            self.engine.advance(max(0, self.timetable.next() - self.engine.now()))
            self.timetable.run_due()

    def first_shell(self) -> Shell:
        """The first command processor."""
        return self._shells[self.first_psp]
