"""What READOFF.COM costs a program: memory, stack, and the instructions that it adds, counted in the test machine.

The agent as built runs small programs that do one thing many times; without it they run as well, and the difference is
what it adds: hooks, buffer, check sums and its part of the writing, all of it. DOS's own work on the spool file is not
counted: the test machine's DOS takes no instructions for it. Nor is the BIOS's own work at a timer tick: how many of
these fall into a run is chance.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Final

from readoff.box import images
from readoff.box.dos_process import Ended
from readoff.box.drives import Drive
from readoff.box.machine import Box
from readoff.box.spec import AT, MachineSpec
from readoff.errors import BoxError

_MANY, _FEW = 4096, 1024
# Without a real-time clock: the agent waits for its edges before and after a run, and how long is chance.
_MACHINE: Final = replace(AT, rtc=False)
_MARKED, _MARK = 256, 0xA5
TICKS_A_SECOND: Final = 1193181 / 65536  # the timer's input over its longest count: handbook value
_LINE: Final = b"0123456789012345678901234567890123456\r\n"  # 39 octets, as a line of a result may have


@dataclass(frozen=True)
class Action:
    """One thing that programs do. body: 8086 code that does it, at offset 107h; units: how many of it that is."""

    name: str
    body: bytes
    units: int = 1


def _text(number: int) -> bytes:
    return bytes([0xBA, number & 0xFF, number >> 8])  # MOV DX, number


_DATA: Final = 0x140  # where the texts stand
_INT_21: Final = b"\xcd\x21"
ACTIONS: Final = (
    Action("an octet printed by INT 21h AH=02h", b"\xb2x\xb4\x02" + _INT_21),
    Action("an octet printed by INT 21h AH=06h", b"\xb2x\xb4\x06" + _INT_21),
    Action("an octet of a line by INT 21h AH=09h", _text(_DATA) + b"\xb4\x09" + _INT_21, len(_LINE)),
    Action(
        "an octet of a line by INT 21h AH=40h",
        _text(_DATA) + b"\xbb\x01\x00\xb9\x27\x00\xb4\x40" + _INT_21,
        len(_LINE),
    ),
    Action("an octet printed by INT 29h", b"\xb0x\xcd\x29"),
    Action("an octet printed by INT 10h AH=0Eh", b"\xb8x\x0e\xbb\x07\x00\xcd\x10"),
    Action("a keyboard poll by INT 16h AH=01h", b"\xb4\x01\xcd\x16"),
    Action("a keyboard poll by INT 16h AH=11h", b"\xb4\x11\xcd\x16"),
    Action("a keyboard poll by INT 21h AH=06h DL=FFh", b"\xb2\xff\xb4\x06" + _INT_21),
    Action("a keyboard poll by INT 21h AH=0Bh", b"\xb4\x0b" + _INT_21),
    Action("a keyboard poll by INT 21h AX=4406h", b"\x31\xdb\xb8\x06\x44" + _INT_21),
    Action("another INT 10h", b"\xb4\x03\xb7\x00\xcd\x10"),
    Action("another INT 16h", b"\xb4\x02\xcd\x16"),
    Action("another INT 21h", b"\xb4\x19" + _INT_21),
    Action("pure computing", b"\x40\x40\x40"),
)
PRINTED, POLLS, COMPUTING = ACTIONS[:6], ACTIONS[6:11], ACTIONS[-1]
# Ceilings: instructions a printed octet, a keyboard poll, a timer tick; octets of file and memory.
MOST_PRINTED, MOST_POLL, MOST_TICK = 40, 40, 20
MOST: Final = {
    **dict.fromkeys(PRINTED, MOST_PRINTED),
    **dict.fromkeys(POLLS, MOST_POLL),
    COMPUTING: 0,
}
MOST_FILE, MOST_MEMORY, MOST_STACK = 34 * 1024, 16 * 1024, 12


def _program(body: bytes, times: int) -> bytes:
    """MOV CX, times; each time the body with CX kept; INT 21h AX=4C00h. The text with its $ stands at 140h."""
    inner = b"\x51" + body + b"\x59"
    code = bytes([0xB9, times & 0xFF, times >> 8]) + inner + bytes([0xE2, -(len(inner) + 2) & 0xFF])
    code += b"\xb8\x00\x4c" + _INT_21
    return code.ljust(_DATA - 0x100, b"\x90") + _LINE + b"$"


def added(agent: bytes, action: Action, *, spec: MachineSpec = _MACHINE, options: str = "") -> float:
    """Instructions that the agent adds for each unit of an action. Raises BoxError where it does not run there."""
    times = [max(1, count // action.units) for count in (_FEW, _MANY)]
    counted = [
        [
            _run(agent, _program(action.body, each), under=under, spec=spec, options=options)[0]
            for under in (True, False)
        ]
        for each in times
    ]
    (few_under, few), (many_under, many) = counted
    return (many_under - few_under - many + few) / ((times[1] - times[0]) * action.units)


def _run(
    agent: bytes, program: bytes, *, under: bool, spec: MachineSpec, options: str = ""
) -> tuple[int, float]:
    """(instructions, virtual seconds) of a program's run, under the agent or alone."""
    box = _box(agent, program, spec)
    with box.counting(but=_bios_tick()) as count:
        seconds = _start(box, under, options)
        return count(), seconds


def _bios_tick() -> range:
    """Linear addresses of the BIOS's handler of the timer's interrupt."""
    base, at = images.ROM_SEGMENT << 4, images.rom().at
    return range(base + at.int08, base + at.int09)


def _box(agent: bytes, program: bytes, spec: MachineSpec) -> Box:
    drive = Drive()
    drive.write("READOFF.COM", agent)
    drive.write("T.COM", program)
    box = Box(spec, {"C": drive})
    box.most_seconds = 300
    box.boot(1)
    return box


def _start(box: Box, under: bool, options: str) -> float:
    ended = box.run("C:\\READOFF.COM", f"RUN {options} T.COM") if under else box.run("C:\\T.COM")
    if ended.kind != "ended":
        raise BoxError(f"the program ended otherwise ({ended.kind})", where="agent cost")
    return ended.seconds


def added_a_tick(agent: bytes, *, spec: MachineSpec = _MACHINE) -> float:
    """Instructions that the agent adds to each timer tick of a program that computes, with /T:600,R."""
    ticks, counted = [], []
    for times in (8, 40):
        # MOV DX, times; XOR CX, CX; LOOP $; DEC DX; JNZ back; INT 21h AX=4C00h
        program = bytes([0xBA, times, 0]) + b"\x31\xc9\xe2\xfe\x4a\x75\xf9\xb8\x00\x4c" + _INT_21
        alone, seconds = _run(agent, program, under=False, spec=spec)
        under, _ = _run(agent, program, under=True, spec=spec, options="/T:600,R")
        counted.append(under - alone)
        ticks.append(seconds * TICKS_A_SECOND)
    return (counted[1] - counted[0]) / (ticks[1] - ticks[0])


def programs_stack(agent: bytes, *, spec: MachineSpec = _MACHINE) -> int:
    """Octets of the program's own stack that the hooks take at most, beyond what the services themselves take."""
    return max(
        _depth(agent, action, under=True, spec=spec) - _depth(agent, action, under=False, spec=spec)
        for action in ACTIONS
    )


def _depth(agent: bytes, action: Action, *, under: bool, spec: MachineSpec) -> int:
    """How far down a program's stack is written, in octets, when it does this once."""
    # MOV DI, SP; SUB DI, 256; MOV CX, 256; MOV AL, A5h; REP STOSB: a mark below the stack
    code = b"\x89\xe7\x81\xef\x00\x01\xb9\x00\x01\xb0\xa5\xf3\xaa" + action.body + b"\xb8\x00\x4c" + _INT_21
    program = code.ljust(_DATA - 0x100, b"\x90") + _LINE + b"$"
    box = _box(agent, program, spec)
    found: list[int] = []
    processes = box.on.dos.processes
    before = processes.on_ended

    def on_ended(ended: Ended) -> None:
        if ended.name.endswith("T.COM"):
            below = box.on.engine.memory.read(ended.psp, 0xFFFE - _MARKED, _MARKED)
            found.append(_MARKED - next(at for at, octet in enumerate(below) if octet != _MARK))
        before(ended)

    processes.on_ended = on_ended
    _start(box, under, "")
    return found[-1]


def memory_told(agent: bytes) -> tuple[int, int]:
    """Octets in memory while a program runs and otherwise, as the agent's own help says."""
    exit_ = _box(agent, b"\xc3", _MACHINE).run("C:\\READOFF.COM")
    found = re.search(rb"in memory (\d+) during a run, (\d+) otherwise", exit_.console)
    if not found:
        raise BoxError("the agent's help does not tell its memory", where="agent cost")
    return int(found[1]), int(found[2])


@dataclass(frozen=True)
class Machine:
    """A machine to reckon for. clocks: of one instruction of the agent on average, with its fetch and memory."""

    name: str
    megahertz: float
    clocks: float


# The hooks' instructions have three octets on average, and every second one touches memory. An 8088 takes four clocks
# for each octet fetched or touched; a 486 two or three for an instruction. (No source: rough figures, told as such.)
MACHINES: Final = (Machine("an 8088 at 4.77 MHz", 4.772727, 20), Machine("a 486 at 66 MHz", 66.0, 3))


@dataclass(frozen=True)
class Typical:
    """What a typical program does in a run of so many seconds."""

    seconds: float = 10.0
    printed: int = 2000
    polls: int = 500

    def instructions(self, octet: float, poll: float, tick: float) -> float:
        """That the agent adds to it."""
        ticks = self.seconds * TICKS_A_SECOND
        return self.printed * octet + self.polls * poll + ticks * tick

    def per_cent(self, instructions: float, machine: Machine) -> float:
        """Of its time on a machine."""
        return 100 * instructions * machine.clocks / (machine.megahertz * 1e6 * self.seconds)
