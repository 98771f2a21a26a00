"""READOFF PROBE display, disk, integer, float in the test machine."""

from __future__ import annotations

from dataclasses import replace

import pytest

from readoff.box import AT, LATE, XT, Box, Drive, Processor
from readoff.contract.record import parse_record
from readoff.readings import read_run
from readoff.store.captures import captures_of
from support.agent_box import AGENT, EXIT_ALL, agent_box, readoff
from support.reading_texts import shipped

I386 = replace(AT, name="386", processor=Processor.I80386, fpu=True)
ALL = ["memory", "extended", "display", "graphics", "disk", "sectors", "integer", "float"]
TIMES = ("minimum", "lower", "median", "upper", "maximum")


def section(ran, name):
    """The values of a section, of the record that has it."""
    return next(values for record in ran.of_kind("probe") if (values := record.values(name)))


def readings(ran, name):
    """What the shipped schemas read in that record."""
    record = next(each for each in ran.of_kind("probe") if each.values(name))
    readout = read_run([each.capture for each in captures_of(record)], shipped())
    assert readout.holds == ()
    return {each.metric: each for each in readout.readings}


@pytest.mark.parametrize("spec", [XT, AT, I386, LATE], ids=["8088", "286", "386", "486"])
def test_all_of_them_one_record_each(spec):
    ran = readoff(agent_box(spec), "PROBE all")
    assert ran.exit.code == EXIT_ALL, ran.said
    records = ran.of_kind("probe")
    assert [record.values("run_start")["program"] for record in records] == [f"probe {each}" for each in ALL]
    assert {record.completeness for record in records} == {"whole"}
    assert {record.values("run_end")["outcome"] for record in records} == {"finished"}


def test_an_8086_runs_them_all():
    box = agent_box(XT)
    box.on.processor.check_each_instruction()
    assert readoff(box, "PROBE all").exit.code == EXIT_ALL


@pytest.mark.parametrize(
    ("spec", "segment", "mode", "graphics"),
    [
        (XT, 0xB800, 3, (0x04, 0xB800)),
        (AT, 0xB800, 3, (0x0D, 0xA000)),
        (LATE, 0xB800, 3, (0x13, 0xA000)),
        (replace(AT, display="mda"), 0xB000, 7, None),
    ],
    ids=["cga", "ega", "vga", "mda"],
)
def test_writes_to_the_display_leave_it_as_it_was(spec, segment, mode, graphics):
    box = agent_box(spec)
    box.command("ECHO Something stands here.")
    modes = len(box.on.video.mode_changes)
    ran = readoff(box, "PROBE display")
    text, drawn = section(ran, "probe_display"), section(ran, "probe_graphics")
    assert (text["problem"], text["mode"], text["segment"]) == ("none", mode, segment)
    assert len(text["widths"]) == (3 if spec is LATE else 2)
    for each in (*text["widths"], *drawn["widths"]):
        assert [each[name] for name in TIMES] == sorted(each[name] for name in TIMES)
    if graphics is None:
        assert drawn["problem"] == "no_mode"
        assert len(box.on.video.mode_changes) == modes
    else:
        assert (drawn["problem"], drawn["mode"], drawn["segment"]) == ("none", *graphics)
    assert box.on.engine.memory.octets[0x449] == mode
    shown = [row.rstrip() for row in box.screen_rows() if row.strip()]
    said = ["Something stands here.", *ran.said.split("\r\n")]
    assert shown == [row for row in said if row]


def test_graphics_are_not_tried_from_other_text_modes():
    box = agent_box(LATE, "LINES43.COM")
    box.on.engine.memory.octets[0x484] = 42
    ran = readoff(box, "PROBE display")
    assert section(ran, "probe_graphics")["problem"] == "graphics"
    assert section(ran, "probe_display")["problem"] == "none"


def test_the_time_of_writes_is_that_of_the_machine():
    fast = readings(readoff(agent_box(AT), "PROBE display"), "probe_display")
    slow = readings(readoff(agent_box(replace(AT, video_clocks=6)), "PROBE display"), "probe_display")
    longer = 1 / slow["rate_8"].value - 1 / fast["rate_8"].value  # seconds an octet
    assert float(longer) == pytest.approx(6 / 8e6, rel=0.02)


def test_operations_a_second_are_those_of_the_machine():
    # By the code's octets: three clocks each at 8 MHz; 14 octets an element of two operations.
    ran = readoff(agent_box(AT), "PROBE integer")
    rate = float(readings(ran, "probe_integer")["rate"].value)
    assert rate == pytest.approx(2 / (15 * 3 / 8e6), rel=0.1)


def test_floats_only_with_an_fpu():
    assert section(readoff(agent_box(AT), "PROBE float"), "probe_float")["problem"] == "no_fpu"
    ran = readoff(agent_box(LATE), "PROBE float")
    assert section(ran, "probe_float")["timing"]["size"] == 3 * 8 * 64
    assert readings(ran, "probe_float")["rate"].value > 0


def test_disks_are_only_read():
    box = agent_box(AT)
    calls = []
    box.drive("C").on_access = lambda kind, number: calls.append(kind)
    before = {name: box.drive("C").read(name) for name in ("READOFF.COM", "COMMAND.COM")}
    ran = readoff(box, "PROBE disk")
    file, sectors = section(ran, "probe_disk"), section(ran, "probe_sectors")
    assert file["drive"] == ord("C")
    assert file["octets"] == len(before["READOFF.COM"])
    assert (sectors["drive"], sectors["octets"]) == (0x80, 8 * 63 * 512)
    assert box.on.bios.sectors_read == 2 * 8 * 63
    assert {name: box.drive("C").read(name) for name in before} == before
    # A turn of the disk for each of eight tracks, at 3,600 turns a minute.
    rate = float(readings(ran, "probe_sectors")["first_rate"].value)
    assert rate == pytest.approx(63 * 512 * 60, rel=0.02)


def test_a_machine_without_a_fixed_disk():
    box = agent_box(AT)
    box.on.engine.memory.octets[0x475] = 0
    ran = readoff(box, "PROBE disk")
    assert section(ran, "probe_sectors")["problem"] == "no_drive"
    assert section(ran, "probe_disk")["problem"] == "none"
    assert box.on.bios.sectors_read == 0


def test_memory_is_given_back():
    box = agent_box(AT)
    taken = {block.segment for block in box.on.dos.blocks.blocks() if block.owner}
    readoff(box, "PROBE all")
    assert {block.segment for block in box.on.dos.blocks.blocks() if block.owner} == taken


def test_a_floppy_drive_that_stands_for_b_is_left_alone():
    drive, spool = Drive(removable=True, capacity=1_474_560), Drive()
    drive.write("READOFF.COM", AGENT.read_bytes())
    box = Box(AT, {"A": drive, "C": spool})
    box.boot(1)
    box.on.engine.memory.octets[0x504] = 1
    box.run("A:\\READOFF.COM", "PROBE disk /D:C:\\")
    made = [parse_record(spool.read(name)) for name in spool.list("*.RDO") if not name.endswith("SERIAL.RDO")]
    file = next(values for record in made if (values := record.values("probe_disk")))
    assert (file["problem"], file["drive"]) == ("no_drive", ord("A"))
