"""The line under another, emulated DOS: DOSBox's paced UART without FIFO, over TCP, with faults on the way."""

from __future__ import annotations

import random
import socket
import time
from pathlib import Path

import pytest

from readoff.contract.record import parse_record
from readoff.link.events import Bye
from support.agent_box import AGENT
from support.box_host import BoxHost
from support.dosbox import RunningDosBox, dosbox, files_of
from support.serial_lines import listening_line

FAULTS = {"none": (0.0, 0.0), "noise": (4e-4, 0.0), "loss": (0.0, 4e-4)}


def converse(
    running: RunningDosBox, connection: socket.socket, host: BoxHost, flip: float, lose: float, seed: int
) -> int:
    """Serve the line until DOSBox goes; octets that were changed or lost on the way."""
    connection.settimeout(0.05)
    draw, faults = random.Random(seed), 0

    def spoil(octets: bytes) -> bytes:
        nonlocal faults
        out = bytearray()
        for octet in octets:
            if draw.random() < lose:
                faults += 1
                continue
            if draw.random() < flip:
                faults += 1
                octet ^= 1 << draw.randrange(8)  # noqa: PLW2901
            out.append(octet)
        return bytes(out)

    while True:
        ended = running.process.poll() is not None  # looked at first: what was on its way is still taken
        try:
            octets = connection.recv(4096)
        except TimeoutError:
            if ended:
                break
            continue
        except ConnectionError:
            break
        if not octets:
            break
        reply = host.exchange(0, spoil(octets))
        if reply:
            connection.sendall(spoil(reply))
    return faults


@pytest.mark.parametrize("name", FAULTS)
def test_spool_over_the_line(tmp_path: Path, name: str) -> None:
    """Two snapshots by file, then both over the line: the same octets, and the files are gone."""
    flip, lose = FAULTS[name]
    (tmp_path / "READOFF.COM").write_bytes(AGENT.read_bytes())
    (tmp_path / "AUTOEXEC.BAT").write_bytes(bytes(random.Random(1).randbytes(5000)))
    host = BoxHost()
    commands = [
        "READOFF SNAP /L:a",
        "READOFF SNAP /L:b",
        "COPY *.RDO KEPT > NUL",
        "READOFF SEND /S:COM1,57600",
    ]
    (tmp_path / "KEPT").mkdir()
    with listening_line() as line, dosbox(tmp_path, commands, serial1=line.serial1, time_limit=60) as running:
        connection = line.accept()
        faults = converse(running, connection, host, flip, lose, seed=4)
        files = running.wait()
    kept = sorted(
        octets for path, octets in files.items() if path.startswith("KEPT/") and "SERIAL" not in path
    )
    assert len(kept) == 2
    assert sorted(host.store.values()) == kept
    assert [path for path in files if path.endswith(".RDO") and "/" not in path] == ["SERIAL.RDO"]
    assert (faults > 0) is (name != "none")
    if name == "none":
        assert host.events[-1] == Bye(0)


def test_no_host_costs_a_few_seconds_and_no_record(tmp_path: Path) -> None:
    (tmp_path / "READOFF.COM").write_bytes(AGENT.read_bytes())
    commands = ["READOFF SNAP /L:a /S:COM1,9600", "IF ERRORLEVEL 1 ECHO missing > MISSING.TXT"]
    with listening_line() as line, dosbox(tmp_path, commands, serial1=line.serial1, time_limit=30) as running:
        connection = line.accept()
        begun = time.monotonic()
        files = running.wait()
        connection.close()
    assert "MISSING.TXT" in files
    (path,) = (path for path in files if path.endswith(".RDO") and "SERIAL" not in path)
    assert parse_record(files[path]).kind == "snapshot"
    assert time.monotonic() - begun < 25
    assert files_of(tmp_path) == files
