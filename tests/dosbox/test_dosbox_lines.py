"""DOSBox's COM1 from outside: over TCP either way round, and through ptys. And the harness without DOSBox."""

from __future__ import annotations

import socket
import string
from collections.abc import Callable
from pathlib import Path

import pytest
import serial

from support.dosbox import DosBoxError, RunningDosBox, dosbox, put_programs, run_dosbox
from support.serial_lines import dosbox_listens, listening_line, pty_line

ALPHABET = string.ascii_uppercase.encode()
SPOKEN = b"\x00\x11\x13\x7e\x7d\xff an answer, q"
PROGRAM = ["lineecho 1 > L.TXT"]
TIME_LIMIT = 60.0


def talk(read: Callable[[int], bytes], write: Callable[[bytes], object], spoken: bytes = SPOKEN) -> bytes:
    """Take the alphabet, then speak octet by octet, waiting for each to come back; all that came."""
    came = b"".join(one(read) for _ in ALPHABET)
    for octet in spoken:
        write(bytes([octet]))
        came += one(read)
    return came


def one(read: Callable[[int], bytes]) -> bytes:
    """The next octet; a line that is closed or silent for too long fails the test."""
    octet = read(1)
    assert octet, "the line ended before the program's last octet"
    return octet


@pytest.mark.parametrize("gather_ms", [0, 12])
def test_dosbox_connects_out_to_us(tmp_path: Path, gather_ms: int) -> None:
    put_programs(tmp_path, "LINEECHO.COM")
    with (
        listening_line(gather_ms) as line,
        dosbox(tmp_path, PROGRAM, serial1=line.serial1) as running,
        line.accept() as connection,
    ):
        connection.settimeout(TIME_LIMIT)
        assert talk(connection.recv, connection.sendall) == ALPHABET + SPOKEN
        files = running.wait()
    assert files["L.TXT"] == f"Line: {len(SPOKEN)} octets sent back\r\n".encode()


def connect_when_up(url: str, running: RunningDosBox) -> serial.SerialBase:
    """pyserial on DOSBox's port, tried again until it is open or DOSBox has ended."""
    while running.process.poll() is None:
        try:
            return serial.serial_for_url(url, timeout=TIME_LIMIT)
        except serial.SerialException:
            continue
    raise AssertionError("DOSBox ended before it opened its port")


def test_we_connect_to_dosbox(tmp_path: Path) -> None:
    """DOSBox drops what it sends before it has taken our connection, for which it looks every 50 ms of its time.

    So the program starts after we have put a file there (seen only after RESCAN) and three clock ticks more,
    which any of our programs with a stop watch takes.
    """
    put_programs(tmp_path, "LINEECHO.COM", "INTLOOP.COM")
    line = dosbox_listens()
    (tmp_path / "WAIT.BAT").write_bytes(b":again\r\nrescan > NUL\r\nif not exist GO.TXT goto again\r\n")
    with (
        dosbox(tmp_path, ["call WAIT.BAT", "intloop 1 > NUL", *PROGRAM], serial1=line.serial1) as running,
        connect_when_up(line.url, running) as port,
    ):
        (tmp_path / "GO.TXT").write_bytes(b"")
        assert talk(port.read, port.write) == ALPHABET + SPOKEN
        files = running.wait()
    assert files["L.TXT"] == f"Line: {len(SPOKEN)} octets sent back\r\n".encode()


def test_through_a_pair_of_ptys(tmp_path: Path) -> None:
    put_programs(tmp_path, "LINEECHO.COM")
    with (
        pty_line() as line,
        serial.Serial(line.host_path, 115200, timeout=TIME_LIMIT) as port,
        dosbox(tmp_path, PROGRAM, serial1=line.serial1) as running,
    ):
        assert talk(port.read, port.write) == ALPHABET + SPOKEN
        files = running.wait()
    assert files["L.TXT"] == f"Line: {len(SPOKEN)} octets sent back\r\n".encode()


def test_a_pty_line_carries_more_than_any_buffer_holds_both_ways() -> None:
    sent = bytes(range(256)) * 2000
    with pty_line() as line:
        one = serial.Serial(line.emulator_path, timeout=TIME_LIMIT, write_timeout=0)
        with one, serial.Serial(line.host_path, timeout=TIME_LIMIT) as other:
            came, left = b"", sent
            while len(came) < len(sent):
                left = left[one.write(left[:1000]) or 0 :]
                came += other.read(max(1, other.in_waiting))
            assert came == sent
            other.write(b"back")
            assert one.read(4) == b"back"


def test_two_dosboxes_side_by_side_keep_their_lines_apart(tmp_path: Path) -> None:
    connections: list[socket.socket] = []
    folders = [tmp_path / "one", tmp_path / "two"]
    for folder in folders:
        folder.mkdir()
        put_programs(folder, "LINEECHO.COM")
    with (
        listening_line() as line1,
        listening_line() as line2,
        dosbox(folders[0], PROGRAM, serial1=line1.serial1) as running1,
        dosbox(folders[1], PROGRAM, serial1=line2.serial1) as running2,
    ):
        connections = [line1.accept(), line2.accept()]
        for connection, text in zip(connections, (b"1q", b"234q"), strict=True):
            connection.settimeout(TIME_LIMIT)
            assert talk(connection.recv, connection.sendall, text) == ALPHABET + text
        counts = [running.wait()["L.TXT"] for running in (running1, running2)]
        for connection in connections:
            connection.close()
    assert counts == [b"Line: 2 octets sent back\r\n", b"Line: 4 octets sent back\r\n"]


def test_without_dosbox_the_harness_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(DosBoxError, match=r"dosbox is not installed.*apt-get install dosbox"):
        run_dosbox(tmp_path, ["ver"])


def test_commands_that_dosbox_would_cut_are_refused(tmp_path: Path) -> None:
    with pytest.raises(DosBoxError, match="3501 octets of commands"):
        run_dosbox(tmp_path, ["x" * 3501])
