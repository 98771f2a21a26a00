"""READOFF PROBE memory in the test machine: what it measures is what the machine's memory is made of."""

from __future__ import annotations

from dataclasses import replace

import pytest

from readoff.box import AT, LATE, XT, CacheLevel, Processor
from readoff.box.extras import Extras, Xms
from readoff.snapshots.measured import nanoseconds, staircase_of
from support.agent_box import EXIT_ALL, EXIT_MISSING, EXIT_NOTHING, agent_box, captured_all, readoff

I386 = replace(AT, name="386", processor=Processor.I80386, clock_hz=16_000_000)
WITH_XMS = replace(LATE, extras=Extras(xms=Xms()))
MACHINES = {"8088": XT, "286": AT, "386": I386, "486": LATE}


def conventional(ran):
    """The record of the staircase in conventional memory."""
    return next(record for record in ran.of_kind("probe") if record.values("probe_memory"))


def extended(ran):
    """The section of the staircase beyond 1 MB."""
    return next(values for record in ran.of_kind("probe") if (values := record.values("probe_extended")))


def measured(record):
    """The section, and its staircase."""
    values = record.values("probe_memory")
    return values, staircase_of(values)


@pytest.mark.parametrize("name", MACHINES)
def test_a_machine_without_caches_shows_none(name):
    ran = readoff(agent_box(MACHINES[name]), "PROBE memory /L:base")
    assert ran.exit.code == EXIT_ALL, ran.said
    record = conventional(ran)
    values, found = measured(record)
    assert captured_all(record) == 1
    start = record.values("run_start")
    assert (start["program"], start["label"], start["snapshot_ordinal"]) == ("probe memory", "base", 1)
    assert len(found.levels) == 1
    assert found.octets[0] == 1024
    assert found.octets[-1] > 500 * 1024
    assert 25 <= len(found.octets) <= 49
    assert values["passes"] == 5
    assert values["points"][0] == values["smallest"]
    assert values["points"][-1] == values["largest"]
    for point in values["points"]:
        times = [point[each] for each in ("minimum", "lower", "median", "upper", "maximum")]
        assert times == sorted(times)


def test_the_times_are_those_of_the_machine():
    # 128 octets of code for 64 reads, three clocks an octet at 8 MHz: 750 ns a read and a little for going around.
    ran = readoff(agent_box(AT), "PROBE memory")
    _, found = measured(conventional(ran))
    assert 750 < found.levels[0].ns < 800
    slow = conventional(readoff(agent_box(replace(AT, memory_clocks=4)), "PROBE memory"))
    assert measured(slow)[1].levels[0].ns - found.levels[0].ns == pytest.approx(500, rel=0.01)


@pytest.mark.parametrize("name", MACHINES)
def test_a_cache_is_found_where_it_ends(name):
    spec = replace(
        MACHINES[name], caches=(CacheLevel(8192), CacheLevel(65536, ways=1, clocks=6)), memory_clocks=24
    )
    box = agent_box(spec)
    ran = readoff(box, "PROBE memory")
    _, found = measured(conventional(ran))
    assert len(found.levels) == 3
    assert [step.low <= size < step.high for step, size in zip(found.steps, (8192, 65536), strict=True)] == [
        True,
        True,
    ]
    assert all(box.on.hierarchy.served)


def test_all_that_is_free_is_read_and_given_back():
    box = agent_box(AT)
    taken = {block.segment for block in box.on.dos.blocks.blocks() if block.owner}
    ran = readoff(box, "PROBE memory")
    values, _ = measured(conventional(ran))
    last = values["largest"]["octets"]
    assert values["base"] % 64 == 0
    assert 640 * 1024 - 8192 < values["base"] + last <= 640 * 1024
    assert {block.segment for block in box.on.dos.blocks.blocks() if block.owner} == taken


@pytest.mark.parametrize("mode", [2, 3])
@pytest.mark.parametrize("spec", [XT, LATE], ids=["8253", "8254"])
def test_both_ways_of_counting_give_the_same_time(spec, mode):
    record = conventional(readoff(agent_box(replace(spec, pit_mode=mode)), "PROBE memory"))
    values = record.values("probe_memory")
    ns = nanoseconds(values["smallest"]["minimum"], values["smallest"]["reads"])
    assert ns == pytest.approx(1772 if spec is XT else 128.2, rel=0.01)


def test_a_timer_that_was_reprogrammed_is_not_believed():
    box = agent_box(AT)
    box.on.timer.counters[0].program(2, 1193, box.on.engine.now())
    ran = readoff(box, "PROBE memory")
    record = conventional(ran)
    values, found = measured(record)
    assert (values["problem"], found) == ("timer", None)
    assert ran.exit.code == EXIT_MISSING
    assert "timer" in ran.said


def test_the_timer_is_never_programmed():
    box = agent_box(AT)
    box.on.ports.log = []
    readoff(box, "PROBE memory")
    commands = {value for way, port, value in box.on.ports.log if (way, port) == ("out", 0x43)}
    assert commands <= {0x00, 0xE2, 0xC2}
    assert not [port for way, port, _ in box.on.ports.log if way == "out" and port in (0x40, 0x41, 0x42)]


def test_no_tick_is_lost():
    box = agent_box(replace(XT, memory_clocks=40))
    ticks = box.on.engine.memory.word(0x46C)
    before = box.on.engine.now()
    readoff(box, "PROBE memory")
    gone = (box.on.engine.now() - before) / 1e12 * 1193181.8 / 65536
    assert abs(box.on.engine.memory.word(0x46C) - ticks - gone) <= 1


def test_repeats_are_records_of_their_own():
    ran = readoff(agent_box(AT), "PROBE memory /N:2")
    starts = [record.values("run_start") for record in ran.of_kind("probe")]
    assert [(each["program"], each["repeat"], each["repeats"]) for each in starts] == [
        ("probe memory", 1, 2),
        ("probe extended", 1, 2),
        ("probe memory", 2, 2),
        ("probe extended", 2, 2),
    ]


@pytest.mark.parametrize("tail", ["PROBE", "PROBE nonsense", "PROBE memory memory"])
def test_what_is_no_probe_is_refused(tail):
    ran = readoff(agent_box(AT), tail)
    assert ran.exit.code == EXIT_NOTHING
    assert ran.records == {}


def test_an_8086_runs_it():
    box = agent_box(XT)
    box.on.processor.check_each_instruction()
    assert readoff(box, "PROBE memory").exit.code == EXIT_ALL


def test_both_caches_are_found_within_their_intervals():
    spec = replace(
        WITH_XMS,
        caches=(CacheLevel(8192), CacheLevel(262144, ways=1, clocks=5)),
        memory_clocks=16,
    )
    box = agent_box(spec)
    box.patience = 240
    ran = readoff(box, "PROBE memory")
    assert ran.exit.code == EXIT_ALL, ran.said
    values = extended(ran)
    found = staircase_of(values)
    assert (values["problem"], values["base"], values["read_octets"]) == ("none", 0x110000, 4)
    assert 25 <= len(found.octets) <= 49
    assert len(found.levels) == 3
    assert [(step.low, step.high > size) for step, size in zip(found.steps, (8192, 262144), strict=True)] == [
        (8192, True),
        (262144, True),
    ]
    assert box.on.extras.given_kb == 0
    assert box.on.extras.a20_asked == 0


@pytest.mark.parametrize(
    ("spec", "problem"),
    [
        (XT, "before_386"),
        (AT, "before_386"),
        (I386, "no_xms"),
        (replace(LATE, extras=Extras(xms=Xms(largest_kb=32))), "no_block"),
    ],
)
def test_why_nothing_was_measured_beyond_1_mb(spec, problem):
    ran = readoff(agent_box(spec), "PROBE memory")
    assert ran.exit.code == EXIT_ALL
    assert (extended(ran)["problem"], extended(ran)["points"]) == (problem, [])


def test_under_a_monitor_nothing_is_tried_beyond_1_mb():
    """SMSW answers as it does in virtual-8086 mode: that protected mode is on."""
    box = agent_box(WITH_XMS)
    octets = box.drive("C").read("READOFF.COM")
    smsw, answered = b"\x0f\x01\xe0", b"\xb8\x01\x00"  # smsw ax; mov ax, 1
    assert octets.count(smsw) == 1
    box.drive("C").write("READOFF.COM", octets.replace(smsw, answered))
    ran = readoff(box, "PROBE memory")
    assert ran.exit.code == EXIT_ALL and "virtual-8086" in ran.said
    assert (extended(ran)["problem"], extended(ran)["points"]) == ("v86", [])
    assert box.on.extras.a20_asked == 0
    (snapshot,) = ran.of_kind("snapshot")
    assert snapshot.values("cpu")["v86"] == "present"
    assert snapshot.values("control") is None  # CR0 is not read there
    assert len(measured(conventional(ran))[0]["points"]) > 10


def test_a_386_is_enough():
    ran = readoff(agent_box(replace(I386, extras=Extras(xms=Xms(largest_kb=512)))), "PROBE memory")
    found = staircase_of(extended(ran))
    assert found.octets[-1] == 512 * 1024
    assert len(found.levels) == 1


def test_a_power_cut_leaves_an_opened_record_that_is_named_afterwards():
    box = agent_box(AT)
    box.cut_power_at(1.0)
    ran = readoff(box, "PROBE memory /L:base")
    assert ran.exit.kind == "power cut"
    (record,) = ran.of_kind("probe")
    assert record.completeness == "cut short"
    assert record.values("run_start")["program"] == "probe memory"
    box.boot(2)
    assert "was not finished" in (said := readoff(box, "SNAP").said)
    assert "probe memory" in said
