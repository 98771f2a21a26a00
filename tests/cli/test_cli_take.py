"""readoff take and watch: disk images, and files moved away once they were taken."""

import errno
import os
import subprocess

import pytest

from readoff.arrivals.images import FILE_LIMIT
from readoff.errors import StoreError
from readoff.store import Store
from support import store_samples as samples
from support.commands import answer, run
from support.floppies import a_floppy


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder to work in, with an inbox of 18 records and two files that are none."""
    monkeypatch.chdir(tmp_path)
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    for nonce in range(1, 7):
        (inbox / f"S{nonce}.RDO").write_bytes(samples.snapshot_record(1, nonce))
        for repeat in (1, 2):
            octets = samples.run_record(1 + repeat, nonce, start={"repeat": repeat})
            (inbox / f"R{nonce}{repeat}.RDO").write_bytes(octets)
    (inbox / "SERIAL.RDO").write_bytes(b"\x44\x33\x22\x11")
    (inbox / "AUTOEXEC.BAT").write_bytes(b"@ECHO OFF\r\n")
    return tmp_path


def test_take_a_disk_image_by_name_and_in_a_folder(bench):
    record = samples.run_record(9, 9)
    (bench / "inbox" / "DISK1.IMG").write_bytes(a_floppy({"A.RDO": record, "NOTE.TXT": b"no record"}))
    (bench / "EMPTY.IMG").write_bytes(a_floppy({"NOTE.TXT": b"no record"}))
    got = answer("take", "inbox/DISK1.IMG", "EMPTY.IMG")
    assert [each["path"] for each in got["taken"]] == ["inbox/DISK1.IMG: A.RDO"]
    assert got["ignored"] == ["EMPTY.IMG"]
    assert "19 files taken: 18 records new, 1 known already" in run("take", "inbox").output


def test_take_a_hard_disk_of_any_size_and_say_what_is_too_large(bench):
    """A FAT16 volume made by mtools (Debian package mtools, GNU), longer than the longest file of records."""
    sectors = (FILE_LIMIT + (8 << 20)) // 512
    with (bench / "DISK.IMG").open("wb") as file:
        file.truncate(sectors * 512)
    shape = ["-T", str(sectors), "-h", "16", "-s", "63", "-c", "8"]
    subprocess.run(["mformat", "-i", "DISK.IMG", *shape, "::"], check=True)
    subprocess.run(["mcopy", "-i", "DISK.IMG", "inbox/R11.RDO", "inbox/AUTOEXEC.BAT", "::"], check=True)
    with (bench / "LARGE.RDO").open("wb") as file:
        file.truncate(FILE_LIMIT + 1)
    got = answer("take", "DISK.IMG", "LARGE.RDO", "--move-to", "done", status=1)
    assert [each["path"] for each in got["taken"]] == ["DISK.IMG: R11.RDO"]
    assert [each["reason"] for each in got["unread"]] == [
        f"{FILE_LIMIT + 1} octets are too many for records, and it is no disk image"
    ]
    assert (bench / "done" / "DISK.IMG").exists()


def test_a_folder_that_cannot_be_read_is_named(bench, monkeypatch):
    (bench / "inbox" / "closed").mkdir()
    scandir = os.scandir

    def refusing(path):
        if str(path).endswith("closed"):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refusing)
    told = run("take", "inbox", status=1).output
    assert "inbox/closed: the folder cannot be read (Permission denied)" in told
    assert "18 files taken" in told


def test_take_moves_what_was_taken_and_nothing_else(bench):
    (bench / "inbox" / "TWO.IMG").write_bytes(
        a_floppy({"A.RDO": samples.run_record(9, 9), "B.RDO": samples.run_record(8, 9)})
    )
    (bench / "gone").mkdir()
    (bench / "gone" / "R11.RDO").write_bytes(b"older")
    before = {path.name: path.read_bytes() for path in (bench / "inbox").iterdir()}
    assert "19 files moved" in run("take", "inbox", "--move-to", "gone").output
    assert sorted(path.name for path in (bench / "inbox").iterdir()) == ["AUTOEXEC.BAT", "SERIAL.RDO"]
    assert (bench / "gone" / "R11.RDO").read_bytes() == b"older"
    assert (bench / "gone" / "R11-2.RDO").read_bytes() == before["R11.RDO"]
    assert (bench / "gone" / "TWO.IMG").read_bytes() == before["TWO.IMG"]


def test_a_store_in_the_folder_does_not_take_itself(bench):
    for _ in range(3):
        assert run("take", "inbox", "--store", "inbox/own.db").output.startswith("18 files taken: ")
        told = run("watch", "--folder", "inbox", "--until-idle", "0.3", "--store", "inbox/own.db").output
        assert "own.db:" not in told
    got = answer("store", "check", "--store", "inbox/own.db")
    assert got["checked"]["arrivals"] == 18
    told = run("take", "inbox/own.db", "--store", "other.db", status=1).output
    assert "inbox/own.db: is a store's file; what a store keeps comes over with: readoff gather" in told


def test_names_that_are_no_text_are_shown_as_escapes(bench):
    odd = bench / "inbox" / os.fsdecode(b"\xff bad\nname.RDO")
    odd.write_bytes(samples.run_record(9, 9, console=b"Kiln: 5\r\n"))
    told = run("take", "inbox", status=1).output
    assert "inbox/\\udcff bad\\nname.RDO:\n" in told
    assert "from inbox/\\udcff bad\\nname.RDO, " in run("held", status=1).output
    told = run("watch", "--folder", "inbox", "--until-idle", "0.3", "--store", "other.db", status=1).output
    assert "! inbox/\\udcff bad\\nname.RDO: held: " in told
    assert "readoff: not\\nhere: there is no such file" in run("take", "not\nhere", status=2).stderr


def test_what_is_no_file_or_empty_is_named(bench):
    os.mkfifo("pipe")
    for each in ("pipe", "/dev/null"):
        assert f"{each}: it is neither a file nor a folder" in run("take", each, status=2).stderr
    (bench / "NONE.RDO").touch()
    assert "NONE.RDO: is empty" in run("take", "NONE.RDO", status=1).output
    assert answer("take", "NONE.RDO", status=1)["unread"] == [{"path": "NONE.RDO", "reason": "is empty"}]


def test_nothing_is_moved_when_nothing_was_kept(bench, monkeypatch):
    def full(*_):
        raise StoreError("the disk is full")

    monkeypatch.setattr(Store, "_keep", full)
    assert "the disk is full" in run("take", "inbox", "--move-to", "gone", status=3).stderr
    assert len(list((bench / "inbox").iterdir())) == 20
    assert not (bench / "gone").exists()


@pytest.mark.parametrize("command", [("take", "inbox"), ("watch", "--folder", "inbox")])
def test_not_moved_into_what_is_taken(bench, command):
    assert "it lies in inbox" in run(*command, "--move-to", "inbox/done", status=2).stderr


def test_watch_moves_what_was_taken(bench):
    assert (
        "Done: 18 new."
        in run("watch", "--folder", "inbox", "--until-idle", "0.3", "--move-to", "gone").output
    )
    assert sorted(path.name for path in (bench / "inbox").iterdir()) == ["AUTOEXEC.BAT", "SERIAL.RDO"]
    assert len(list((bench / "gone").iterdir())) == 18


def test_floppies_of_one_machine_repeat_names_dates_and_sizes(bench):
    """Every disk begins its names anew, its clock stands at 1980, its records have one length: each is taken, once."""
    for disk in range(1, 5):
        folder = bench / f"disk{disk}"
        folder.mkdir()
        for name, octets in {
            "00010001.RDO": samples.snapshot_record(1, 40 + disk),
            "00010002.RDO": samples.run_record(2, 40 + disk),
        }.items():
            (folder / name).write_bytes(octets)
            os.utime(folder / name, (315_532_800, 315_532_800))  # 1 January 1980, UTC
    disks = [f"disk{disk}" for disk in range(1, 5)]
    assert "8 records new" in run("take", *disks).output
    assert "8 known already" in run("take", *disks).output
    assert {each["dos_time"] for each in answer("runs")["runs"]} == {answer("runs")["runs"][0]["dos_time"]}


def test_a_folder_that_may_only_be_read_is_taken_and_left_as_it_is(bench):
    inbox = bench / "inbox"
    before = {path.name: (path.stat().st_mtime_ns, path.read_bytes()) for path in inbox.iterdir()}
    for path in inbox.iterdir():
        path.chmod(0o444)
    inbox.chmod(0o555)
    try:
        stood = inbox.stat().st_mtime_ns
        assert "18 records new" in run("take", "inbox").output
        assert inbox.stat().st_mtime_ns == stood
        assert {path.name: (path.stat().st_mtime_ns, path.read_bytes()) for path in inbox.iterdir()} == before
    finally:
        inbox.chmod(0o755)
