"""How near the line comes to what its wire can carry: under DOSBox against a bare blast; against formulas."""

from __future__ import annotations

import random
import socket
import time
from pathlib import Path

import pytest

from readoff.contract.record import parse_record
from readoff.link.events import Bye
from support import store_samples as samples
from support.agent_box import AGENT, end_of
from support.agent_line import MILLISECOND, Faults, LineBench
from support.box_host import BoxHost
from support.dosbox import RunningDosBox, dosbox, put_programs
from support.line_records import record
from support.serial_lines import listening_line

SIZE = 65_536
COUNTS_A_TICK = 65_536


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


def serve(running: RunningDosBox, connection: socket.socket, host: BoxHost, blast: int) -> bytes:
    """The first ``blast`` octets are kept as they are, all others go to the host."""
    connection.settimeout(0.02)
    raw = bytearray()
    while running.process.poll() is None:
        try:
            octets = connection.recv(4096)
        except TimeoutError:
            octets = b""
        except ConnectionError:
            break
        taken = octets[: blast - len(raw)]
        raw += taken
        reply = host.exchange(int(time.monotonic() * 1e6), octets[len(taken) :])
        if reply:
            connection.sendall(reply)
    return bytes(raw)


def test_records_at_the_pace_of_a_bare_blast(tmp_path: Path) -> None:
    """64 KB of records at 115,200 under DOSBox: at least 0.97 of the octets on the line are theirs.

    Both ways are programs run by the agent, whose clock is DOSBox's own timer. Their times are told, not asserted on.
    """
    records = runs_of(SIZE)
    for number, octets in enumerate(records):
        spool = tmp_path / "SPOOL"
        spool.mkdir(exist_ok=True)
        (spool / f"{number:08}.RDO").write_bytes(octets)
    (tmp_path / "OUT").mkdir()
    (tmp_path / "ALL.BIN").write_bytes(b"".join(records))
    (tmp_path / "READOFF.COM").write_bytes(AGENT.read_bytes())
    put_programs(tmp_path, "BLAST.COM")
    commands = [
        "READOFF RUN /D:C:\\OUT BLAST ALL.BIN",
        "READOFF RUN /D:C:\\OUT READOFF SEND /D:C:\\SPOOL /S:COM1",
    ]
    host = BoxHost()
    with (
        listening_line() as line,
        dosbox(tmp_path, commands, serial1=line.serial1, time_limit=90, cycles="fixed 20000") as running,
    ):
        raw = serve(running, line.accept(), host, SIZE)
        files = running.wait()
    assert raw == b"".join(records)
    assert sorted(host.store.values()) == sorted(records)
    assert host.events[-1] == Bye(0)
    print(f"{SIZE} of {host.heard} octets on the line: {SIZE / host.heard:.4f}")
    assert SIZE / host.heard >= 0.97
    ends = [
        end_of(each)
        for each in sorted(
            (
                parse_record(octets)
                for name, octets in files.items()
                if name.startswith("OUT/") and len(octets) > 8
            ),
            key=lambda each: each.id,
        )
        if each.kind == "run"
    ]
    bare, sent = (end["elapsed_ticks"] + end["elapsed_counts"] / COUNTS_A_TICK for end in ends)
    print(f"bare {bare * 0.0549254:.2f} s, sent {sent * 0.0549254:.2f} s: {sent / bare:.3f}")


def selective_repeat(payload: float, frame: float, errors: float) -> float:
    """Textbook: (D / N) (1 - P), P = 1 - (1 - p)^(10 N); N in octets on the line, p for each bit."""
    return payload / frame * (1 - errors) ** (10 * frame)


def best_repeat(errors: float) -> float:
    """The best that selective repeat comes to with any of the lengths that the agent uses, 21 octets around each."""
    return max(selective_repeat(size, size + 21, errors) for size in (64, 128, 256, 512, 1024))


@pytest.mark.parametrize("errors", [1e-5, 1e-4])
def test_throughput_against_the_formula_of_selective_repeat(errors: float) -> None:
    """At least 0.9 of the formula for the frame length in use; at 1e-4 above what any sender of 1,024 can come to.

    The wire flips bits one way, as the formula has it. Octets are counted, so that no clock matters; the length in use
    is the mean of what was sent.
    """
    sent = payload = frames = 0
    for seed in range(3):
        octets = record(1, 60_000, seed)
        line = LineBench({"A.RDO": octets}, seed=seed, to_host=Faults(flip=1 - (1 - errors) ** 8))
        line.uart.skip_to = None
        assert line.offer() == 0
        data = [piece for piece in bytes(line.from_agent).split(b"\x7e") if piece[:1] == b"\x05"]
        sent += sum(len(piece) + 2 for piece in data)
        frames += len(data)
        payload += len(octets)
    size = sent / frames - 21
    formula = selective_repeat(size, size + 21, errors)
    print(f"{errors}: {payload / sent:.3f} of the line, mean piece {size:.0f}: formula {formula:.3f}")
    assert payload / sent >= 0.9 * formula
    if errors == 1e-4:
        assert payload / sent > selective_repeat(1024, 1024 + 21, errors)
        assert payload / sent >= 0.8 * best_repeat(errors)


def test_one_way_delay_of_16_ms_costs_under_5_per_cent() -> None:
    """Of the time from the first octet of a record to kept; what the port's rate takes to agree on comes once."""
    seconds = []
    for delay in (0, 16 * MILLISECOND):
        wire = Faults(delay=delay)
        line = LineBench({"A.RDO": record(1, 64_000)}, to_host=wire, to_agent=wire)
        assert line.offer() == 0
        seconds.append(line.seconds)
    print(f"delay: {seconds[1] / seconds[0]:.4f}")
    assert seconds[1] < 1.05 * seconds[0]


def test_random_octets_too() -> None:
    """Noise, with an escape in each 128 octets, leaves just as much room: 64 KB, all frames counted."""
    octets = record(1, 28)[:-4] + random.Random(9).randbytes(SIZE - 24)
    line = LineBench({"A.RDO": octets})
    assert line.offer() == 0
    print(f"{len(octets) / line.octets_to_host:.4f} of the line")
    assert len(octets) / line.octets_to_host >= 0.967
