"""readoff agent --line: the text first, then whatever blocks are asked for; every other way to say it wrongly."""

from __future__ import annotations

import socket
import threading
import zlib

import pytest
from click.testing import CliRunner

from readoff import resources
from readoff.cli import main


def far_end(listener: socket.socket, got: dict[str, bytes]) -> None:
    """An old machine: takes the text up to its Ctrl-Z, then asks for every block, the third one twice."""
    connection, _ = listener.accept()
    with connection:
        reader = connection.makefile("rb")
        text = b""
        while not text.endswith(b"\x1a"):
            text += reader.read(1)
        got["text"], got["file"] = text, b""
        number, repeated = 0, False
        while True:
            connection.sendall(b"noise RO" + b"RO" + bytes([number, 0, number ^ 0xFF, 0xFF]))
            head = reader.read(4)
            octets = reader.read(int.from_bytes(head[2:], "little"))
            assert reader.read(4) == zlib.crc32(head + octets).to_bytes(4, "little")
            if number == 2 and not repeated:
                repeated = True
                continue
            if not octets:
                return
            got["file"] += octets
            number += 1


def test_the_whole_agent_goes_over() -> None:
    got: dict[str, bytes] = {}
    with socket.create_server(("127.0.0.1", 0)) as listener:
        far = threading.Thread(target=far_end, args=(listener, got), daemon=True)
        far.start()
        ran = CliRunner().invoke(main, ["agent", "--line", f"socket://127.0.0.1:{listener.getsockname()[1]}"])
        far.join(20)
    assert ran.exit_code == 0, ran.output
    assert got["text"] == resources.loader().read_bytes() + b"\x1a"
    assert got["file"] == resources.agent().read_bytes()
    assert "COPY COM1: GO.COM" in ran.output and "MODE COM1:" in ran.output
    assert ", 1 of them again" in ran.output


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        ([], 2, "either a folder or --line"),
        (["/", "--line", "COM3"], 2, "either a folder or --line"),
        (["--line", "listen:127.0.0.1:1"], 2, "connected to"),
        (["--line", "COM3,fast"], 4, "'fast' is no rate"),
        (["--line", "/dev/there-is-no-such-port"], 4, "cannot be used"),
    ],
)
def test_what_cannot_be_done_is_said(arguments: list[str], status: int, said: str) -> None:
    ran = CliRunner().invoke(main, ["agent", *arguments])
    assert (ran.exit_code, said in ran.output) == (status, True), ran.output
