"""SEND: files as records of their own."""

from __future__ import annotations

from datetime import datetime

import pytest

from readoff.box import AT, LATE
from readoff.contract.record import Record
from support.agent_box import (
    EXIT_ALL,
    EXIT_MISSING,
    EXIT_SPOOL,
    agent_box,
    captured_all,
    readoff,
    record_names,
)

MOST = 1024 * 1024


def content(record: Record) -> bytes:
    return b"".join(section.values["octets"] for section in record.all("file_data") if section.values)


@pytest.mark.parametrize("size", [0, 1, 511, 4095, 4096, 4097, 32_768, 100_000])
def test_a_file_arrives_as_it_is(size: int) -> None:
    octets = bytes(i * 7 % 251 for i in range(size))
    box = agent_box(AT)
    box.drive("C").write("DATA\\A.LOG", octets, datetime(1994, 5, 31, 6, 22))
    ran = readoff(box, "SEND data\\a.log")
    (record,) = ran.records.values()
    assert (record.kind, captured_all(record), ran.exit.code) == ("file", 1, EXIT_ALL)
    assert content(record) == octets
    values = dict(record.values("file") or {})
    assert (values["name"], values["size"]) == ("data\\A.LOG", size)
    assert (values["date"], values["time"]) == (0x1CBF, 0x32C0)  # Microsoft's FAT specification, by construct
    assert [section.name for section in record.sections][:2] == ["boot", "file"]


def test_wildcards_and_several_patterns() -> None:
    box = agent_box(AT)
    for name in ("A1.LOG", "A2.LOG", "B.TXT", "C.DAT"):
        box.drive("C").write(name, name.encode())
    ran = readoff(box, "SEND A?.LOG *.TXT")
    assert [content(record) for record in ran.records.values()] == [b"A1.LOG", b"A2.LOG", b"B.TXT"]


def test_a_pattern_that_fits_nothing_is_named() -> None:
    box = agent_box(AT)
    box.drive("C").write("A.LOG", b"x")
    ran = readoff(box, "SEND NONE.* A.LOG")
    assert "NONE.* is not there" in ran.said
    assert (len(ran.records), ran.exit.code) == (1, EXIT_MISSING)


def test_records_of_the_spool_are_not_wrapped_again() -> None:
    box = agent_box(AT)
    readoff(box, "SNAP")
    (name,) = record_names(box)
    ran = readoff(box, "SEND *.RDO")
    assert ran.records == {} and ran.exit.code == EXIT_ALL
    assert f"{name} is a record already" in ran.said
    elsewhere = box.drive("C").read(name)
    box.drive("C").write("OTHER\\COPY.RDO", elsewhere)
    (record,) = readoff(box, "SEND OTHER\\*.*").records.values()
    assert content(record) == elsewhere


def test_a_record_that_is_cut_short_is_wrapped() -> None:
    box = agent_box(AT)
    readoff(box, "SNAP")
    (name,) = record_names(box)
    part = box.drive("C").read(name)[:-3]
    box.drive("C").write("PART.RDO", part)
    (record,) = readoff(box, "SEND PART.RDO").records.values()
    assert content(record) == part


def test_a_file_that_is_too_long_is_cut_and_says_so() -> None:
    octets = bytes(i * 11 % 253 for i in range(1_100_000))
    box = agent_box(LATE)
    box.drive("C").write("BIG.DAT", octets)
    ran = readoff(box, "SEND BIG.DAT")
    (record,) = ran.records.values()
    kept = content(record)
    assert len(record.octets) <= MOST and len(kept) > MOST - 8192
    assert octets.startswith(kept)
    assert (record.values("file") or {})["size"] == len(octets)
    assert (captured_all(record), ran.exit.code) == (0, EXIT_MISSING)
    assert "too long" in ran.said


def test_a_full_disk_stops_sending() -> None:
    box = agent_box(AT)
    box.drive("C").write("A.DAT", bytes(20_000))
    box.drive("C").room = 9_000
    ran = readoff(box, "SEND A.DAT")
    assert ran.exit.code == EXIT_SPOOL and "is full" in ran.said


def test_send_alone_offers_only_and_needs_no_line() -> None:
    ran = readoff(agent_box(AT), "SEND")
    assert (ran.exit.code, ran.records) == (EXIT_ALL, {})
