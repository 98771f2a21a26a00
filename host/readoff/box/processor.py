"""Playing older processors on Unicorn's newer one.

FLAGS bits 15-12 read as ones on an 8086 and as zeros on an 80286 in real mode; AC (bit 18) cannot be
changed before the 80486, ID (bit 21) only where CPUID is. Every place where a loaded program says PUSHF
(9Ch, also with a 66h prefix) is watched and the instruction done here, also where the program has moved
itself before it gave memory back; code that it makes or unpacks later is not found. PUSH SP stores the new
value on an 8086, and SHL AL,CL (the one shift that is played) counts as far as CL says, where later
processors take CL modulo 32.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from unicorn import x86_const as x86

from readoff.box.engine import SECOND, Engine
from readoff.box.spec import MachineSpec, Processor
from readoff.errors import BoxError

_AC: Final = 1 << 18
_ID: Final = 1 << 21
PUSHF: Final = 0x9C
PUSH_SP: Final = 0x54
SHIFT_AL: Final = b"\xd2\xe0"
OPERAND_SIZE: Final = 0x66
READ_COUNTER: Final = b"\x0f\x31"
READ_CR0: Final = b"\x0f\x20\xc0"
FDISI: Final = b"\xdb\xe1"
FCHS: Final = b"\xd9\xe0"
FEATURE_COUNTER: Final = 0x10
# First octets that an 8086 does not have, or has as something else.
_LATER: Final = frozenset({0x0F, *range(0x60, 0x70), 0xC0, 0xC1, 0xC8, 0xC9, 0xF1, 0xD6})
_PREFIXES: Final = frozenset({0x26, 0x2E, 0x36, 0x3E, 0xF0, 0xF2, 0xF3})
_WITH_ADDRESS: Final = frozenset({0xF6, 0xF7, *range(0xD8, 0xE0)})


def _found(octets: bytes, code: bytes) -> Iterator[int]:
    at = octets.find(code)
    while at >= 0:
        yield at
        at = octets.find(code, at + 1)


class ProcessorKind:
    """The rules of one processor generation over an engine."""

    def __init__(self, engine: Engine, spec: MachineSpec) -> None:
        self._engine = engine
        self._spec = spec
        self._kind = spec.processor
        self._watched: dict[int, int] = {}
        engine.flags_in_memory = self.flags_in_memory
        engine.on_cpuid = self.cpuid
        if not spec.fpu:
            engine.without_fpu()

    def flags_in_memory(self, flags: int) -> int:
        """FLAGS as PUSHF or an interrupt stores them."""
        if self._kind == Processor.I8086:
            return flags & 0x0FFF | 0xF002
        if self._kind == Processor.I80286:
            return flags & 0x0FFF | 2
        return flags & 0x7FFF | 2

    def _wide_flags(self, flags: int) -> int:
        if self._kind < Processor.I80486:
            flags &= ~(_AC | _ID)
        elif self._spec.cpuid is None:
            flags &= ~_ID
        return flags

    def watch(self, address: int, size: int) -> None:
        """Watch the places of a program just loaded at a linear address."""
        octets = self._engine.memory.octets[address : address + size].tobytes()
        places = {
            address + i: 1
            for i, octet in enumerate(octets)
            if octet == PUSHF or (octet == PUSH_SP and self._kind == Processor.I8086)
        }
        if self._kind == Processor.I8086:
            places |= {address + i: 1 for i in range(len(octets) - 1) if octets[i : i + 2] == SHIFT_AL}
        if self._kind >= Processor.I80386:
            wide = {a - 1: 2 for a in places if a > address and octets[a - 1 - address] == OPERAND_SIZE}
            places = wide if self._spec.cpuid is None or self._kind < Processor.I80486 else {}
        if self._kind >= Processor.I80486:
            places |= {address + i: 1 for each in (READ_COUNTER, READ_CR0) for i in _found(octets, each)}
        if self._spec.fpu and self._spec.extras.fpu_kind != "i80387":
            places |= {address + i: 1 for each in (FDISI, FCHS) for i in _found(octets, each)}
        for place in places:
            if place not in self._watched:
                self._watched[place] = self._engine.hook_code(place, place, self._instead)

    def _instead(self, address: int) -> None:
        """Do the instruction at a watched place, as this processor does it."""
        engine = self._engine
        registers, octets = engine.registers, engine.memory.octets
        address &= 0xFFFFF
        opcode = octets[address]
        if opcode == OPERAND_SIZE and octets[address + 1] == PUSHF:
            flags = self._wide_flags(registers.flags)
            engine.push(flags >> 16)
            engine.push(flags & 0xFFFF)
            registers.ip = registers.ip + 2 & 0xFFFF
        elif opcode == PUSHF and self._kind < Processor.I80386:
            engine.push(self.flags_in_memory(registers.flags))
            registers.ip = registers.ip + 1 & 0xFFFF
        elif opcode == PUSH_SP and self._kind == Processor.I8086:
            engine.push(registers.sp - 2 & 0xFFFF)
            registers.ip = registers.ip + 1 & 0xFFFF
        elif opcode == SHIFT_AL[0] and octets[address + 1] == SHIFT_AL[1] and registers.cx & 0xE0:
            registers.ax = registers.ax & 0xFF00  # 32 or more: every bit leaves
            registers.ip = registers.ip + 2 & 0xFFFF
        else:
            self._instead_of_two(bytes(octets[address : address + 2]))

    def _instead_of_two(self, code: bytes) -> None:
        """What begins with these two octets, as this processor or coprocessor does it."""
        engine, spec = self._engine, self._spec
        registers = engine.registers
        step = 2
        if code == READ_COUNTER:
            if spec.cpuid is None or not spec.cpuid[2] & FEATURE_COUNTER:
                raise BoxError("RDTSC was run on a processor that lacks it", where=engine.place())
            clocks = engine.now() * spec.clock_hz // SECOND
            registers.eax, registers.edx = clocks & 0xFFFFFFFF, clocks >> 32 & 0xFFFFFFFF
        elif code == READ_CR0[:2]:
            registers.eax = 0x10 | (0 if spec.fpu else 4) | spec.extras.cache_bits << 29
            step = 3
        elif code == FDISI and spec.extras.fpu_kind == "i8087":
            engine.uc.reg_write(x86.UC_X86_REG_FPCW, engine.uc.reg_read(x86.UC_X86_REG_FPCW) | 0x80)
        elif code == FCHS and self._top_is_infinite():
            pass  # infinity has no sign on a projective coprocessor
        elif code != FDISI:
            return  # let it be done
        registers.ip = registers.ip + step & 0xFFFF

    def _top_is_infinite(self) -> bool:
        status = self._engine.uc.reg_read(x86.UC_X86_REG_FPSW)
        _mantissa, exponent = self._engine.uc.reg_read(x86.UC_X86_REG_FP0 + (status >> 11 & 7))
        return bool(exponent & 0x7FFF == 0x7FFF)

    def before_divide_error(self) -> None:
        """An 8086 stores the address behind the division that failed; the engine stands on it."""
        if self._kind == Processor.I8086:
            self._step_over()

    def skip_floating_point(self) -> None:
        """Without an FPU an ESC instruction does nothing."""
        self._step_over()

    def _step_over(self) -> None:
        """Move IP behind the instruction: prefixes, opcode, and what its second octet says (AAM has just one)."""
        registers, octets = self._engine.registers, self._engine.memory.octets
        start = (registers.cs << 4) + registers.ip & 0xFFFFF
        place = start
        while octets[place] in _PREFIXES:
            place += 1
        length = place - start + 2
        if octets[place] in _WITH_ADDRESS:
            kind, register = octets[place + 1] >> 6, octets[place + 1] & 7
            length += (2 if register == 6 else 0, 1, 2, 0)[kind]
        registers.ip = registers.ip + length & 0xFFFF

    def cpuid(self) -> bool:
        """The instruction; False where the processor lacks it."""
        if self._spec.cpuid is None or self._kind < Processor.I80486:
            return False
        most, signature, features, vendor = self._spec.cpuid
        registers = self._engine.registers
        for leaf, subleaf, *values in self._spec.extras.leaves:
            if (leaf, subleaf) == (registers.eax, registers.ecx):
                registers.eax, registers.ebx, registers.ecx, registers.edx = values
                return True
        octets = vendor.encode("ascii")[:12].ljust(12)
        words = [int.from_bytes(octets[i : i + 4], "little") for i in (0, 4, 8)]
        if registers.eax == 0:
            registers.eax, registers.ebx, registers.edx, registers.ecx = most, *words
        else:
            registers.eax, registers.ebx, registers.ecx, registers.edx = signature, 0, 0, features
        return True

    def check_each_instruction(self) -> int:
        """Raise BoxError on an instruction that an 8086 lacks, wherever it is run outside the ROM.

        A slow mode, for tests. Returns the hook.
        """
        octets = self._engine.memory.octets

        def look(address: int) -> None:
            place = address & 0xFFFFF
            while octets[place] in _PREFIXES:
                place += 1
            opcode = octets[place]
            segment_register = opcode in (0x8C, 0x8E) and octets[place + 1] >> 3 & 7 > 3
            if opcode in _LATER or segment_register:
                shown = octets[address & 0xFFFFF : (address & 0xFFFFF) + 4].tobytes().hex(" ")
                raise BoxError(
                    f"an instruction that an 8086 does not have was run ({shown})", where=self._engine.place()
                )

        hook = self._engine.hook_code(1, 0xFFFFFFFF, look)
        self._engine.forget_code()
        return hook
