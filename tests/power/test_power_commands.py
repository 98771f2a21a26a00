"""Commands are really started: their end, their time, what they print; a cycle of them, stopped at a fault."""

import os
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from readoff.power import Bench, cycle, run_command
from readoff.power.cycle import dry

PYTHON = sys.executable


def python(text, *arguments):
    return (PYTHON, "-c", text, *arguments)


def test_success_is_status_0():
    ended = run_command(python("print('outlet 3 is', 'off')"), 20)
    assert (ended.why_not, ended.printed) == ("", "outlet 3 is off")
    ended = run_command(python("import sys; print('no such outlet'); sys.exit(3)"), 20)
    assert ended.why_not == "it ended with status 3" and "no such outlet" in ended.sentence
    ended = run_command(("/no/such/program",), 20)
    assert ended.why_not.startswith("it cannot be started (")


def test_words_reach_the_command_as_they_are(tmp_path):
    """No shell: nothing in them is taken for one."""
    hostile = "; touch " + str(tmp_path / "made") + " $(touch x) `touch y` %PATH% * \n"
    ended = run_command(python("import sys; print(ascii(sys.argv[1]))", hostile), 20)
    assert ascii(hostile)[-20:] in ended.printed
    assert list(tmp_path.iterdir()) == []


def gone(process):
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] == "Z"


@pytest.mark.skipif(os.name != "posix", reason="sessions are POSIX")
def test_a_command_that_does_not_end_is_killed_with_what_it_started(tmp_path):
    number = tmp_path / "number"
    child = f"import os, time; open({str(number)!r}, 'w').write(str(os.getpid())); time.sleep(100)"
    parent = f"import subprocess, sys; subprocess.Popen([sys.executable, '-c', {child!r}]).wait()"
    ended = run_command(python(parent), 1.5)
    assert "had not ended after 1.5 s, and was killed" in ended.why_not and ended.seconds < 20
    process, until = int(number.read_text()), time.monotonic() + 10
    while not gone(process):
        assert time.monotonic() < until


def test_only_the_end_of_endless_output_is_told():
    ended = run_command(python("print('x' * 1000000); print('\\x1b[31mlast line')"), 20)
    assert (
        len(ended.printed) <= 200 and ended.printed.endswith("[31mlast line") and "\x1b" not in ended.printed
    )


# -- a cycle ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def bench(tmp_path):
    """Two outlets that write what they were told into a file."""
    note = "import sys; open(sys.argv[1], 'a').write(sys.argv[2] + '\\n')"
    done = str(tmp_path / "done")
    off = tuple(python(note, done, f"{name} off") for name in ("screen", "machine"))
    on = (python(note, done, "machine on"),)
    return Bench("desk", ("11223344",), off, on, off_seconds=0.2)


def lines(tmp_path):
    return (tmp_path / "done").read_text().splitlines()


def test_off_a_time_without_power_and_on(bench, tmp_path):
    told, paused = [], []

    def pause(seconds):
        assert lines(tmp_path) == ["screen off", "machine off"]
        paused.append(seconds)

    assert cycle(bench, told.append, pause=pause).why_not == ""
    assert lines(tmp_path) == ["screen off", "machine off", "machine on"]
    assert paused == [0.2]
    assert told[0] == "switching the power off" and told[-1] == "on"
    assert sum(", after " in line for line in told) == 3  # each command with its time


def test_a_command_that_fails_ends_it_where_it_is(bench, tmp_path):
    fails = python("raise SystemExit(1)")
    cycled = cycle(replace(bench, off=(bench.off[0], fails, bench.off[1])), lambda line: None)
    assert not cycled.off and "ended with status 1" in cycled.why_not
    assert lines(tmp_path) == ["screen off"]  # and nothing was switched on
    cycled = cycle(replace(bench, on=(fails,)), lambda line: None)
    assert cycled.off and cycled.why_not.startswith("switching on: ")


def test_a_hand_in_the_machine_keeps_the_power_off(bench, tmp_path):
    hold = tmp_path / "HANDS-OFF"
    cycled = cycle(replace(bench, hold=str(hold)), lambda line: None, pause=lambda seconds: hold.touch())
    assert cycled.off and "the power stays off" in cycled.why_not
    assert "machine on" not in lines(tmp_path)


def test_a_dry_run_tells_every_word_and_starts_nothing(bench, tmp_path):
    told = list(dry(bench))
    assert len(told) == 4 and "0.2 s without power" in told[2]
    assert not (tmp_path / "done").exists()
