"""Folders and lines at once, into a real store; ending by idleness, by Ctrl-C and by SIGTERM."""

import os
import signal
import subprocess
import sys
import textwrap
from contextlib import closing
from pathlib import Path

import pytest

from readoff.arrivals.watch import Watch
from readoff.contract.record import parse_record
from readoff.errors import LineError
from readoff.link import Sender, Spooled, Verdict
from support.agent_twin import a_pty, play
from support.memory_intake import MemoryIntake
from support.records import a_record
from support.watching import wait_until, watching


def spool_of(*records):
    return [Spooled(parse_record(octets).id, octets) for octets in records]


def test_a_record_by_folder_and_by_line_is_one(tmp_path):
    """By file first: the line is told "kept" without sending it; the other one comes by the line."""
    first, second = a_record(1), a_record(2)
    pty = a_pty()
    intake = MemoryIntake()
    with watching(intake, [tmp_path], [pty.path]) as running, closing(pty.port):
        (tmp_path / "A.RDO").write_bytes(first)
        wait_until(lambda: len(intake.arrivals) == 1)
        sender = Sender(0x11223344, 0xA1B2C3D4, spool_of(first, second))
        play(sender, pty.port)
        (tmp_path / "B.RDO").write_bytes(second)
        wait_until(lambda: len(running.took) == 3)
    assert set(sender.verdicts.values()) == {Verdict.KEPT}
    assert intake.octets == [first, second]
    assert running.took[2].result.again


def test_into_a_real_store(tmp_path):
    from readoff.store import open_store

    inbox = tmp_path / "inbox"
    inbox.mkdir()
    whole = a_record(1)
    (inbox / "CUT.RDO").write_bytes(whole[:-20])
    (inbox / "NONE.RDO").write_bytes(b"ROf\x1a and then nothing that fits")
    told = []
    with open_store(tmp_path / "readoff.db") as store:
        Watch(store, [inbox], told=told.append, every=0.1, settle=0.2).run(until_idle=0.3)
        id = parse_record(whole).id
        check = int.from_bytes(whole[-4:], "little")
        assert not store.known(id, len(whole), check)
        (inbox / "WHOLE.RDO").write_bytes(whole)
        Watch(store, [inbox], told=told.append, every=0.1, settle=0.2).run(until_idle=0.3)
        assert store.known(id, len(whole), check)
    results = {Path(took.came_from).name: took.result for took in told}
    assert results["WHOLE.RDO"].replaced == (id,)
    assert results["NONE.RDO"].held != ()


def test_it_ends_when_nothing_has_come_for_a_while_but_not_before_a_file_has_settled(tmp_path):
    octets = a_record(1)[:-1]
    (tmp_path / "CUT.RDO").write_bytes(octets)
    intake = MemoryIntake()
    with watching(intake, [tmp_path], until_idle=0.2, settle=1.0):
        pass
    assert intake.octets == [octets]


def test_without_any_source_alive_it_ends_too(tmp_path):
    with watching(
        MemoryIntake(), [tmp_path / "none"], [str(tmp_path / "ttyNone")], until_idle=0.2
    ) as running:
        pass
    assert [status.alive for status in running.watch.statuses()] == [False, False]
    assert all(status.problem for status in running.watch.statuses())


def test_a_hint_of_the_system_is_faster_than_the_looks(tmp_path):
    intake = MemoryIntake()
    with watching(intake, [tmp_path], every=1000.0) as running:
        wait_until(lambda: running.watch.statuses()[0].alive)
        (tmp_path / "A.RDO").write_bytes(a_record(1))
        wait_until(lambda: intake.arrivals)


def test_where_the_system_gives_no_hints_the_looks_find_it(tmp_path, monkeypatch):
    def none_left(*args, **options):
        raise OSError(28, "no inotify watches left")

    monkeypatch.setattr("readoff.arrivals.watched_folder.Observer.schedule", none_left)
    intake = MemoryIntake()
    with watching(intake, [tmp_path]) as running:
        wait_until(lambda: running.watch.statuses()[0].alive)
        (tmp_path / "A.RDO").write_bytes(a_record(1))
        wait_until(lambda: intake.arrivals)


def test_a_line_that_is_written_wrong_stops_it_before_it_starts(tmp_path):
    with pytest.raises(LineError):
        Watch(MemoryIntake(), [tmp_path], ["COM1,fast"])


def test_an_error_of_the_one_who_is_told_ends_it_in_order(tmp_path):
    (tmp_path / "A.RDO").write_bytes(a_record(1))
    intake = MemoryIntake()

    def broken(what):
        raise BrokenPipeError("nobody reads the output any more")

    watch = Watch(intake, [tmp_path], told=broken, every=0.1, settle=0.1)
    with pytest.raises(BrokenPipeError):
        watch.run()
    assert intake.octets == [a_record(1)]
    assert not any(folder.is_alive() for folder in watch.folders)


_PROGRAM = """
    import sys
    from readoff.arrivals.watch import Watch
    from readoff.store import open_store
    store = open_store(sys.argv[1])
    Watch(store, [sys.argv[2]], ["listen:127.0.0.1:0"], told=lambda what: print(what, flush=True), every=0.1).run()
    store.close()
    print("ended in order", flush=True)
"""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_in_order(tmp_path, number):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    command = [sys.executable, "-c", textwrap.dedent(_PROGRAM), str(tmp_path / "readoff.db"), str(inbox)]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as program:
        assert "listening on TCP port" in program.stdout.readline()
        (inbox / "A.RDO").write_bytes(a_record(1))
        assert "Took(" in program.stdout.readline()
        program.send_signal(number)
        output, _ = program.communicate(timeout=20)
    assert program.returncode == 0
    assert output.endswith("ended in order\n")
