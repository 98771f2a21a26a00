"""SNAP and SEND over the test machine's serial line: each kind of port, faults, hosts that go, cut power."""

from __future__ import annotations

from dataclasses import replace

import pytest

from readoff.box import AT, LATE, XT, Box, MachineSpec
from readoff.box.line import double, drop, flip
from readoff.contract.record import Completeness, parse_record
from readoff.link.events import Bye
from support.agent_box import EXIT_ALL, EXIT_MISSING, agent_box, readoff, record_names
from support.box_host import BoxHost


def with_files(spec: MachineSpec, octets: int = 4000) -> Box:
    box = agent_box(spec)
    box.drive("C").write("CONFIG.SYS", b"REM 7E 7D \x7e\x7d\x11\x13\r\n" * (octets // 22))
    return box


@pytest.mark.parametrize(
    ("spec", "rate"),
    [
        (XT, 9600),
        (AT, 38400),
        (LATE, 115200),
        (replace(LATE, uart="8250"), 115200),
        (replace(AT, uart_paced=False), 9600),
    ],
)
def test_snapshot_over_the_line(spec: MachineSpec, rate: int) -> None:
    box, host = with_files(spec), BoxHost()
    box.line(1).attach(host, every=20)
    ran = readoff(box, f"SNAP /L:base /S:COM1,{rate} /KEEP")
    assert ran.exit.code == EXIT_ALL, ran.said
    ((name, record),) = ran.records.items()
    assert host.store == {record.id: box.drive("C").read(name)}
    box.command("ECHO a moment later")
    assert host.events[-1] == Bye(0)
    assert "kept by the host; the file stays" in ran.said


def test_both_ways_give_the_same_octets_and_kept_files_go() -> None:
    box, host = with_files(AT), BoxHost()
    assert readoff(box, "SNAP /L:a").exit.code == EXIT_ALL
    assert readoff(box, "SNAP /L:b").exit.code == EXIT_ALL
    by_file = {name: box.drive("C").read(name) for name in record_names(box)}
    box.line(1).attach(host)
    assert readoff(box, "SEND /S:COM1,38400").exit.code == EXIT_ALL
    assert sorted(host.store.values()) == sorted(by_file.values())
    assert record_names(box) == []


def test_no_host_leaves_the_record_and_says_so() -> None:
    box = with_files(AT, 200)
    ran = readoff(box, "SNAP /L:base /S:COM1,9600")
    assert ran.exit.code == EXIT_MISSING
    assert "no host answers" in ran.said
    (record,) = ran.records.values()
    assert record.completeness is Completeness.WHOLE


@pytest.mark.parametrize(
    "fault", [flip(600), flip(1500, 0x40), drop(700, 30), double(900), drop(60, 1), flip(2, 0x80)]
)
@pytest.mark.parametrize("uart", ["8250", "16550a"])
def test_one_fault_costs_nothing_but_time(fault: object, uart: str) -> None:
    box, host = with_files(replace(AT, uart=uart)), BoxHost()  # type: ignore[arg-type]
    line = box.line(1)
    line.fault_to_host = fault  # type: ignore[assignment]
    line.attach(host)
    ran = readoff(box, "SNAP /L:base /S:COM1,38400 /KEEP")
    assert ran.exit.code == EXIT_ALL, ran.said
    ((name, record),) = ran.records.items()
    assert host.store == {record.id: box.drive("C").read(name)}


@pytest.mark.parametrize("dies_after", [10, 60, 2000])
def test_host_that_goes_and_comes_back(dies_after: int) -> None:
    box, host = with_files(AT), BoxHost(dies_after=dies_after)
    box.line(1).attach(host)
    ran = readoff(box, "SNAP /L:base /S:COM1,38400")
    assert ran.exit.code == EXIT_MISSING
    (name,) = record_names(box)
    octets = box.drive("C").read(name)
    host.dies_after = None
    ran = readoff(box, "SEND /S:COM1,38400")
    assert ran.exit.code == EXIT_ALL
    assert list(host.store.values()) == [octets]
    assert record_names(box) == []


def test_port_is_left_as_it_was() -> None:
    box, host = with_files(LATE, 200), BoxHost()
    line = box.line(1)
    line.attach(host)
    found = (line.uart.divisor, line.uart.ier, line.uart.lcr, line.uart.mcr, line.uart.fifo)
    assert readoff(box, "SNAP /S:COM1,115200").exit.code == EXIT_ALL
    assert (line.uart.divisor, line.uart.ier, line.uart.lcr, line.uart.mcr, line.uart.fifo) == found


def test_escape_ends_the_sending() -> None:
    box, host = with_files(AT, 16000), BoxHost()
    box.line(1).attach(host)
    box.type_at(6.0, "\x1b")
    ran = readoff(box, "SNAP /L:base /S:COM1,9600")
    assert ran.exit.code == EXIT_MISSING
    assert "stopped" in ran.said
    assert len(record_names(box)) == 1
    assert host.events[-1] == Bye(1)


@pytest.mark.parametrize("seed", range(6))
def test_power_cut_at_any_moment_loses_nothing_that_was_kept(seed: int) -> None:
    """The invariant: kept means in the host's store, whole; what is not there is still in the spool."""
    box, host = with_files(AT), BoxHost()
    box.line(1).attach(host)
    assert readoff(box, "SNAP /L:base").exit.code == EXIT_ALL
    (name,) = record_names(box)
    octets = box.drive("C").read(name)
    box.cut_power_at(0.25 * (seed + 1))
    assert box.run("C:\\READOFF.COM", "SEND /S:COM1,38400").kind in ("power cut", "ended")
    if record_names(box):
        assert box.drive("C").read(name) == octets
        box.boot(2)
        box.line(1).attach(host)
        assert readoff(box, "SEND /S:COM1,38400").exit.code == EXIT_ALL
    assert list(host.store.values()) == [octets]
    assert parse_record(octets).completeness is Completeness.WHOLE
