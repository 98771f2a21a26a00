"""The main job under DOSBox: READOFF.COM runs programs, the host takes the records by file and by line, and compares.

Every way of printing becomes the same reading, digit for digit; a record that comes by both ways is one run.
"""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pytest

from readoff import resources
from readoff.arrivals.lines import ListeningLine
from readoff.arrivals.watch import Watch
from readoff.cli.common import load_all_schemas
from readoff.reports import compare_labels
from readoff.store import Store, find, open_store
from support.dosbox import put_programs, run_dosbox
from support.serial_lines import pty_line

NUMBER = "1234.50"
PRINTED_WAYS = ("02", "06", "09", "40", "29", "10")
WAYS = (*PRINTED_WAYS, "V")
SPOOL = r"/D:C:\SPOOL"


@pytest.fixture
def disk(tmp_path: Path) -> Path:
    folder = tmp_path / "c"
    (folder / "SPOOL").mkdir(parents=True)
    put_programs(folder)
    shutil.copyfile(resources.agent(), folder / "READOFF.COM")
    return folder


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "readoff.db", load_all_schemas(None)) as opened:
        yield opened


def ways_commands(line: str = "") -> list[str]:
    runs = [f"READOFF RUN /L:ways /P:ways {SPOOL} {line} C:\\WAYS.COM {way} {NUMBER}" for way in WAYS]
    return [
        *(part for run in runs for part in ("CLS", run)),
        f"WAYS F {NUMBER}",
        f"READOFF SEND {SPOOL} {line} C:\\WAYS.OUT",
    ]


def take_spool(store: Store, disk: Path) -> list[tuple[int, int]]:
    """(new, known) of each spool file."""
    files = [path for path in sorted((disk / "SPOOL").iterdir()) if path.name != "SERIAL.RDO"]
    results = [store.take(path.read_bytes(), str(path)) for path in files]
    return [(len(result.new), len(result.known)) for result in results]


def check_ways(store: Store) -> None:
    runs = {run.arguments.split()[0]: run for run in find.runs(store, label="ways")}
    assert sorted(runs) == sorted(WAYS)
    scores = [reading for reading in find.readings(store) if reading.metric == "score"]
    by_run = {reading.run: reading for reading in scores}
    files = [run for run in find.runs(store) if run.kind == "file"]
    assert [run.path.upper() for run in files] == [r"C:\WAYS.OUT"]
    assert sorted(by_run) == sorted([*(run.number for run in runs.values()), files[0].number])
    for reading in scores:
        assert (reading.value, reading.unit, reading.decimals) == (NUMBER, "points", 2)
        assert reading.line.strip() == f"Ways: score {NUMBER} points"
    assert [row.reason for row in find.held(store) if row.run in by_run] == []


def test_every_way_of_printing_by_file(disk: Path, store: Store) -> None:
    run_dosbox(disk, ways_commands())
    taken = take_spool(store, disk)
    assert taken == [(1, 0)] * (2 * len(WAYS) + 1)  # a snapshot and a run for each, and one file
    check_ways(store)
    assert take_spool(store, disk) == [(0, 1)] * len(taken)
    check_ways(store)


def test_every_way_of_printing_by_line_and_then_by_file_is_one_run_each(disk: Path, tmp_path: Path) -> None:
    run_with_host(disk, tmp_path / "line.db", ways_commands("/S:COM1,115200 /KEEP"))
    with open_store(tmp_path / "line.db", load_all_schemas(None)) as store:
        check_ways(store)
        count = 2 * len(WAYS) + 1
        assert take_spool(store, disk) == [(0, 1)] * count
        check_ways(store)


@contextmanager
def host_at_work(database: Path, address: str) -> Iterator[Watch]:
    """A host that watches a line; its store is opened, used and closed by the thread that works it."""
    watches: list[Watch] = []
    ready = threading.Event()

    def host() -> None:
        with open_store(database, load_all_schemas(None)) as store:
            watches.append(Watch(store, lines=[address]))
            ready.set()
            watches[0].run()

    thread = threading.Thread(target=host, daemon=True)
    thread.start()
    assert ready.wait(10)
    try:
        yield watches[0]
    finally:
        watches[0].stop()
        thread.join(30)
    assert not thread.is_alive()


def run_with_host(disk: Path, database: Path, commands: Sequence[str]) -> None:
    """DOSBox connects out, by its null modem over TCP, to a host that watches."""
    with host_at_work(database, "listen:127.0.0.1:0") as watch:
        (line,) = watch.lines
        assert isinstance(line, ListeningLine)
        assert line.opened.wait(10)
        serial1 = f"nullmodem server:127.0.0.1 port:{line.tcp_port} transparent:1 txdelay:0"
        run_dosbox(disk, commands, serial1=serial1)


def test_a_spool_file_goes_only_when_the_host_has_kept_the_record(disk: Path, tmp_path: Path) -> None:
    run = f"READOFF RUN /L:a /P:ways {SPOOL} /S:COM1,115200 C:\\WAYS.COM 09 7.25"
    run_with_host(disk, tmp_path / "line.db", ["CLS", run])
    assert [path.name for path in (disk / "SPOOL").iterdir()] == ["SERIAL.RDO"]
    with open_store(tmp_path / "line.db", load_all_schemas(None)) as store:
        assert [reading.value for reading in find.readings(store) if reading.metric == "score"] == ["7.25"]


def test_without_a_host_everything_stays_in_the_spool(disk: Path, store: Store) -> None:
    run = f"READOFF RUN /L:a /P:ways {SPOOL} /S:COM1 C:\\WAYS.COM 09 7.25"
    told = ["IF ERRORLEVEL 1 MD C:\\NOTALL", "IF ERRORLEVEL 2 MD C:\\WORSE"]
    run_dosbox(disk, ["CLS", run, *told], serial1="dummy")
    assert (disk / "NOTALL").exists()
    assert not (disk / "WORSE").exists()
    assert take_spool(store, disk) == [(1, 0), (1, 0)]


def test_through_a_pty(disk: Path, tmp_path: Path) -> None:
    run = f"READOFF RUN /L:a /P:ways {SPOOL} /S:COM1,115200 C:\\WAYS.COM 40 7.25"
    with pty_line() as line, host_at_work(tmp_path / "line.db", f"{line.host_path},115200"):
        run_dosbox(disk, ["CLS", run], serial1=line.serial1)
    with open_store(tmp_path / "line.db", load_all_schemas(None)) as store:
        assert [reading.value for reading in find.readings(store) if reading.metric == "score"] == ["7.25"]


def test_one_boot_a_side_is_refused_and_three_are_not(disk: Path, store: Store) -> None:
    """Each start of DOSBox is a boot; two configurations differ in the cycles that it gives a millisecond."""
    for cycles, label in ((3000, "slow"), (4000, "fast")):
        one_boot(disk, label, cycles)
    take_spool(store, disk)
    refused = compare_labels(store, "slow", "fast", metric="passes_per_second")
    assert refused.findings == ()
    assert "one boot" in refused.compared[0].refusal
    for _ in range(2):
        for cycles, label in ((3000, "slow"), (4000, "fast")):
            one_boot(disk, label, cycles)
    take_spool(store, disk)
    judged = compare_labels(store, "slow", "fast", metric="passes_per_second")
    (finding,) = judged.findings
    assert (finding.base_boots, finding.other_boots) == (3, 3)
    assert len(finding.base_runs) == len(finding.other_runs) == 6
    # DOSBox gives 3,000 against 4,000 instructions a millisecond: the true ratio is 4/3.
    assert (
        finding.interval95.low <= 4 / 3 <= finding.interval95.high or abs(finding.ratio / (4 / 3) - 1) < 0.02
    )
    assert "fast is faster than slow" in finding.sentence


def one_boot(disk: Path, label: str, cycles: int) -> None:
    run = f"READOFF RUN /L:{label} /P:intloop /N:2 {SPOOL} C:\\INTLOOP.COM 60000"
    run_dosbox(disk, ["CLS", run], cycles=f"fixed {cycles}")
