"""``readoff watch --study FILE --power FILE`` with real commands, and the command ``readoff power``. All invented."""

import os
import re
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from threading import Event

import pytest
from click.testing import CliRunner

import readoff
from readoff.cli import main
from readoff.cli.common import load_all_schemas
from readoff.reports.study import read_study
from readoff.store import open_store
from readoff.studies import load_study
from support import study_records as records
from support.agent_twin import over_socket
from support.relay import relay_box, relay_command
from support.twin import Twin

TEXT = records.STUDY.replace("repeats = 2", "repeats = 1")
NOTE = "import sys; open(sys.argv[1], 'a').write(sys.argv[2])"


def a_bench(folder, more="", *, off=None, on=None):
    """A bench file; unless commands are given, its outlet is a file that is written into."""
    outlet = folder / "outlet"
    command = [sys.executable, "-c", NOTE, str(outlet)]
    file = folder / "desk.toml"
    file.write_text(
        f'bench = "desk"\nagents = ["{records.SERIAL:08X}"]\noff_seconds = 10\nrest_seconds = 10\n'
        f"off = {off or [*command, 'off']!r}\non = {on or [*command, 'on']!r}\nlog = '{folder / 'power.log'}'\n{more}"
    )
    file.chmod(0o600)
    return file, outlet


@pytest.mark.skipif(os.name != "posix", reason="ptys are POSIX")
def test_cold_boots_without_a_hand(tmp_path):
    """Through a relay box on a serial line; what it does and what the machine says stand in one log, in their order."""
    (tmp_path / "s.toml").write_text(TEXT)
    with relay_box() as relay:
        off, on = (list(relay_command(tmp_path, relay, word, 3)) for word in ("OFF", "ON"))
        bench, _ = a_bench(tmp_path, off=off, on=on)
        process, port = watching(tmp_path, bench)
        try:
            with closing(over_socket(port)) as connection:
                step = until_switched_on(Twin(), connection, relay)
        finally:
            process.terminate()
            printed = process.communicate()[0]
        assert relay.log == ["asked to get ready", "says that it is ready", "OFF 3", "ON 3", "another boot"]
    assert (step["what"], step["label"]) == ("snapshot", "as-found")
    assert "desk: switching the power off" in printed and "desk: on" in printed
    log = (tmp_path / "power.log").read_text().splitlines()
    assert re.match(r"\d{4}-\d\d-\d\dT[\d:.]+\+00:00 desk: switching the power off", log[0])
    assert log[-1].endswith("desk: on") and any("[relay: OK 3 OFF]" in line for line in log)
    with open_store(tmp_path / "s.db", load_all_schemas(None)) as store:
        seen = read_study(store, load_study("s.toml", TEXT))
    assert [each.warm for each in seen.done.boots] == [True] and seen.notices == ()


def watching(folder, bench):
    """``readoff watch`` with a study and a bench in a process of its own, and the port that it listens on."""
    command = [sys.executable, "-uc", "from readoff.cli import main; main()", "watch"]
    command += ["--port", "listen:127.0.0.1:0", "--study", "s.toml", "--store", "s.db", "--power", str(bench)]
    host = Path(readoff.__file__).resolve().parents[1]
    process = subprocess.Popen(
        command, cwd=folder, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(host)}
    )
    told = (re.search(r"listening on TCP port (\d+)", line) for line in process.stdout)
    return process, next(int(found[1]) for found in told if found)


def until_switched_on(twin, connection, relay):
    """Plays a machine that a person has reset, where cold boots are asked for; gives the step of its next boot."""
    has_power = Event()
    relay.on_switched = lambda what: has_power.set() if what == "ON 3" else None
    twin.boots(warm=True)
    for _ in range(100):
        if has_power.is_set():
            break
        twin.offer(connection)
        step = twin.asks(connection)
        if step["what"] == "person":
            step = twin.asks(connection, told=True)
        if step["what"] == "snapshot":
            twin.does(step)
        elif step["what"] == "power":
            relay.log += ["asked to get ready", "says that it is ready"]
            assert twin.asks(connection, told=True)["what"] == "wait"
        elif step["what"] == "wait":
            has_power.wait(60)  # without power it asks nothing
    relay.log.append("another boot")
    twin.boots(warm=False)
    twin.offer(connection)
    return twin.asks(connection)


# -- the command -----------------------------------------------------------------------------------------------------


def command(*arguments, status=0, stdin=None):
    result = CliRunner().invoke(main, [str(each) for each in arguments], input=stdin)
    assert result.exit_code == status, result.output
    return " ".join(result.output.split())


def test_without_switch_nothing_is_started(tmp_path):
    bench, outlet = a_bench(tmp_path)
    said = command("power", bench)
    assert " off, 20 s at most" in said and "then 10 s without power" in said
    assert said.endswith("--switch does it once.")
    assert not outlet.exists()


def test_switch_asks_first(tmp_path):
    bench, outlet = a_bench(tmp_path)
    assert "Nothing was started." in command("power", bench, "--switch", stdin="n\n", status=1)
    hold = tmp_path / "hold"
    hold.touch()
    bench, _ = a_bench(tmp_path, f"hold = '{hold}'\n")
    assert "somebody holds the power" in command("power", bench, "--switch", "--yes", status=2)
    assert not outlet.exists()


def test_switch_tells_what_failed(tmp_path):
    bench, outlet = a_bench(tmp_path)
    false = [sys.executable, "-c", "raise SystemExit(4)"]
    bench.write_text(re.sub("(?m)^off = .*", lambda _: f"off = {false!r}", bench.read_text()))
    assert "it ended with status 4" in command("power", bench, "--switch", "--yes", status=5)
    assert not outlet.exists()


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX")
def test_a_bench_file_that_everybody_may_write_is_refused(tmp_path):
    bench, _ = a_bench(tmp_path)
    bench.chmod(0o646)
    assert "everybody on this computer may write the bench file" in command("power", bench, status=5)


def test_refused_before_anything_is_watched(tmp_path):
    bench, _ = a_bench(tmp_path)
    (tmp_path / "s.toml").write_text(TEXT)
    watch = ["watch", "--folder", tmp_path, "--store", tmp_path / "s.db"]
    assert "--power goes with a study" in command(*watch, "--power", bench, status=2)
    bench.write_text(bench.read_text().replace(sys.executable, "/no/such/program"))
    assert "no program that can be started" in command("power", bench, status=5)
    watch += ["--study", tmp_path / "s.toml"]
    assert "no program that can be started" in command(*watch, "--power", bench, status=5)
    assert "cannot be read" in command("power", tmp_path / "none.toml", status=2)
