"""The agent's routines on a bench: assembled from source, called one by one in a bare x86 machine.

Nothing but what a test puts there: interrupts and ports are Python functions, memory is bare. Good for what a whole
machine can't easily show: a broken chain of memory blocks, a BIOS that answers oddly, a clock that never settles.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Final

from readoff.box.engine import FLAG_CARRY, FLAG_ZERO, Engine

SOURCES: Final = Path(__file__).resolve().parents[2] / "dos_agent" / "src"
SEGMENT: Final = 0x2000
RETURN: Final = 0x50  # in the PSP, where nothing looks: a HLT
ENVIRONMENT: Final = 0x1F00
HLT: Final = 0xF4
BDA: Final = 0x400
ROM: Final = 0xF0000

Interrupt = Callable[["Bench"], None]


@cache
def assembled() -> tuple[bytes, dict[str, int]]:
    """READOFF.COM from its present source, and the addresses of its symbols."""
    with tempfile.TemporaryDirectory() as folder:
        out, table = Path(folder, "out.com"), Path(folder, "out.map")
        wanted = f"[map symbols {table}]"
        source = SOURCES / "readoff.asm"
        done = subprocess.run(
            ["nasm", "-f", "bin", "--before", wanted, "-I", f"{SOURCES}/", "-o", str(out), str(source)],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return out.read_bytes(), _symbols(table.read_text())


def _symbols(table: str) -> dict[str, int]:
    symbols: dict[str, int] = {}
    for line in table.splitlines():
        words = line.split()
        if len(words) in (2, 3) and all(set(word) <= set("0123456789ABCDEF") for word in words[:-1]):
            symbols[words[-1]] = int(words[-2], 16)  # of a real and a virtual address the second
    return symbols


class Bench:
    """One machine with the agent in its memory.

    interrupts: what an INT does; one that is missing fails the test. ports_in, ports_out: likewise for ports, but
    a port nobody gave reads as FFh, is written to nowhere, and is noted in ``strange_ports``.
    screen: what the agent said (through DOS).
    """

    def __init__(self) -> None:
        self.engine = Engine()
        self.registers = self.engine.registers
        self.memory = self.engine.memory
        self.interrupts: dict[int, Interrupt] = {}
        self.ports_in: dict[int, Callable[[], int]] = {}
        self.ports_out: dict[int, Callable[[int], None]] = {}
        self.strange_ports: set[int] = set()
        code, self.symbols = assembled()
        self.engine.load(SEGMENT << 4, bytes([0xCD, 0x20]))
        self.engine.load((SEGMENT << 4) + RETURN, bytes([HLT]))
        self._load(code)
        self.engine.on_interrupt = self._interrupt
        self.engine.on_port_in = self._in
        self.engine.on_port_out = self._out
        self.engine.set_per_octet(100_000)  # 0.1 us: time passes, slowly
        self.word("dos_version", 0x0500)
        self.call("crc_table_build")

    def _load(self, code: bytes) -> None:
        """As DOS loads it, and with the overlay where the agent's start puts it."""
        self.engine.load((SEGMENT << 4) + 0x100, code)
        begin, end = self.symbols["overlay_begin"], self.symbols["overlay_end"]
        loaded = len(code) - (end - begin)
        self.engine.load((SEGMENT << 4) + begin, code[loaded:])
        self.poke(self.at("staybss_begin"), bytes(begin - self.symbols["staybss_begin"]))

    def _interrupt(self, number: int) -> None:
        assert number in self.interrupts, (
            f"INT {number:02X}h, AX={self.registers.ax:04X}, {self.engine.place()}"
        )
        self.interrupts[number](self)

    def _in(self, port: int) -> int:
        if port not in self.ports_in:
            self.strange_ports.add(port)
            return 0xFF
        return self.ports_in[port]()

    def _out(self, port: int, value: int) -> None:
        if port not in self.ports_out:
            self.strange_ports.add(port)
            return
        self.ports_out[port](value)

    def at(self, symbol: str) -> int:
        """Linear address of a symbol of the agent."""
        return (SEGMENT << 4) + self.symbols[symbol]

    def word(self, symbol: str, value: int | None = None) -> int:
        """Read, or write, a word of the agent's variables."""
        if value is not None:
            self.memory.put_word(self.at(symbol), value)
        return self.memory.word(self.at(symbol))

    def octets(self, symbol: str, count: int) -> bytes:
        """Read octets of the agent's variables."""
        return bytes(self.memory.octets[self.at(symbol) : self.at(symbol) + count])

    def put(self, symbol: str, octets: bytes) -> None:
        """Write octets of the agent's variables."""
        self.poke(self.at(symbol), octets)

    def poke(self, address: int, octets: bytes) -> None:
        """Write octets anywhere."""
        self.memory.octets[address : address + len(octets)] = octets

    def carry(self, on: bool) -> None:
        """For an interrupt: what it leaves in CF."""
        flags = self.registers.flags
        self.registers.flags = flags | FLAG_CARRY if on else flags & ~FLAG_CARRY

    def zero(self, on: bool) -> None:
        """For an interrupt: what it leaves in ZF."""
        flags = self.registers.flags
        self.registers.flags = flags | FLAG_ZERO if on else flags & ~FLAG_ZERO

    def call(self, routine: str, **registers: int) -> bool:
        """Call a routine; gives its CF. Checks that the stack is level and the segments are ours afterwards."""
        own = self.registers
        own.cs = own.ds = own.es = own.ss = SEGMENT
        own.sp = self.symbols["main_stack_top"]
        own.flags = 0x0202
        for name, value in registers.items():
            setattr(own, name, value)
        self.engine.push(RETURN)
        own.ip = self.symbols[routine]
        while self.engine.go():  # stopped by a hook that moved IP
            pass
        assert own.sp == self.symbols["main_stack_top"], f"{routine} leaves the stack {own.sp:04X}"
        assert own.cs == own.ds == own.es == own.ss == SEGMENT, f"{routine} leaves other segments"
        assert not own.flags & 0x400, f"{routine} leaves DF set"
        return bool(own.flags & FLAG_CARRY)

    def count_instructions(self) -> Callable[[], int]:
        """From now on, count instructions; the function gives how many so far."""
        count = 0

        def step(_uc: int, _address: int, _size: int, _data: object) -> None:
            nonlocal count
            count += 1

        self.engine.hook_code_lean(step)
        self.engine.forget_code()
        return lambda: count


def play_processor(bench: Bench, kind: str, *, msw: int = 0, fpu: bool = False) -> None:
    """Let the agent's processor code see an 8086, v20, 80186, 80286, 80386, 80486 or cpuid machine.

    How each kind is told: bits of FLAGS 15-12 are ones up to the 80186 and zeros on a 286, AC toggles from the 486
    on, ID with CPUID; the V20's AAD and shift count are from memory.
    """
    memory, registers = bench.memory, bench.registers
    before_286 = kind in ("8086", "v20", "80186")
    pending: list[int] = []

    def step(address: int) -> None:
        if pending:
            _mask_pushed_flags(bench, kind, pending.pop())
        code = bytes(memory.octets[address : address + 4])
        if code[0] == 0x9C:
            pending.append(2)
        elif code[:2] == b"\x66\x9c":
            pending.append(4)
        elif code[0] == 0x66 or code[:2] == b"\x0f\xa2" or code[:2] == b"\x0f\x01":
            assert not before_286, f"code of a later processor at {bench.engine.place(address)}"
            assert kind != "80286" or code[:2] == b"\x0f\x01", "code of a 386 on a 286"
        if code[:2] == b"\xd2\xe0" and kind in ("8086", "v20"):
            registers.cx = registers.cx & 0xFF00 | 8  # all bits leave, as with any count from 8 on
        elif code[:2] == b"\xd5\x10" and kind == "v20":
            registers.ax = (registers.ax >> 8) * 10 + (registers.ax & 0xFF) & 0xFF
            registers.ip += 2
        elif code[:3] == b"\x0f\x01\xe0":
            registers.ax = msw
            registers.ip += 3
        elif code[:2] == b"\x0f\xa2":
            _play_cpuid(bench)
            registers.ip += 2
        elif code[0] in (0xD9, 0xDD) and not fpu and code[1] == 0x3E:
            registers.ip += 4  # nobody stores anything

    bench.engine.hook_code(bench.at("cpu_section"), bench.at("coprocessor.done"), step)
    bench.engine.forget_code()


def _mask_pushed_flags(bench: Bench, kind: str, size: int) -> None:
    top = (bench.registers.ss << 4) + bench.registers.sp
    flags = bench.memory.word(top)
    if kind in ("8086", "v20", "80186"):
        bench.memory.put_word(top, flags | 0xF000)
    elif kind == "80286":
        bench.memory.put_word(top, flags & 0x0FFF)
    if size == 4:
        high = bench.memory.word(top + 2)
        keep = {"80386": 0xFFDB, "80486": 0xFFDF}.get(kind, 0xFFFF)  # without AC and ID; without ID
        bench.memory.put_word(top + 2, high & keep)


def _play_cpuid(bench: Bench) -> None:
    """Signature 524h, features 1BFh: a boot log's, at 90 MHz."""
    registers = bench.registers
    if registers.eax == 0:
        registers.eax, registers.ebx, registers.edx, registers.ecx = 1, 0x756E6547, 0x49656E69, 0x6C65746E
    else:
        registers.eax, registers.ebx, registers.ecx, registers.edx = 0x0524, 0, 0, 0x1BF
