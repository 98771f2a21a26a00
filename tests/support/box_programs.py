"""Small guest programs for the tests of the box: assembled with NASM, run, and looked into."""

from __future__ import annotations

import subprocess
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from readoff.box import AT, Box, Drive, Exit, MachineSpec

RESULTS = 0x103
_PRELUDE = """
        cpu     {cpu}
        bits    16
        org     100h
        jmp     near main
results: times 256 db 0
%macro exit 0-1 0
        mov     ax, 4C00h + %1
        int     21h
%endmacro
%macro set_vector 2
        mov     dx, %2
        mov     ax, 2500h + %1
        int     21h
%endmacro
%macro get_vector 2                     ; number, where to put offset and segment
        mov     ax, 3500h + %1
        int     21h
        mov     [%2], bx
        mov     [%2 + 2], es
        push    cs
        pop     es
%endmacro
%macro print_with_handler 0             ; print text; INT 29h goes to mine meanwhile (`once` to `once_end`)
        get_vector 29h, old
        set_vector 29h, mine
        mov     dx, text
        mov     ah, 9
        int     21h
        mov     ah, 19h
        int     21h
        exit
%endmacro
%macro once 0                           ; what follows is done the first time only
mine:   cmp     byte [cs:done], 0
        jne     .pass
        inc     byte [cs:done]
%endmacro
%macro once_end 0
.pass:  jmp     far [cs:old]
done:   db 0
old:    dd 0
%endmacro
%macro shrink 0                         ; keep 4 KB, so that EXEC has room
        mov     sp, 1000h
        mov     bx, 100h
        mov     ah, 4Ah
        int     21h
%endmacro
"""


@cache
def assemble(source: str, cpu: str = "8086", prelude: bool = True) -> bytes:
    """A .COM program. The source defines main; it finds results (256 octets) at offset 103h."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "program.asm"
        path.write_text((_PRELUDE.format(cpu=cpu) if prelude else "") + source)
        out = Path(folder) / "PROGRAM.COM"
        done = subprocess.run(
            ["nasm", "-f", "bin", "-o", str(out), str(path)], capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return out.read_bytes()


@dataclass
class Ran:
    """A program that ran: its exit and the results it left in its memory."""

    exit: Exit
    results: bytes

    def word(self, index: int) -> int:
        """Word number index of the results."""
        return int.from_bytes(self.results[2 * index : 2 * index + 2], "little")


def make_box(spec: MachineSpec = AT, **programs: str) -> Box:
    """A booted box with C: holding programs by name (without .COM), given as source."""
    drive = Drive()
    for name, source in programs.items():
        drive.write(f"{name}.COM", assemble(source))
    box = Box(spec, {"C": drive})
    box.most_seconds = 60
    box.patience = 60
    box.boot(1)
    return box


def run_source(box: Box, source: str, tail: str = "", *, cpu: str = "8086", keys: str = "") -> Ran:
    """Assemble, put on C: as T.COM, run."""
    box.drive("C").write("T.COM", assemble(source, cpu))
    before = len(box.ended)
    exit_ = box.run("C:\\T.COM", tail, keys=keys)
    mine = [ended for ended in box.ended[before:] if ended.name == "C:\\T.COM"]
    if exit_.kind in ("reset", "power cut") or not mine:
        return Ran(exit_, bytes(256))
    return Ran(exit_, box.on.engine.memory.read(mine[-1].psp, RESULTS, 256))
