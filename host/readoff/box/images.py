"""The machine code that the box carries, and where things are in it.

The three images are assembled from the NASM files beside them. ROM and kernel begin with a table of
addresses; the names here follow the order of those tables.
"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Final

HERE: Final = Path(__file__).resolve().parent
ROM_SEGMENT: Final = 0xF000
ROM_OFFSET: Final = 0xE000
KERNEL_SEGMENT: Final = 0x0070

ROM_LABELS: Final = (
    "gates gates_end int05 int08 int09 int10 int11 int12 int13 int14 int15 int16 int17 int18 int19 int1a "
    "nothing date model disk_table system_table ident font"
).split()
ROM_GATES: Final = ("int10 int11 int12 int13 int15 int16 int18 int19 int1a key_ready key reset far").split()
KERNEL_LABELS: Final = (
    "gates gates_end kernel_end int00 int20 int21 int22 int23 int24 int25 int27 int28 int29 int1b "
    "lists first_mcb indos error_mode current_psp user_sp exit_kind io_stack disk_stack active "
    "critical_ax critical_code critical_device transfer key_status_function device_con con_line_state column "
    "break_check"
).split()
KERNEL_GATES: Final = "quick service failed abort char_out char_in reentry top".split()
GATE_SIZE: Final = 2  # NOP and the way back
STACK_SIZE: Final = 384
STACK_GUARD: Final = bytes.fromhex("050d") * 4


class Image:
    """Octets of an assembled file and the addresses (offsets in its segment) from its table."""

    def __init__(self, name: str, origin: int, labels: list[str]) -> None:
        self.octets = (HERE / f"{name}.bin").read_bytes()
        words = memoryview(self.octets[: 2 * len(labels)]).cast("H").tolist()
        self.at = SimpleNamespace(**dict(zip(labels, words, strict=True)))
        self.origin = origin


def rom() -> Image:
    """The last 8 KB below 1 MB."""
    return Image("rom", ROM_OFFSET, ROM_LABELS)


def kernel() -> Image:
    """The DOS kernel."""
    return Image("kernel", 0, KERNEL_LABELS)


def shell() -> bytes:
    """COMMAND.COM, a .COM program."""
    return (HERE / "shell.bin").read_bytes()
