"""The processor's registers, one at a time and in batches."""

from __future__ import annotations

import ctypes
from typing import Final

from unicorn import x86_const as x86
from unicorn.unicorn_py3.unicorn import uclib

_NAMES: Final = {
    "ax": x86.UC_X86_REG_AX,
    "bx": x86.UC_X86_REG_BX,
    "cx": x86.UC_X86_REG_CX,
    "dx": x86.UC_X86_REG_DX,
    "si": x86.UC_X86_REG_SI,
    "di": x86.UC_X86_REG_DI,
    "bp": x86.UC_X86_REG_BP,
    "sp": x86.UC_X86_REG_SP,
    "ip": x86.UC_X86_REG_IP,
    "cs": x86.UC_X86_REG_CS,
    "ds": x86.UC_X86_REG_DS,
    "es": x86.UC_X86_REG_ES,
    "ss": x86.UC_X86_REG_SS,
    "flags": x86.UC_X86_REG_EFLAGS,
    "eax": x86.UC_X86_REG_EAX,
    "ebx": x86.UC_X86_REG_EBX,
    "ecx": x86.UC_X86_REG_ECX,
    "edx": x86.UC_X86_REG_EDX,
}


class Registers:
    """The processor's registers as attributes (``registers.ax``). flags is the whole EFLAGS."""

    __slots__ = ("_handle", "_ids", "_pointers", "_values")

    def __init__(self, handle: ctypes.c_void_p) -> None:
        object.__setattr__(self, "_handle", handle)

    def __getattr__(self, name: str) -> int:
        value = ctypes.c_uint64(0)
        uclib.uc_reg_read(self._handle, _NAMES[name], ctypes.byref(value))
        return value.value

    def __setattr__(self, name: str, value: int) -> None:
        uclib.uc_reg_write(self._handle, _NAMES[name], ctypes.byref(ctypes.c_uint64(value)))


class Batch:
    """A fixed set of registers, read and written in one call."""

    def __init__(self, handle: ctypes.c_void_p, names: str) -> None:
        listed = names.split()
        self._handle = handle
        self.values = (ctypes.c_uint64 * len(listed))()
        step = ctypes.sizeof(ctypes.c_uint64)
        address = ctypes.addressof(self.values)
        self._ids = (ctypes.c_int * len(listed))(*(_NAMES[name] for name in listed))
        self._pointers = (ctypes.c_void_p * len(listed))(*(address + step * i for i in range(len(listed))))
        self._count = len(listed)

    def read(self) -> list[int]:
        """The values, in the order of the names."""
        ctypes.memset(self.values, 0, ctypes.sizeof(self.values))
        uclib.uc_reg_read_batch(self._handle, self._ids, self._pointers, self._count)
        return list(self.values)

    def write(self, *values: int) -> None:
        """Set all of them."""
        self.values[:] = list(values)
        uclib.uc_reg_write_batch(self._handle, self._ids, self._pointers, self._count)
