"""The spool: nothing overwritten, nothing lost that DOS took, and honest words when it could not be written."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from readoff.box import AT, LATE, XT, Box, Drive
from readoff.contract.record import Completeness, parse_record
from support.agent_box import (
    EXIT_ALL,
    EXIT_SPOOL,
    PROGRAMS,
    agent_box,
    big_print,
    captured_all,
    console,
    end_of,
    readoff,
    record_names,
    screen_rows,
)

CLUSTER = 2048


def test_a_folder_for_the_spool_and_a_serial_that_stays() -> None:
    box = agent_box(AT, "WAYS.COM")
    box.drive("C").write("SPOOL\\SUB\\KEEP.TXT", b"")
    ran = readoff(box, "RUN /D:c:\\spool/sub WAYS 02")
    assert ran.exit.code == EXIT_ALL
    names = box.drive("C").list("SPOOL\\SUB\\*")
    assert sum(name.endswith(".RDO") for name in names) == 3  # a snapshot, a run, SERIAL.RDO
    assert not any(name.endswith("ROOM.RDX") for name in names)
    serial = box.drive("C").read("SPOOL\\SUB\\SERIAL.RDO")
    assert len(serial) == 4 and any(serial)
    assert {record.id.agent_serial for record in ran.records.values()} == {int.from_bytes(serial, "little")}
    again = readoff(box, "SNAP /D:SPOOL\\SUB")
    assert again.records.popitem()[1].id.agent_serial == int.from_bytes(serial, "little")


def test_the_spool_stays_where_it_was_when_the_program_goes_elsewhere() -> None:
    source = """
main:   mov     dx, path
        mov     ah, 3Bh
        int     21h
        mov     word [results], ax
        exit
path:   db "C:\\AWAY", 0
"""
    box = agent_box(AT, GOES=source)
    box.drive("C").write("AWAY\\X", b"")
    ran = readoff(box, "RUN /N:2 GOES.COM")
    assert len(ran.records) == 3
    assert box.drive("C").list("AWAY\\*.RDO") == []
    assert not [name for name in box.drive("C").list("*") if name.endswith("ROOM.RDX")]


def test_another_file_of_the_same_name_is_not_overwritten() -> None:
    box = agent_box(AT)
    (first,) = readoff(box, "SNAP").records
    stem = int(first.split(".", maxsplit=1)[0], 16)
    box.drive("C").write(f"{stem + 1:08X}.RDO", b"not yours")
    ran = readoff(box, "SNAP")
    (name,) = ran.records
    assert name != f"{stem + 1:08X}.RDO" and ran.records[name].id.ordinal == 2
    assert box.drive("C").read(f"{stem + 1:08X}.RDO") == b"not yours"


def test_boots_differ_and_ordinals_begin_anew() -> None:
    box = agent_box(AT)
    ids = []
    for _ in range(4):
        for _ in range(2):
            ids.append(readoff(box, "SNAP").records.popitem()[1].id)
        box.boot(cold=False)
    assert len({ident.boot for ident in ids}) == 4
    assert [ident.ordinal for ident in ids] == [1, 2] * 4
    assert len({ident.agent_serial for ident in ids}) == 1


def test_a_damaged_boot_mark_is_not_trusted() -> None:
    box = agent_box(AT)
    first = readoff(box, "SNAP").records.popitem()[1]
    memory = box.on.engine.memory
    memory.put_word(0x4F4, memory.word(0x4F4) ^ 1)
    second = readoff(box, "SNAP").records.popitem()[1]
    assert [(record.values("boot") or {})["state"] for record in (first, second)] == ["fresh", "damaged"]
    assert second.id.boot != first.id.boot and second.id.ordinal == 1


def test_the_boot_mark_is_as_the_contract_has_it() -> None:
    box = agent_box(AT)
    record = readoff(box, "SNAP").records.popitem()[1]
    mark = box.on.engine.memory.read(0x40, 0xF0, 16)
    words = [int.from_bytes(mark[i : i + 2], "little") for i in range(0, 16, 2)]
    assert words[0] == 0x4F52 and sum(words) % 65536 == 0
    assert words[1] | words[2] << 16 == record.id.boot_nonce
    assert words[3] == record.id.ordinal
    assert words[4] | words[5] << 16 == record.id.agent_serial


# -- a spool that can't be written -----------------------------------------------------------------


def protected(drive: Drive) -> None:
    drive.write_protected = True


def not_ready(drive: Drive) -> None:
    drive.ready = False


def no_room(drive: Drive) -> None:
    drive.room = 700


@pytest.mark.parametrize(
    ("fault", "words"),
    [(protected, "is write-protected"), (not_ready, "not ready"), (no_room, "is full")],
    ids=["protected", "not ready", "full"],
)
def test_the_program_is_not_run_unless_the_spool_works(fault: Callable[[Drive], None], words: str) -> None:
    box = agent_box(AT)
    spool = Drive(removable=True)
    box = Box(AT, {"A": spool, "C": box.drive("C")})
    box.drive("C").write("WAYS.COM", (PROGRAMS / "WAYS.COM").read_bytes())
    box.boot(1)
    fault(spool)
    ran = readoff(box, "RUN /D:A:\\ WAYS 02", drive="A" if fault is not_ready else "C")
    assert ran.exit.code == EXIT_SPOOL
    assert words in ran.said
    assert "Ways: score" not in ran.said


def test_a_folder_that_is_not_there() -> None:
    box = agent_box(AT, "WAYS.COM")
    ran = readoff(box, "RUN /D:C:\\NOWHERE WAYS 02")
    assert (ran.exit.code, ran.records) == (EXIT_SPOOL, {})
    assert "is not there" in ran.said and "Ways: score" not in ran.said


def small_disk(free: int) -> tuple[Box, Drive]:
    box = agent_box(LATE, "BIGPRINT.COM")
    drive = box.drive("C")
    drive.capacity = drive.capacity - drive.free() + free // CLUSTER * CLUSTER
    return box, drive


@pytest.mark.parametrize("free", range(36_000, 44_000, 2_001))
def test_a_spool_that_fills_up_in_the_middle(free: int) -> None:
    """What fits is kept, from the beginning on; screen, run_end and END are always there."""
    box, _ = small_disk(free)
    ran = readoff(box, "RUN BIGPRINT 14000")
    end = end_of(ran.run)
    kept = console(ran.run)
    assert ran.run.completeness is Completeness.WHOLE
    assert (end["outcome"], end["set"]) == ("spool_failed", {"console_cut"})
    assert (end["console_octets"], end["console_kept"]) == (len(big_print(14_000)), len(kept))
    assert len(kept) > 4096
    assert big_print(14_000).startswith(kept)
    assert screen_rows(ran.run)[-1].startswith("Big print: 28000 octets")
    assert (captured_all(ran.run), ran.exit.code) == (0, EXIT_SPOOL)
    assert not [name for name in box.drive("C").list("*") if name.endswith("ROOM.RDX")]


def test_a_disk_error_at_any_write_is_told_and_what_was_kept_is_sound() -> None:
    """The n-th write fails once. Never a hang, never an unsound record, never a quiet loss."""
    healthy = agent_box(LATE, "BIGPRINT.COM")
    readoff(healthy, "SNAP")
    before = healthy.drive("C").accesses["write"]
    whole = readoff(healthy, "RUN BIGPRINT 6000").run
    writes = healthy.drive("C").accesses["write"] - before
    everything, outcomes = console(whole), set()
    for number in range(2, writes + 1, 7):
        box = agent_box(LATE, "BIGPRINT.COM")
        readoff(box, "SNAP")
        box.drive("C").fail_write(number)
        ran = readoff(box, "RUN BIGPRINT 6000")
        assert ran.exit.kind == "ended"
        for record in ran.of_kind("run"):
            assert everything.startswith(console(record))
            assert record.completeness is not Completeness.DAMAGED
            end = record.values("run_end")
            outcomes.add(end["outcome"] if end else "cut short")
            if ran.exit.code == EXIT_ALL:
                assert console(record) == everything and record.values("screen")
            else:
                assert ran.exit.code == EXIT_SPOOL and "Readoff: the spool" in ran.said
        if not ran.of_kind("run"):
            assert ran.exit.code == EXIT_SPOOL and "Big print" not in ran.said
    assert "spool_failed" in outcomes


# -- power cuts ------------------------------------------------------------------------------------


@pytest.mark.parametrize("spec", [XT, LATE], ids=lambda spec: spec.name)
def test_a_machine_that_hangs_leaves_an_opened_record(spec: object) -> None:
    source = "main: mov dx, text\n mov ah, 9\n int 21h\n.hang: jmp .hang\ntext: db 'on my way', 13, 10, '$'"
    box = agent_box(spec, HANGS=source)  # type: ignore[arg-type]
    box.cut_power_at(2.5)
    exit_ = box.run("C:\\READOFF.COM", "RUN /L:base HANGS")
    assert exit_.kind == "power cut"
    records = [parse_record(box.drive("C").read(name)) for name in record_names(box)]
    opened = next(record for record in records if record.kind == "run")
    assert opened.completeness is Completeness.CUT_SHORT
    assert [section.name for section in opened.sections][:2] == ["boot", "run_start"]
    assert (opened.values("run_start") or {})["label"] == "base"
    assert opened.values("run_end") is None
    box.boot(2)
    assert readoff(box, "SNAP").exit.code == EXIT_ALL


def test_power_cuts_anywhere_leave_sound_records() -> None:
    """Every record on the disk is whole or cut short, never damaged, and the next boot works."""
    whole = agent_box(LATE, "WAYS.COM")
    with whole.counting() as counted:
        readoff(whole, "RUN WAYS 02")
        total = counted()
    for cut in range(5_000, total, max(1, total // 12)):
        box = agent_box(LATE, "WAYS.COM")
        box.cut_power_after(cut)
        box.run("C:\\READOFF.COM", "RUN WAYS 02")
        for name in record_names(box):
            octets = box.drive("C").read(name)
            if octets:
                assert parse_record(octets).completeness is not Completeness.DAMAGED
        box.boot(2)
        assert readoff(box, "SNAP").exit.code == EXIT_ALL
