"""/F: in the test machine and under another DOS: files that a program makes or changes are in its record, no others.

What counts as a change is the agent's own rule: time, size or content not as in the list taken before the run.
"""

from __future__ import annotations

import zlib
from dataclasses import replace
from pathlib import Path

import pytest
from test_agent_dosbox import agent_under_dosbox

from readoff.box import AT, XT, Box, Drive
from readoff.contract.record import Completeness, Record
from readoff.readings.shown import CaptureKind
from readoff.store.captures import RunState, captures_of, run_state
from readoff.store.collected import collected
from support.agent_box import (
    EXIT_ALL,
    EXIT_MISSING,
    EXIT_NOTHING,
    agent_box,
    captured_all,
    end_of,
    readoff,
    record_names,
)
from support.box_programs import assemble

RECORD_LIMIT = 1_048_576
# One file anew, one octet of a second one replaced with its time put back, another folder at the end.
WRITES = r"""
main:   mov     ah, 3Ch
        xor     cx, cx
        mov     dx, fresh
        int     21h
        mov     bx, ax
        mov     cx, text_end - text
        mov     dx, text
        mov     ah, 40h
        int     21h
        mov     ah, 3Eh
        int     21h
        mov     ax, 3D02h
        mov     dx, old
        int     21h
        jc      .over
        mov     bx, ax
        mov     ax, 5700h
        int     21h
        push    cx
        push    dx
        mov     ah, 40h
        mov     cx, 1
        mov     dx, text
        int     21h
        pop     dx
        pop     cx
        mov     ax, 5701h
        int     21h
        mov     ah, 3Eh
        int     21h
.over:  mov     ah, 3Bh
        mov     dx, elsewhere
        int     21h
        exit
fresh:  db "RESULT.LOG", 0
old:    db "OLD.LOG", 0
elsewhere: db "C:\ELSE", 0
text:   db "Score: 1234.50 points", 13, 10
text_end:
"""
TEXT = b"Score: 1234.50 points\r\n"
# A file of so many KB, as its argument tells in one digit to the power of 2.
FILLS = r"""
main:   mov     cl, [82h]
        sub     cl, '0'
        mov     bp, 1
        shl     bp, cl
        mov     ah, 3Ch
        xor     cx, cx
        mov     dx, name
        int     21h
        mov     bx, ax
.next:  mov     ah, 40h
        mov     cx, 1024
        mov     dx, 100h
        int     21h
        dec     bp
        jnz     .next
        exit
name:   db "BIG.LOG", 0
"""


def kept(record: Record) -> dict[str, bytes]:
    """The files in a run's record, by name, as the host unpacks them."""
    captures = [each.capture for each in captures_of(record)]
    return {each.name.upper(): each.octets for each in captures if each.kind is CaptureKind.FILE}


def told(record: Record) -> tuple[int | None, int | None, int | None]:
    """Found, changed, kept."""
    asked = collected(record)
    assert asked is not None
    return asked.found, asked.changed, asked.kept


def writing_box(spec=AT) -> tuple[Box, Drive]:
    box = agent_box(spec, W=WRITES, BIG=FILLS)
    return box, box.drive("C")


@pytest.mark.parametrize("spec", [AT, XT, replace(AT, dos_version=(3, 30))], ids=["at", "xt", "dos 3.30"])
def test_new_and_changed_ones_are_kept_and_no_others(spec) -> None:
    box, drive = writing_box(spec)
    drive.write("OLD.LOG", b"Xcore")
    drive.write("SAME.LOG", b"as it was")
    drive.write("OTHER.TXT", b"does not fit")
    ran = readoff(box, "RUN /F:*.LOG W")
    assert kept(ran.run) == {"C:\\RESULT.LOG": TEXT, "C:\\OLD.LOG": b"Score"}
    assert told(ran.run) == (3, 2, 2)
    assert (captured_all(ran.run), ran.exit.code) == (1, EXIT_ALL)
    assert ran.run.completeness is Completeness.WHOLE


def test_the_list_says_what_was_there_before() -> None:
    """Sizes and DOS times as the folder has them; the sum is the CRC-32 of zlib before its last step."""
    box, drive = writing_box()
    drive.write("OLD.LOG", b"Xcore")
    before = readoff(box, "RUN /F:*.LOG W").run.values("files_before")
    (entry,) = before["entries"]
    assert (entry["name"].rstrip("\0"), entry["size"], entry["pattern"]) == ("OLD.LOG", 5, 0)
    assert entry["sum"] ^ 0xFFFFFFFF == zlib.crc32(b"Xcore")
    assert (before["patterns"], before["limit"]) == ("C:\\*.LOG", 64 * 1024)


def test_without_the_option_nothing_is_looked_at() -> None:
    box, _ = writing_box()
    record = readoff(box, "RUN W").run
    assert collected(record) is None
    assert kept(record) == {}


def test_patterns_add_up_from_the_variable_too_and_folders_hold() -> None:
    """A pattern means the folder in which the agent was started, wherever the program goes."""
    box, drive = writing_box()
    drive.write(r"ELSE\NOTE.TXT", b"before")
    box.command(r"SET READOFF=/F:\ELSE\*.TXT")
    assert box.command("READOFF RUN /F:*.LOG,2 W").code == EXIT_ALL
    from readoff.contract.record import parse_record

    record = parse_record(drive.read(record_names(box)[-1]))
    before = record.values("files_before")
    assert (before["patterns"], before["limit"]) == ("C:\\ELSE\\*.TXT;C:\\*.LOG", 2048)
    assert kept(record) == {"C:\\RESULT.LOG": TEXT}


def test_each_repeat_is_held_against_the_one_before_it() -> None:
    box, _ = writing_box()
    ran = readoff(box, "RUN /N:2 /F:*.LOG W")
    first, second = ran.of_kind("run")
    assert kept(first) == {"C:\\RESULT.LOG": TEXT}
    assert len(second.values("files_before")["entries"]) == 1
    assert kept(second) in (
        {},
        {"C:\\RESULT.LOG": TEXT},
    )  # made anew: seen where the clock has moved on by 2 s
    assert told(second)[0] == 1


def test_our_own_records_are_passed_over() -> None:
    box, _ = writing_box()
    ran = readoff(box, "RUN /N:2 /F:*.* W")
    assert not [name for record in ran.of_kind("run") for name in kept(record) if ".RD" in name]


def test_names_that_only_end_like_our_records_are_the_programs() -> None:
    box, _ = writing_box()
    for name in ("WORDS", "X.ORD", "BOARD.RD"):
        box.drive("C").write(name, b"before")
    ran = readoff(box, "RUN /F:WORDS /F:*.ORD /F:*.RD W")
    assert told(ran.run)[0] == 3


def test_a_long_file_is_cut_and_says_so() -> None:
    box, _ = writing_box()
    ran = readoff(box, "RUN /F:*.LOG,3 BIG 2")
    (capture,) = [each for each in captures_of(ran.run) if each.capture.kind is CaptureKind.FILE]
    assert len(capture.capture.octets) == 3072
    assert "the file has 4096 octets by its folder entry, here are 3072" in capture.problem
    (missing,) = collected(ran.run).missing
    assert missing.startswith("at least one is longer than what was to be kept, and cut")
    assert (captured_all(ran.run), ran.exit.code) == (0, EXIT_MISSING)
    assert "not all files that it made or changed could be kept" in ran.said
    box, _ = writing_box()
    exact = readoff(box, "RUN /F:*.LOG,4 BIG 2")
    assert len(kept(exact.run)["C:\\BIG.LOG"]) == 4096
    assert (captured_all(exact.run), exact.exit.code) == (1, EXIT_ALL)


def test_a_record_is_never_longer_than_records_are() -> None:
    box, drive = writing_box()
    drive.write("HUGE.COM", assemble(FILLS.replace("mov     bp, 1\n", "mov     bp, 4\n")))
    ran = readoff(box, "RUN /F:*.LOG,1024 HUGE 8")
    assert len(ran.run.octets) <= RECORD_LIMIT
    assert len(kept(ran.run)["C:\\BIG.LOG"]) > RECORD_LIMIT - 16 * 1024
    assert ran.run.completeness is Completeness.WHOLE
    assert any("longer than what was to be kept" in each for each in collected(ran.run).missing)


def test_more_files_than_the_list_holds() -> None:
    box, drive = writing_box()
    for number in range(170):
        drive.write(f"F{number:03}.LOG", b"x")
    ran = readoff(box, "RUN /F:*.LOG,1 W")
    assert "more were there before" in collected(ran.run).sentence()
    assert TEXT in kept(ran.run).values()
    assert (captured_all(ran.run), ran.exit.code) == (0, EXIT_MISSING)


def test_a_full_disk_loses_the_file_and_not_the_run() -> None:
    box, drive = writing_box()
    drive.room = 40_000
    ran = readoff(box, "RUN /F:*.LOG BIG 5")
    assert end_of(ran.run)["outcome"] == "finished"
    assert run_state(ran.run) is RunState.COMPLETE
    asked = collected(ran.run)
    assert asked is None or asked.missing
    assert ran.exit.code != EXIT_ALL


def test_a_program_that_stays_leaves_no_room_for_the_look_afterwards() -> None:
    box = agent_box(AT, "STAYS.COM")
    ran = readoff(box, "RUN /F:*.LOG STAYS 27")
    asked = collected(ran.run)
    assert (asked.found, "were not looked for" in asked.sentence()) == (None, True)
    assert (captured_all(ran.run), ran.exit.code) == (0, EXIT_MISSING)


def test_a_power_cut_while_files_are_kept_leaves_the_run() -> None:
    """Whatever the moment, a run that has its end is complete, and a file that is not whole is settled by nothing."""
    box, drive = writing_box()
    with box.counting() as count:
        readoff(box, "RUN /F:*.LOG,1 W")
    whole, states = count(), set()
    for part in range(16):
        box, drive = writing_box()
        box.cut_power_after(whole - 4000 + 250 * part)
        ended = box.run("C:\\READOFF.COM", "RUN /F:*.LOG,1 W")
        from readoff.contract.record import parse_record

        record = parse_record(drive.read(record_names(box)[-1]))
        states.add(run_state(record))
        if record.completeness is not Completeness.WHOLE:
            assert ended.kind == "power cut"
            assert not [c for c in captures_of(record) if c.capture.kind is CaptureKind.FILE and c.settled]
    assert RunState.COMPLETE in states


@pytest.mark.parametrize("value", ["*.LOG,0", "*.LOG,1025", "*.LOG,x", "A.LOG;B.LOG", "Q:*.LOG"])
def test_values_that_make_no_sense(value: str) -> None:
    box, _ = writing_box()
    ran = box.run("C:\\READOFF.COM", f"RUN /F:{value} W")
    assert ran.code == EXIT_NOTHING
    assert not record_names(box)


def test_more_patterns_than_there_is_room_for() -> None:
    box, _ = writing_box()
    box.command(f"SET READOFF=/F:\\{'X' * 90}")
    assert box.command(f"READOFF RUN /F:\\{'Y' * 40} W").code == EXIT_NOTHING
    assert not record_names(box)


def test_under_another_dos(tmp_path: Path) -> None:
    """A program whose only output is a file that it writes."""
    (tmp_path / "LOGS").mkdir()
    (tmp_path / "LOGS" / "WAYS.OUT").write_bytes(b"before")
    commands = ["CD LOGS", r"..\READOFF RUN /F:*.OUT ..\WAYS F 1234.50"]
    records, _ = agent_under_dosbox(tmp_path, *commands)
    (run,) = [record for record in records if record.kind == "run"]
    assert kept(run) == {"C:\\LOGS\\WAYS.OUT": b"Ways: score 1234.50 points\r\n"}
    assert told(run) == (1, 1, 1)
