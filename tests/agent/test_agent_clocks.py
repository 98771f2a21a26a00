"""The real-time clock's edges around a run in the test machine: undisturbed programs, a timer at 1,000 Hz, midnight,
machines without a clock, clocks that stand, low batteries, the century.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from pathlib import Path

import pytest

from readoff.box import AT, LATE, XT, MachineSpec
from readoff.contract.record import Record, parse_record
from readoff.store.clocks import Clocks, century_told, clocks_of, moment
from support.agent_box import AGENT, agent_box, captured_all, console, readoff
from support.dosbox import put_programs, run_dosbox

FAST = b"Fast timer: 2000 ticks in 2.00 seconds\r\n"


def run(
    spec: MachineSpec, tail: str, *, at: datetime | None = None, registers: dict[int, int] | None = None
) -> Record:
    box = agent_box(spec, "FASTTICK.COM", "INTLOOP.COM", "WAYS.COM", "EXITCODE.COM")
    if at is not None:
        box.boot(at=at)
    if registers and box.on.rtc is not None:
        for index, value in registers.items():
            box.on.rtc.octets[index] = value
    ran = readoff(box, f"RUN {tail}")
    (record,) = ran.of_kind("run")
    assert not [section.problem for section in record.sections if section.problem]
    assert captured_all(record) == 1
    return record


def clocks(record: Record) -> Clocks:
    found = clocks_of(record)
    assert found is not None
    return found


@pytest.mark.parametrize("spec", [AT, LATE, replace(AT, pit_mode=2), replace(XT, rtc=True, model=0xFB)])
def test_the_clocks_agree_when_nobody_disturbs_them(spec: MachineSpec) -> None:
    """The edges are seen to 0.1 ms on an AT; an 8253 in mode 3 tells whole ticks only."""
    record = run(spec, "INTLOOP 3000")
    found = clocks(record)
    assert found.state == "agree" and found.rtc is not None and found.rtc >= 1, found.sentence
    values = record.values("run_clock")
    assert values is not None
    whole_ticks = spec.processor < AT.processor
    for name in ("start", "end"):
        assert (values[name]["within"] == 65535) if whole_ticks else (0 < values[name]["within"] < 150)
    assert values["resolution"] == (65535 if whole_ticks else 1)
    if not whole_ticks:
        assert found.timer is not None and abs(found.timer - found.rtc) < Decimal("0.0003")


@pytest.mark.parametrize("way", [1, 2, 3])
@pytest.mark.parametrize("pit_mode", [2, 3])
def test_a_timer_at_1000_hz_is_a_clock_disturbed(way: int, pit_mode: int) -> None:
    """Ways 1 and 3 make 55 times too many ticks; way 2 keeps the pace, but loses parts of a tick at each setting."""
    record = run(replace(AT, pit_mode=pit_mode), f"FASTTICK 2000 {way}")  # type: ignore[arg-type]
    found = clocks(record)
    assert console(record) == FAST
    assert found.state == "disturbed" and found.rtc in (3, 4), found.sentence
    assert found.timer is not None
    if way == 2:
        assert abs(found.timer - found.rtc) < Decimal("0.11")  # two parts of a tick of 54.9 ms at most
    else:
        assert found.timer > 100


def test_midnight_goes_by() -> None:
    """The ticks start anew, the date goes on; POST takes 12 s of the test machine's time."""
    record = run(AT, "INTLOOP 20000", at=datetime(1994, 5, 31, 23, 59, 45))
    values = record.values("run_clock")
    assert values is not None
    first, last = moment(values["start"]), moment(values["end"])
    assert first is not None and last is not None
    assert (first.day, last.day, last.month) == (31, 1, 6)
    assert clocks(record).state == "agree", clocks(record).sentence


def test_the_century_goes_by() -> None:
    record = run(AT, "INTLOOP 20000", at=datetime(1999, 12, 31, 23, 59, 45))
    values = record.values("run_clock")
    assert values is not None
    last = moment(values["end"])
    assert last is not None and last.year == 2000
    assert clocks(record).state == "agree", clocks(record).sentence
    assert century_told(values["end"]) == ""


def test_a_machine_without_a_clock_says_so_and_waits_for_nothing() -> None:
    box = agent_box(XT, "WAYS.COM")
    log: list[tuple[str, int, int]] = []
    box.on.ports.log = log
    ran = readoff(box, "RUN WAYS 02")
    (record,) = ran.of_kind("run")
    assert clocks(record).state == "unchecked"
    assert "no real-time clock" in clocks(record).sentence
    assert not [entry for entry in log if entry[1] in (0x70, 0x71)]
    assert ran.exit.seconds < 2


@pytest.mark.parametrize(
    ("registers", "state", "says"),
    [
        ({0x0B: 0x82}, "unchecked", "stood still before"),
        ({0x0A: 0x70}, "unchecked", "stood still before"),
        ({0x0D: 0x00}, "agree", "battery is low"),
    ],
)
def test_clocks_that_are_not_well(registers: dict[int, int], state: str, says: str) -> None:
    found = clocks(run(AT, "WAYS 02", registers=registers))
    assert found.state == state and says in found.sentence


def test_a_clock_that_stops_during_the_run_does_not_hold_the_agent_up_for_ever() -> None:
    box = agent_box(AT, "INTLOOP.COM")
    box.patience = 300.0  # 131,072 looks
    rtc = box.on.rtc
    assert rtc is not None

    def stop() -> None:
        rtc.time = lambda: datetime(1994, 5, 31)  # type: ignore[method-assign]
        rtc.updating = lambda: False  # type: ignore[method-assign]

    box.on.timetable.at(box.on.engine.now() + 2 * 10**12, stop)
    ran = readoff(box, "RUN INTLOOP 20000")
    (record,) = ran.of_kind("run")
    values = record.values("run_clock")
    assert values is not None and values["end"]["state"] == "stopped"
    assert (values["ticks"], values["counts"]) == (0, 0)
    assert ran.exit.seconds < 60


def test_the_edge_is_never_taken_from_an_update() -> None:
    """While the update-in-progress bit is set, the second is not read."""
    box = agent_box(AT, "WAYS.COM")
    rtc = box.on.rtc
    assert rtc is not None
    during: list[int] = []
    plain = rtc.read

    def read() -> int:
        if rtc.index < 0x0A and rtc.updating():
            during.append(rtc.index)
        return plain()

    rtc.read = read  # type: ignore[method-assign]
    readoff(box, "RUN WAYS 02")
    assert during == []


def test_nothing_started_has_no_edges() -> None:
    ran = readoff(agent_box(AT), "RUN NOSUCH")
    (record,) = ran.of_kind("run")
    assert record.values("run_clock") is None


@pytest.mark.parametrize("command", ["INTLOOP 3000", "FASTTICK 2000 1"])
def test_under_an_emulated_dos(tmp_path: Path, command: str) -> None:
    """DOSBox 0.74 tells of updates about once a millisecond: they are not taken for edges. Its real-time clock is the
    host's own, and its timer is late on a host that is busy: that they disagree then is true.
    """
    put_programs(tmp_path)
    (tmp_path / "READOFF.COM").write_bytes(AGENT.read_bytes())
    files = run_dosbox(tmp_path, [f"READOFF RUN {command}"], cycles="fixed 3000")
    records = [parse_record(files[name]) for name in files if name.endswith(".RDO") and "SERIAL" not in name]
    (record,) = (each for each in records if each.kind == "run")
    found = clocks(record)
    assert found.timer is not None and found.rtc is not None and found.rtc >= 1
    if command.startswith("FAST"):
        assert found.state == "disturbed" and found.timer > 50
    else:
        assert found.timer < found.rtc + Decimal("0.5"), found.sentence
