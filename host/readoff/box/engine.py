"""The processor and the memory: Unicorn, wrapped so that it is quick, deterministic and loud.

Guest memory is a buffer of ours that Unicorn maps, so that devices read and write it without a call.
Virtual time is an integer of picoseconds and grows at each basic block by its octets.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from typing import Final

from unicorn import UC_ARCH_X86, UC_HOOK_BLOCK, UC_HOOK_CODE, UC_HOOK_INTR, UC_MODE_16, UC_PROT_ALL
from unicorn import x86_const as x86
from unicorn.unicorn_const import UC_ERR_INSN_INVALID, UC_HOOK_INSN, UC_HOOK_MEM_READ, UC_HOOK_MEM_WRITE
from unicorn.unicorn_py3.unicorn import Uc, uclib

from readoff.box.memory import MEGABYTE, Memory
from readoff.box.registers import Batch, Registers
from readoff.errors import BoxError

HIGH_ALIAS: Final = 0x10000  # with A20 off, FFFF:0010 is 0000:0000 again
EXTENDED: Final = MEGABYTE + HIGH_ALIAS  # where memory beyond it begins
FLAG_CARRY: Final = 0x0001
FLAG_ZERO: Final = 0x0040
FLAG_TRAP: Final = 0x0100
FLAG_INTERRUPT: Final = 0x0200
NEVER: Final = 1 << 62
SECOND: Final = 10**12  # picoseconds
_SUSPICIOUS_BLOCK: Final = 250  # octets; longer than real code has without a jump: perhaps zeros

# The library's wrappers cost more than the hooks; these are its callbacks' own C types.
_BLOCK = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_uint64, ctypes.c_uint32, ctypes.c_void_p)
_INTERRUPT = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_uint32, ctypes.c_void_p)
_IN = ctypes.CFUNCTYPE(ctypes.c_uint32, ctypes.c_void_p, ctypes.c_uint32, ctypes.c_int, ctypes.c_void_p)
_OUT = ctypes.CFUNCTYPE(
    None, ctypes.c_void_p, ctypes.c_uint32, ctypes.c_int, ctypes.c_uint32, ctypes.c_void_p
)
_ACCESS = ctypes.CFUNCTYPE(
    None, ctypes.c_void_p, ctypes.c_int, ctypes.c_uint64, ctypes.c_int, ctypes.c_int64, ctypes.c_void_p
)
_CPUID = ctypes.CFUNCTYPE(ctypes.c_uint32, ctypes.c_void_p, ctypes.c_void_p)


class Engine:
    """One processor with its memory, its virtual time and its hooks.

    The owner sets ``on_interrupt(number)``, ``on_port_in(port)``, ``on_port_out(port, value)`` and
    ``on_due()`` (virtual time has reached the deadline). An exception in any of them ends the run and
    is raised from ``go``.
    """

    def __init__(self) -> None:
        self.uc = Uc(UC_ARCH_X86, UC_MODE_16)
        self.memory = Memory()
        self.uc.mem_map_ptr(0, MEGABYTE, UC_PROT_ALL, self.memory.base)
        self.uc.mem_map_ptr(MEGABYTE, HIGH_ALIAS, UC_PROT_ALL, self.memory.base)
        assert self.uc._uch is not None
        self.handle: ctypes.c_void_p = self.uc._uch
        self.registers = Registers(self.handle)
        self._place = Batch(self.handle, "cs ip")
        self._delivery = Batch(self.handle, "cs ip ss sp flags")
        self.flags_in_memory: Callable[[int], int] = lambda flags: flags & 0x0FD7 | 2
        self.on_interrupt: Callable[[int], None] = self.deliver
        self.on_port_in: Callable[[int], int] = lambda port: 0xFF
        self.on_port_out: Callable[[int, int], None] = lambda port, value: None
        self.on_due: Callable[[], None] = lambda: None
        self.on_cpuid: Callable[[], bool] = lambda: False
        self._extended = 0
        self._failure: BaseException | None = None
        self._stopped = False
        self._redirection: dict[str, int] = {}
        self._keep: list[object] = []
        self.block_address = 0
        self._make_block_hook()
        self._add_raw(UC_HOOK_INTR, _INTERRUPT(self._interrupt))
        self._add_raw(UC_HOOK_INSN, _IN(self._port_in), instruction=x86.UC_X86_INS_IN)
        self._add_raw(UC_HOOK_INSN, _OUT(self._port_out), instruction=x86.UC_X86_INS_OUT)
        self._add_raw(UC_HOOK_INSN, _CPUID(self._cpuid), instruction=x86.UC_X86_INS_CPUID)

    # -- virtual time ---------------------------------------------------------------------------
    def _make_block_hook(self) -> None:
        now = 0
        deadline = 0
        per_octet = 1
        due = self._due
        zeros = self._check_zeros

        def block(_uc: int, address: int, size: int, _data: object) -> None:
            nonlocal now
            now += size * per_octet
            if now >= deadline:
                due(address)
            elif size > _SUSPICIOUS_BLOCK:
                zeros(address, size)

        def read_now() -> int:
            return now

        def advance(picoseconds: int) -> None:
            nonlocal now
            now += picoseconds

        def set_deadline(moment: int) -> None:
            nonlocal deadline
            deadline = moment

        def set_per_octet(picoseconds: int) -> None:
            nonlocal per_octet
            per_octet = picoseconds

        self.now = read_now  # picoseconds since the engine was made
        self.advance = advance
        self.set_deadline = set_deadline
        self.set_per_octet = set_per_octet
        self._add_raw(UC_HOOK_BLOCK, _BLOCK(block))

    def _add_raw(
        self, kind: int, callback: object, begin: int = 1, end: int = 0, instruction: int | None = None
    ) -> int:
        """A hook on addresses from begin to end (everywhere when end is below)."""
        self._keep.append(callback)
        hook = ctypes.c_size_t()
        further = () if instruction is None else (ctypes.c_int(instruction),)
        where = ctypes.c_uint64(begin), ctypes.c_uint64(end)
        status = uclib.uc_hook_add(self.handle, ctypes.byref(hook), kind, callback, None, *where, *further)
        if status:
            raise BoxError(f"a hook could not be added (Unicorn error {status})")
        return hook.value

    def _due(self, address: int) -> None:
        self.block_address = address
        try:
            self.on_due()
        except BaseException as error:
            self.fail(error)

    def _check_zeros(self, address: int, size: int) -> None:
        if not any(self.memory.octets[address & 0xFFFFF : (address + size) & 0xFFFFF]):
            self.fail(
                BoxError("the program runs through memory that is all zeros", where=self.place(address))
            )

    # -- hooks ----------------------------------------------------------------------------------
    def fail(self, error: BaseException) -> None:
        """End the run with an exception (the first one counts)."""
        if self._failure is None:
            self._failure = error
        self.stop()

    def stop(self) -> None:
        """End the run before the next basic block, or before the instruction of a code hook."""
        self._stopped = True
        uclib.uc_emu_stop(self.handle)

    @property
    def redirected(self) -> bool:
        """Whether ``redirect`` was called in this hook."""
        return bool(self._redirection)

    def redirect(self, **registers: int) -> None:
        """Stop, and go on elsewhere: registers by name, with at least cs and ip. For hooks."""
        self._redirection = registers
        self.stop()

    def _interrupt(self, _uc: object, number: int, _data: object) -> None:
        try:
            self.on_interrupt(number)
        except BaseException as error:
            self.fail(error)

    def _port_in(self, _uc: object, port: int, size: int, _data: object) -> int:
        try:
            value = self.on_port_in(port)
            for further in range(1, size):
                value |= self.on_port_in(port + further) << 8 * further
            return value
        except BaseException as error:
            self.fail(error)
            return 0xFF

    def _port_out(self, _uc: object, port: int, size: int, value: int, _data: object) -> None:
        try:
            for further in range(size):
                self.on_port_out(port + further, value >> 8 * further & 0xFF)
        except BaseException as error:
            self.fail(error)

    def hook_code(self, begin: int, end: int, function: Callable[[int], None]) -> int:
        """Call function(linear address) before each instruction from begin to end. Hooks added while
        code has already run there need ``forget_code``.
        """

        def guarded(_uc: int, address: int, _size: int, _data: object) -> None:
            try:
                function(address)
            except BaseException as error:
                self.fail(error)

        return self._add_raw(UC_HOOK_CODE, _BLOCK(guarded), begin, end)

    def without_fpu(self) -> None:
        """Floating-point instructions raise interrupt 7 from now on (CR0 bit 2, EM)."""
        self.uc.reg_write(x86.UC_X86_REG_CR0, self.uc.reg_read(x86.UC_X86_REG_CR0) | 4)

    def hook_code_lean(self, function: Callable[..., None]) -> int:
        """Call function(handle, address, size, None), which must not raise, before each instruction."""
        return self._add_raw(UC_HOOK_CODE, _BLOCK(function))

    def hook_writes(self, begin: int, end: int, function: Callable[[int, int], None]) -> int:
        """Call function(linear address, octets) at each write by the processor from begin to end."""

        def write(_uc: object, _kind: int, address: int, size: int, _value: int, _data: object) -> None:
            function(address, size)

        hook: int = self.uc.hook_add(UC_HOOK_MEM_WRITE, write, begin=begin, end=end)
        return hook

    def hook_accesses(
        self, begin: int, end: int, read: Callable[[int, int], None], write: Callable[[int, int, int], None]
    ) -> tuple[int, int]:
        """Call read(linear address, octets) before the processor reads from begin to end, so that memory can be made
        what it is to read, and write(linear address, octets, value) before it writes there.
        """

        def reads(_uc: object, _kind: int, address: int, size: int, _value: int, _data: object) -> None:
            read(address, size)

        def writes(_uc: object, _kind: int, address: int, size: int, value: int, _data: object) -> None:
            write(address, size, value)

        hooks: tuple[int, int] = (
            self.uc.hook_add(UC_HOOK_MEM_READ, reads, begin=begin, end=end),
            self.uc.hook_add(UC_HOOK_MEM_WRITE, writes, begin=begin, end=end),
        )
        self.forget_code()
        return hooks

    def map_extended(self, octets: int) -> None:
        """Memory from EXTENDED on, from the first time that it is asked for."""
        if not self._extended:
            self._extended = octets
            self.uc.mem_map(EXTENDED, -(-octets // 4096) * 4096, UC_PROT_ALL)

    def hook_reads(self, begin: int, end: int, function: Callable[[int], None]) -> None:
        """Call function(linear address), which must not raise, at each data read from begin to end. Slow.

        Not for memory with a stack in it: Unicorn gives a wrong value to a read that meets a stop in the making.
        """

        def read(_uc: object, _kind: int, address: int, _size: int, _value: int, _data: object) -> None:
            function(address)

        self._add_raw(UC_HOOK_MEM_READ, _ACCESS(read), begin, end)

    def unhook(self, hook: int) -> None:
        """Take a hook away."""
        uclib.uc_hook_del(self.handle, ctypes.c_size_t(hook))
        self.forget_code()

    def forget_code(self) -> None:
        """Throw translated code away, so that hooks and loaded code count at once."""
        self.uc.ctl_flush_tb()

    def _cpuid(self, _uc: object, _data: object) -> int:
        try:
            if not self.on_cpuid():
                raise BoxError("CPUID was run on a processor that lacks it", where=self.place())
        except BaseException as error:
            self.fail(error)
        return 1

    # -- memory, stack, interrupts --------------------------------------------------------------
    def load(self, address: int, octets: bytes) -> None:
        """Write what may be code: what was translated from these addresses is forgotten.

        Unicorn notices the guest's own writes to code, but not those of its host.
        """
        while octets:
            address &= 0xFFFFF
            part = octets[: MEGABYTE - address]
            end = address + len(part)
            self.memory.octets[address:end] = part
            self.uc.ctl_remove_cache(address, end)
            octets = octets[len(part) :]
            address = end

    def push(self, value: int) -> None:
        """A word onto the guest's stack."""
        top = self.registers.sp - 2 & 0xFFFF
        self.memory.put_word(((self.registers.ss << 4) + top) & 0xFFFFF, value)
        self.registers.sp = top

    def pop(self) -> int:
        """A word from the guest's stack."""
        top = self.registers.sp
        self.registers.sp = top + 2 & 0xFFFF
        return self.memory.word(((self.registers.ss << 4) + top) & 0xFFFFF)

    def deliver(self, number: int) -> None:
        """Enter an interrupt by its vector, as the processor does."""
        memory = self.memory
        cs, ip, ss, sp, flags = self._delivery.read()
        base = ss << 4
        for value in (self.flags_in_memory(flags), cs, ip):
            sp = sp - 2 & 0xFFFF
            memory.put_word((base + sp) & 0xFFFFF, value)
        vector = 4 * number
        self._delivery.write(
            memory.word(vector + 2),
            memory.word(vector),
            ss,
            sp,
            flags & ~(FLAG_INTERRUPT | FLAG_TRAP),
        )

    def place(self, address: int | None = None) -> str:
        """Where the processor is, as CS:IP, or a linear address as segment and offset of CS."""
        cs, ip = self._place.read()
        if address is not None:
            ip = address - (cs << 4) & 0xFFFF
        return f"{cs:04X}:{ip:04X}"

    def go(self) -> bool:
        """Run until stopped (True) or until a HLT (False). Raises what a hook raised, and BoxError.

        Before, the owner has set CS and IP. After, CS:IP is where it goes on.
        """
        self._failure = None
        self._stopped = False
        cs, ip = self._place.read()
        status = uclib.uc_emu_start(self.handle, (cs << 4) + ip, 0xFFFFFFFF, 0, 0)
        if self._failure is None and status == UC_ERR_INSN_INVALID:
            self.on_interrupt(6)
            return True
        if self._failure is None and status:
            raise BoxError(f"the processor cannot go on (Unicorn error {status})", where=self.place())
        if self._failure is not None:
            raise self._failure
        self._apply_redirection()
        return self._stopped

    def _apply_redirection(self) -> None:
        redirection, self._redirection = self._redirection, {}
        for name, value in redirection.items():
            setattr(self.registers, name, value)
        if redirection:
            self.registers.flags = FLAG_INTERRUPT | 2
