"""The command processor: what lines and batch files mean. The calls it asks for are made by guest code.

Known: running .COM, .EXE and .BAT by PATH, ECHO, REM, SET, CALL, CD, COPY of one file or device, a drive letter,
IF ERRORLEVEL and redirection of output. As on real DOS, COMMAND /C gives back 0 whatever the program gave, and the
batch is in question after Ctrl-C.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Generator
from dataclasses import dataclass
from typing import Final

from readoff.box import images
from readoff.box.engine import Engine

_BUFFER_POINTER: Final = 0x106
_TAIL_AT, _BLOCK_AT, _FCB_AT = 128, 260, 280
_OWN_CALLS: Final = 80  # real ones make 80 to 700 calls of their own
_EXTENSIONS: Final = (".COM", ".EXE", ".BAT")
FLAG_CARRY: Final = 1


@dataclass(frozen=True)
class Call:
    """One INT 21h: registers, and octets for the buffer. at_dx: DX (and DS) point at the buffer."""

    ax: int
    bx: int = 0
    cx: int = 0
    dx: int = 0
    data: bytes = b""
    at_dx: bool = False
    at_bx: int | None = None


@dataclass(frozen=True)
class Answer:
    """What a call gave: AX and CF."""

    ax: int
    carry: bool


@dataclass(frozen=True)
class Job:
    """A program to run by its path, without looking for it."""

    path: str
    tail: str


@dataclass(frozen=True)
class Result:
    """How a job went: the DOS error when it did not start, else kind << 8 | code."""

    error: int | None
    code: int = 0


Steps = Generator[Call | None, Answer, None]


def program(gate: int) -> bytes:
    """COMMAND.COM with the gate's offset in the ROM filled in."""
    octets = bytearray(images.shell())
    octets[2:4] = gate.to_bytes(2, "little")
    return bytes(octets)


class Shell:
    """One running command processor. jobs: for the first one, what the people outside want run."""

    def __init__(self, engine: Engine, psp: int, jobs: deque[Job | str] | None) -> None:
        self._engine = engine
        self._memory = engine.memory
        self._psp = psp
        self._jobs = jobs
        self._buffer = self._memory.word((psp << 4) + _BUFFER_POINTER)
        self._waiting_for_answer = False
        self._steps = self._primary(jobs) if jobs is not None else self._secondary()
        self.results: deque[Result] = deque()
        self._level = 0

    # -- the gate ---------------------------------------------------------------------------------
    def step(self) -> bool:
        """Set registers for the next call; False when there is nothing to do now."""
        if self._waiting_for_answer:
            at = (self._psp << 4) + self._buffer - 4
            answer = Answer(self._memory.word(at), bool(self._memory.word(at + 2) & FLAG_CARRY))
            call = self._steps.send(answer)
        else:
            call = next(self._steps)
        self._waiting_for_answer = call is not None
        if call is None:
            return False
        registers = self._engine.registers
        if call.data:
            self._engine.load((self._psp << 4) + self._buffer, call.data)
        registers.ax = call.ax
        registers.bx = call.bx if call.at_bx is None else self._buffer + call.at_bx
        registers.cx = call.cx
        registers.dx = self._buffer if call.at_dx else call.dx
        return True

    # -- what it does -----------------------------------------------------------------------------
    def _primary(self, jobs: deque[Job | str]) -> Steps:
        yield from self._begin()
        while True:
            if not jobs:
                yield None
                continue
            job = jobs.popleft()
            if isinstance(job, Job):
                yield from self._run(job.path, job.tail)
            else:
                yield from self._line(job, in_batch=False)
                self.results.append(Result(None, self._level))

    def _secondary(self) -> Steps:
        base = self._psp << 4
        length = self._memory.octets[base + 0x80]
        tail = bytes(self._memory.octets[base + 0x81 : base + 0x81 + length]).decode("cp437")
        yield from self._begin()
        before, found, line = tail.partition("/")
        if found and line[:1].upper() == "C" and not before.strip():
            yield from self._line(line[1:].strip(), in_batch=False)
        yield Call(0x4C00)

    def _begin(self) -> Steps:
        size = (len(images.shell()) + 0x100 + 15) // 16
        yield Call(0x4A00, bx=size)
        for ordinal in range(_OWN_CALLS):
            yield Call((0x1900, 0x5400, 0x3300, 0x3523, 0x3000)[ordinal % 5])

    def _print(self, text: str) -> Steps:
        octets = text.encode("cp437")[:512]
        yield Call(0x4000, bx=1, cx=len(octets), data=octets, at_dx=True)

    def _line(self, line: str, *, in_batch: bool) -> Steps:
        line, target = self._redirection(line.strip())
        if target:
            yield Call(0x4500, bx=1)
            kept = self._last_ax()
            yield Call(0x3C00, data=target.encode("cp437") + b"\0", at_dx=True)
            opened = self._last_ax()
            yield Call(0x4600, bx=opened, cx=1)
            yield Call(0x3E00, bx=opened)
            yield from self._command(line, in_batch=in_batch)
            yield Call(0x4600, bx=kept, cx=1)
            yield Call(0x3E00, bx=kept)
        else:
            yield from self._command(line, in_batch=in_batch)

    def _redirection(self, line: str) -> tuple[str, str]:
        before, mark, behind = line.partition(">")
        return (before.strip(), behind.strip(" >")) if mark else (line, "")

    def _last_ax(self) -> int:
        return self._memory.word((self._psp << 4) + self._buffer - 4)

    def _command(self, line: str, *, in_batch: bool) -> Steps:
        word, _, rest = line.partition(" ")
        upper = word.upper()
        if not word or upper == "REM" or upper.startswith(":"):
            return
        if upper in ("ECHO", "ECHO."):
            if rest.strip().upper() not in ("ON", "OFF"):
                yield from self._print(rest + "\r\n")
        elif upper == "IF":
            condition = rest.split(maxsplit=2)
            if self._holds(condition):
                yield from self._command(condition[2], in_batch=in_batch)
        elif upper == "SET":
            self._set(rest)
        elif upper == "CALL":
            yield from self._command(rest.strip(), in_batch=in_batch)
        elif upper == "CD":
            yield Call(0x3B00, data=rest.strip().encode("cp437") + b"\0", at_dx=True)
        elif upper == "COPY":
            yield from self._copy(*rest.split())
        elif len(word) == 2 and word[1] == ":":
            yield Call(0x0E00, dx=ord(upper[0]) - ord("A"))
        else:
            yield from self._find_and_run(word, f" {rest}" if rest else "")

    def _copy(self, source: str, target: str) -> Steps:
        """One file or device to a file; from a device up to its first Ctrl-Z, which goes into the file."""
        opened = yield Call(0x3D00, data=source.rstrip(":").encode("cp437") + b"\0", at_dx=True)
        if opened.carry:
            yield from self._print("There is no such file\r\n")
            return
        kind = yield Call(0x4400, bx=opened.ax)
        # The word of IOCTL is in DX; Answer knows AX, which DOS gives the same value.
        device = bool(kind.ax & 0x80)
        text = b""
        while not (device and b"\x1a" in text):
            got = yield Call(0x3F00, bx=opened.ax, cx=128, at_dx=True)
            start = (self._psp << 4) + self._buffer
            text += bytes(self._memory.octets[start : start + got.ax])
            if got.carry or got.ax == 0:
                break
        yield Call(0x3E00, bx=opened.ax)
        made = yield Call(0x3C00, data=target.encode("cp437") + b"\0", at_dx=True)
        for at in range(0, len(text), 128):
            yield Call(0x4000, bx=made.ax, cx=len(text[at : at + 128]), data=text[at : at + 128], at_dx=True)
        yield Call(0x3E00, bx=made.ax)
        yield from self._print("        1 file copied\r\n")

    def _holds(self, condition: list[str]) -> bool:
        """ERRORLEVEL number, the only condition that is known."""
        if len(condition) < 3 or condition[0].upper() != "ERRORLEVEL" or not condition[1].isdigit():
            return False
        return self._level & 0xFF >= int(condition[1])

    def _set(self, text: str) -> None:
        """SET NAME=VALUE in the shell's own environment, as far as its block has room."""
        name, mark, value = text.partition("=")
        if not mark:
            return
        kept = [v for v in self._variables() if not v.upper().startswith(f"{name.strip().upper()}=")]
        if value:
            kept.append(f"{name.strip().upper()}={value}")
        octets = b"".join(v.encode("cp437") + b"\0" for v in kept) + b"\0\1\0C:\\COMMAND.COM\0"
        segment = self._environment()
        if len(octets) <= 16 * self._memory.word((segment - 1 << 4) + 3):
            self._engine.load(segment << 4, octets)

    def _environment(self) -> int:
        return self._memory.word((self._psp << 4) + 0x2C)

    def _variables(self) -> list[str]:
        octets = self._memory.read(self._environment(), 0, 2048)
        return [v.decode("cp437") for v in octets[: octets.find(b"\0\0")].split(b"\0") if v]

    def _find_and_run(self, word: str, tail: str) -> Steps:
        folders = [""]
        if "\\" not in word and ":" not in word:
            for variable in self._variables():
                if variable.startswith("PATH="):
                    folders += [f"{f.rstrip(chr(92))}\\" for f in variable[5:].split(";") if f]
        names = [word] if "." in word else [word + extension for extension in _EXTENSIONS]
        for path in (folder + name for folder in folders for name in names):
            yield Call(0x4300, data=path.encode("cp437") + b"\0", at_dx=True)
            at = (self._psp << 4) + self._buffer - 2
            if not self._memory.word(at) & FLAG_CARRY:
                if path.upper().endswith(".BAT"):
                    yield from self._batch(path)
                else:
                    yield from self._run(path, tail)
                return
        yield from self._print("There is no such command or program\r\n")
        self._level = 0

    def _run(self, path: str, tail: str) -> Steps:
        octets = bytearray(300)
        name = path.encode("cp437")[:127]
        octets[: len(name)] = name
        typed = tail.encode("cp437")[:126]
        octets[_TAIL_AT : _TAIL_AT + len(typed) + 2] = bytes([len(typed)]) + typed + b"\r"
        segment = self._psp
        words = (
            0,
            self._buffer + _TAIL_AT,
            segment,
            self._buffer + _FCB_AT,
            segment,
            self._buffer + _FCB_AT,
            segment,
        )
        octets[_BLOCK_AT : _BLOCK_AT + 14] = b"".join(word.to_bytes(2, "little") for word in words)
        octets[_FCB_AT : _FCB_AT + 12] = b"\0" + b" " * 11
        answer = yield Call(0x4B00, data=bytes(octets), at_dx=True, at_bx=_BLOCK_AT)
        if answer.carry:
            self.results.append(Result(answer.ax))
            self._level = 0
            yield from self._print("The program cannot be started\r\n")
            return
        code = yield Call(0x4D00)
        self._level = code.ax
        self.results.append(Result(None, code.ax))

    def _batch(self, path: str) -> Steps:
        opened = yield Call(0x3D00, data=path.encode("cp437") + b"\0", at_dx=True)
        text = b""
        while not opened.carry:
            got = yield Call(0x3F00, bx=opened.ax, cx=512, at_dx=True)
            start = (self._psp << 4) + self._buffer
            text += bytes(self._memory.octets[start : start + got.ax])
            if got.carry or got.ax < 512:
                break
        yield Call(0x3E00, bx=opened.ax)
        echo = True
        for line in text.rstrip(b"\x1a").decode("cp437").splitlines():
            shown = line.strip()
            quiet = shown.startswith("@")
            shown = shown.lstrip("@")
            if not shown:
                continue
            if echo and not quiet:
                yield from self._print(f"C:\\>{shown}\r\n")
            if shown.upper().split() in (["ECHO", "OFF"], ["ECHO", "ON"]):
                echo = shown.upper().split()[1] == "ON"
                continue
            self._level &= 0xFF
            yield from self._line(shown, in_batch=True)
            if self._level >> 8 == 1 and (yield from self._wants_to_end()):
                break
        self._level &= 0xFF

    def _wants_to_end(self) -> Generator[Call | None, Answer, bool]:
        while True:
            yield from self._print("\r\nEnd the batch job (Y/N)? ")
            answer = yield Call(0x0100)
            key = chr(answer.ax & 0x5F)
            if key in "YN":
                yield from self._print("\r\n")
                return key == "Y"
