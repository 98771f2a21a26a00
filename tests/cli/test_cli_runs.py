"""readoff runs, show and held."""

import os
import subprocess
import sys
from pathlib import Path

from click.testing import CliRunner

import readoff
from readoff.cli import main
from support import store_samples as samples
from support.commands import answer, run

HOST = Path(readoff.__file__).resolve().parents[1]


def test_runs_and_its_filters(taken):
    got = answer("runs")
    assert len(got["runs"]) == 12
    assert got["snapshots"] == []
    assert len(answer("runs", "--snapshots")["snapshots"]) == 6
    assert {each["label"] for each in answer("runs", "--label", "zero-ws")["runs"]} == {"zero-ws"}
    assert len(answer("runs", "--program", "REPLAY", "--state", "complete")["runs"]) == 12
    assert answer("runs", "--state", "cut short")["runs"] == []
    text = run("runs").output
    assert max(map(len, text.splitlines())) <= 100
    assert text.count("zero-ws") == 6


def test_where_no_run_is_it_is_said_what_is_there_instead(bench):
    (bench / "S.RDO").write_bytes(samples.snapshot_record(1, 1, label="as-found"))
    run("take", "S.RDO")
    text = run("runs").output
    assert text.startswith("No run has come yet, but 1 snapshot:\n")
    assert "as-found" in text and "fits" not in text
    assert run("runs", "--label", "as-found").output.startswith(
        "No run has come yet, but 1 snapshot of as-found:"
    )
    told = run("runs", "--state", "complete").output
    assert told == "No run has come yet, but 1 snapshot: readoff runs --snapshots\n"
    (bench / "R.RDO").write_bytes(samples.run_record(2, 2, start={"label": "zero-ws"}))
    run("take", "R.RDO")
    assert run("runs", "--label", "as-found").output.startswith(
        "None of the 1 run fits, but 1 snapshot does:\n"
    )
    assert run("runs", "--program", "nothing").output.startswith("None of the 1 run fits.\n")


def test_show_a_run(taken):
    number = answer("runs", "--label", "as-found")["runs"][0]["number"]
    text = run("show", number).output
    assert "Rate: »72.9« frames/s" in text
    assert "│ Replay: 2134 frames in 1024 ticks (35 ticks/s)" in text
    assert "memory.conventional_kb: 640 KB" in text
    assert "COMMAND 216" in text
    got = answer("show", number)
    assert bytes.fromhex(got["captures"][0]["octets"]) == samples.printed()
    assert got["snapshot"]["label"] == "as-found"
    assert "startup.AUTOEXEC.BAT" in run("show", number, "--facts").output


def test_show_by_record_id(taken):
    ident = answer("runs")["runs"][0]["id"]
    assert f"record {ident}" in run("show", ident.lower()).output
    assert "Snapshot" in run("show", ident[:-4] + "0001").output
    assert "more than one run" in run("show", ident[:-1], status=2).stderr
    assert "there is no run '99'" in run("show", "99", status=2).stderr


def test_held(taken):
    assert run("held").output == "Nothing is held.\n"
    (taken / "NOISE.BIN").write_bytes(b"modem words")
    run("take", "NOISE.BIN", status=1)
    text = run("held", status=1).output
    assert "11 octets that are no record" in text
    assert "from NOISE.BIN" in text
    assert answer("held", status=1)["held"][0]["length"] == 11


def test_a_capture_cannot_reach_the_terminal(bench):
    octets = samples.run_record(console=b"\x1b[2J\x1b]0;mine\x07\r\n" + samples.printed())
    (bench / "R.RDO").write_bytes(octets)
    run("take", "R.RDO")
    for command in (("show", "1"), ("runs",), ("held",)):
        result = CliRunner().invoke(main, list(command))
        assert "\x1b" not in result.output
        assert "\x07" not in result.output


def test_a_terminal_without_our_letters_is_no_obstacle(taken):
    environment = {**os.environ, "PYTHONPATH": str(HOST), "PYTHONIOENCODING": "iso8859-1"}  # has », lacks │
    code = "from readoff.cli import main; main(['show', '1'])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, env=environment, check=True, timeout=60
    )
    assert "? Rate: 72.9 frames/s" in done.stdout.decode("iso8859-1")
    assert "Rate: »72.9« frames/s" in done.stdout.decode("iso8859-1")
