"""64 KB of records over a line at 115,200 under DOSBox, beside a bare, polled blast of the same octets, by turns."""

from __future__ import annotations

import socket
import time
from dataclasses import dataclass
from pathlib import Path

from readoff.contract.record import parse_record
from readoff.link.events import Bye
from support import store_samples as samples
from support.agent_box import AGENT, end_of
from support.box_host import BoxHost
from support.dosbox import RunningDosBox, dosbox, put_programs
from support.serial_lines import listening_line

SIZE = 65_536
COUNTS_A_TICK = 65_536
TICK_SECONDS = COUNTS_A_TICK / 1_193_182  # the PC's timer: 14.31818 MHz / 12 (common practice, no source)


@dataclass(frozen=True)
class Round:
    """One blast and one sending: seconds of DOSBox's own timer from the program's start to its end, taken by the agent.

    on_the_line: octets that the agent sent, all its frames counted.
    """

    bare: float
    sent: float
    on_the_line: int

    @property
    def ratio(self) -> float:
        """How many times as long as the blast the sending took."""
        return self.sent / self.bare


def beside_a_bare_blast(folder: Path, rounds: int) -> list[Round]:
    """Sends and blasts the records in one DOSBox. What comes at the other end is asserted on to be what was sent."""
    records = runs_of(SIZE)
    commands = []
    for turn in range(rounds):
        spool = folder / f"SPOOL{turn}"
        spool.mkdir()
        for number, octets in enumerate(records):
            (spool / f"{number:08}.RDO").write_bytes(octets)
        commands += [
            "READOFF RUN /D:C:\\OUT BLAST ALL.BIN",
            f"READOFF RUN /D:C:\\OUT READOFF SEND /D:C:\\{spool.name} /S:COM1",
        ]
    (folder / "OUT").mkdir()
    (folder / "ALL.BIN").write_bytes(b"".join(records))
    (folder / "READOFF.COM").write_bytes(AGENT.read_bytes())
    put_programs(folder, "BLAST.COM")
    with (
        listening_line() as line,
        dosbox(
            folder, commands, serial1=line.serial1, time_limit=60 + 40 * rounds, cycles="fixed 20000"
        ) as running,
    ):
        served = _serve(running, line.accept(), rounds)
        files = running.wait()
    for raw, host in served:
        assert raw == b"".join(records)
        assert sorted(host.store.values()) == sorted(records)
    seconds = _seconds_of_runs(files)
    assert len(seconds) == 2 * rounds
    heard = [host.heard for _, host in served]
    return [Round(*each) for each in zip(seconds[::2], seconds[1::2], heard, strict=True)]


def runs_of(octets: int) -> list[bytes]:
    """Records of runs as programs leave them, text and unpacked screens, so many octets in all."""
    made: list[bytes] = []
    left = octets
    for ordinal in range(2, 6):
        lines = [f"Pass {n:3}: {2134 + 7 * n} frames in {1024 - n} ticks" for n in range(24)]
        screens = tuple(samples.screen(lines) for _ in range(3))
        empty = samples.run_record(ordinal, console=b"", screens=screens)
        size = left if ordinal == 5 else octets // 4
        console = (samples.printed() * 400)[: size - len(empty)]
        made.append(samples.run_record(ordinal, console=console, screens=screens))
        left -= len(made[-1])
    assert left == 0
    return made


def _serve(running: RunningDosBox, connection: socket.socket, rounds: int) -> list[tuple[bytes, BoxHost]]:
    """By turns a blast, kept as it is, and a host of its own for what the agent sends until it says bye."""
    connection.settimeout(0.02)
    served = []
    for _ in range(rounds):
        raw, host = bytearray(), BoxHost()
        while running.process.poll() is None and host.events[-1:] != [Bye(0)]:
            try:
                octets = connection.recv(4096)
            except TimeoutError:
                octets = b""
            except ConnectionError:
                break
            taken = octets[: SIZE - len(raw)]
            raw += taken
            reply = host.exchange(int(time.monotonic() * 1e6), octets[len(taken) :])
            if reply:
                connection.sendall(reply)
        served.append((bytes(raw), host))
    return served


def _seconds_of_runs(files: dict[str, bytes]) -> list[float]:
    """How long each run took by the machine's own timer, in the order of the runs."""
    records = [
        parse_record(octets)
        for name, octets in files.items()
        if name.startswith("OUT/") and not name.endswith("SERIAL.RDO")
    ]
    ends = [end_of(each) for each in sorted(records, key=lambda each: each.id) if each.kind == "run"]
    return [TICK_SECONDS * (end["elapsed_ticks"] + end["elapsed_counts"] / COUNTS_A_TICK) for end in ends]
