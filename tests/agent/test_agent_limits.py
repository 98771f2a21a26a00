"""Runs over their time, and runs that were never finished."""

from __future__ import annotations

import pytest

from readoff.box import AT, LATE, XT, Box, MachineSpec
from readoff.contract.record import Completeness, parse_record
from readoff.store.captures import RunState, run_state
from support.agent_bench import Bench
from support.agent_box import (
    EXIT_ALL,
    EXIT_NOTHING,
    agent_box,
    captured_all,
    console,
    end_of,
    readoff,
    record_names,
    run_under_agent,
)

TICK_HZ = 1193181 / 65536  # the timer's input over its longest count: handbook value
NOT_FINISHED = "was not finished: the machine was reset, or lost power, while it ran "

# Waits for so many timer ticks.
WAITS = """
main:   mov     ax, 40h
        mov     es, ax
        mov     bx, [es:6Ch]
.next:  mov     ax, [es:6Ch]
        sub     ax, bx
        cmp     ax, {ticks}
        jb      .next
        exit
"""


@pytest.mark.parametrize(("ticks", "over"), [(10, False), (30, False), (45, True)])
def test_a_run_over_its_time_is_marked(ticks: int, over: bool) -> None:
    _, ran = run_under_agent(agent_box(AT), WAITS.format(ticks=ticks), options="/T:2")
    end = end_of(ran.run)
    assert ("over_time" in end["set"]) == over == (end["elapsed_ticks"] / TICK_HZ >= 2)
    assert ("ran over its time" in ran.said) == over
    assert (end["outcome"], ran.exit.code) == ("finished", EXIT_ALL)


def test_without_a_limit_nothing_is_over_time() -> None:
    _, ran = run_under_agent(agent_box(AT), WAITS.format(ticks=45))
    assert end_of(ran.run)["set"] == set()


@pytest.mark.parametrize("seconds", [1, 2, 7, 60, 3599, 3600, 65535])
def test_seconds_become_ticks(bench: Bench, seconds: int) -> None:
    bench.put("option_value", str(seconds).encode() + b"\0")
    assert not bench.call("option_take_limit")
    ticks = int.from_bytes(bench.octets("option_limit", 4), "little")
    assert 0 <= ticks - seconds * TICK_HZ <= 1 + seconds * TICK_HZ * 0.00004


@pytest.mark.parametrize("value", ["0", "x", "65536", "1x", "-1", "99999999"])
def test_wrong_limits_are_refused(value: str) -> None:
    ran = readoff(agent_box(AT, "WAYS.COM"), f"RUN /T:{value} WAYS")
    assert (ran.exit.code, ran.records) == (EXIT_NOTHING, {})
    assert "is no option, or its value is wrong" in ran.said


def hung(box: Box, tail: str = "RUN /L:base HANGS") -> str:
    """Run what never comes back, cut the power, boot again; the name of the record that was left."""
    box.cut_power_at(10)
    assert box.run("C:\\READOFF.COM", tail).kind == "power cut"
    left = record_names(box)
    box.boot(2)
    return left[-1]


@pytest.mark.parametrize("spec", [XT, AT, LATE], ids=lambda spec: spec.name)
def test_a_run_that_was_not_finished_is_named_once_after_the_reset(spec: MachineSpec) -> None:
    box = agent_box(spec, "HANGS.COM", "WAYS.COM")
    readoff(box, "RUN WAYS 02")
    left = hung(box)
    record = parse_record(box.drive("C").read(left))
    assert run_state(record) is RunState.UNFINISHED
    said = readoff(box, "SNAP").said
    assert said.count(NOT_FINISHED) == 1
    assert f"Readoff: C:\\{left} {NOT_FINISHED}HANGS.COM" in said
    assert NOT_FINISHED not in readoff(box, "RUN WAYS 02").said  # told already in this boot


def test_a_spool_of_whole_records_and_other_files_is_no_news() -> None:
    box = agent_box(AT, "WAYS.COM")
    readoff(box, "RUN WAYS 02")
    box.drive("C").write("SHORT.RDO", b"ROf")
    box.drive("C").write("OTHER.RDO", b"something else, longer than a record's end " * 30)
    box.boot(2)
    assert "not finished" not in readoff(box, "RUN WAYS 02").said


@pytest.mark.parametrize("keep", [29, 60, 100, 170])
def test_records_cut_anywhere_do_no_harm(keep: int) -> None:
    box = agent_box(AT, "WAYS.COM")
    ran = readoff(box, "RUN /P:named WAYS 02")
    name, octets = next((name, record.octets) for name, record in ran.records.items() if record.kind == "run")
    box.drive("C").write(name, bytes(octets[:keep]))
    box.boot(2)
    ran = readoff(box, "RUN WAYS 02")
    assert console(ran.run)
    assert (f"{NOT_FINISHED}named" in ran.said) == (keep >= 100)


# -- /T:seconds,R --------------------------------------------------------------------------------------

# Prints, writes straight to the screen, then hangs in the way that the test says.
HANGING = """
main:   mov     dx, text
        mov     ah, 9
        int     21h
        mov     ax, 0B800h
        mov     es, ax
        mov     word [es:160], 0741h
        {hang}
text:   db "about to hang$"
"""
WAYS_TO_HANG = {
    "own code": ".h: hlt\n jmp .h",
    "waiting inside the BIOS": "mov ah, 0\n int 16h",
    "waiting inside DOS": "mov ah, 8\n int 21h",
}


def reset_box(spec: MachineSpec, hang: str) -> tuple[Box, str]:
    box = agent_box(spec, "WAYS.COM", T=HANGING.format(hang=WAYS_TO_HANG[hang]))
    exit_ = box.run("C:\\READOFF.COM", "RUN /T:2,R T")
    assert exit_.kind == "reset"
    left = record_names(box)[-1]
    box.boot(2)
    return box, left


@pytest.mark.parametrize("spec", [XT, AT, LATE], ids=lambda spec: spec.name)
def test_a_hanging_program_is_ended_by_a_reset_and_its_record_is_whole(spec: MachineSpec) -> None:
    box, left = reset_box(spec, "own code")
    record = parse_record(box.drive("C").read(left))
    end = end_of(record)
    assert (end["outcome"], end["set"]) == ("reset", {"over_time"})
    assert 2 <= end["elapsed_ticks"] / TICK_HZ <= 2.3
    assert console(record) == b"about to hang"
    assert [(s.values or {})["moment"] for s in record.all("screen")] == ["over_time"]
    assert captured_all(record) == 0 and record.completeness is Completeness.WHOLE
    assert "ROOM.RDX" not in box.drive("C").list()
    assert "not finished" not in readoff(box, "RUN WAYS 02").said


@pytest.mark.parametrize("hang", ["waiting inside the BIOS", "waiting inside DOS"])
def test_where_nothing_may_be_written_it_is_found_as_not_finished(hang: str) -> None:
    box, left = reset_box(AT, hang)
    assert run_state(parse_record(box.drive("C").read(left))) is not RunState.COMPLETE
    ran = readoff(box, "RUN WAYS 02")
    assert f"{NOT_FINISHED}T.COM" in ran.said
    assert ran.exit.code == EXIT_ALL


def test_a_program_that_keeps_its_time_is_not_reset_and_the_timer_is_given_back() -> None:
    box = agent_box(AT, "WAYS.COM")
    before = box.on.engine.memory.read(0, 8 * 4, 4)
    ran = readoff(box, "RUN /T:2,r /N:2 WAYS 02")
    assert [end_of(run)["outcome"] for run in ran.of_kind("run")] == ["finished"] * 2
    assert box.on.engine.memory.read(0, 8 * 4, 4) == before
    _, ran = run_under_agent(box, WAITS.format(ticks=30), options="/T:2,R")
    assert end_of(ran.run)["set"] == set()


@pytest.mark.parametrize("value", ["2,", "2,X", "2,RR", ",R"])
def test_wrong_ways_to_ask_for_a_reset(value: str) -> None:
    assert readoff(agent_box(AT, "WAYS.COM"), f"RUN /T:{value} WAYS").exit.code == EXIT_NOTHING
