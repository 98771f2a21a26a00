"""Moving away: never over a file, never one that has changed, and the same to another disk."""

import hashlib
from pathlib import Path

import pytest

from readoff.arrivals.folders import FolderReader
from readoff.arrivals.moving import move_away
from readoff.errors import StoreError
from support.memory_intake import MemoryIntake
from support.records import a_record


def digest(octets):
    return hashlib.sha256(octets).digest()


@pytest.fixture(params=["same disk", "another disk"])
def disk(request, monkeypatch):
    if request.param == "another disk":

        def no_link(self, target):
            raise OSError(18, "Invalid cross-device link")

        monkeypatch.setattr(Path, "hardlink_to", no_link)
    return request.param


def test_names_that_repeat_get_numbers(tmp_path, disk):
    to = tmp_path / "to"
    for number in range(4):
        path = tmp_path / "A.RDO"
        path.write_bytes(bytes([number]))
        moved = move_away(path, to, Path("spool/A.RDO"), digest(bytes([number])))
        assert moved.read_bytes() == bytes([number])
        assert not path.exists()
    assert sorted(each.name for each in (to / "spool").iterdir()) == [
        "A-2.RDO",
        "A-3.RDO",
        "A-4.RDO",
        "A.RDO",
    ]


def test_what_has_changed_stays(tmp_path, disk):
    path = tmp_path / "A.RDO"
    path.write_bytes(b"longer now")
    with pytest.raises(OSError, match="changed"):
        move_away(path, tmp_path / "to", Path("A.RDO"), digest(b"longer"))
    assert path.read_bytes() == b"longer now"
    assert not (tmp_path / "to").exists()


def test_a_copy_that_fails_leaves_nothing(tmp_path, monkeypatch):
    def no_link(self, target):
        raise OSError(18, "Invalid cross-device link")

    def full(source, copy):
        copy.write(b"ha")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "hardlink_to", no_link)
    monkeypatch.setattr("shutil.copyfileobj", full)
    path = tmp_path / "A.RDO"
    path.write_bytes(b"half")
    with pytest.raises(OSError, match="No space"):
        move_away(path, tmp_path / "to", Path("A.RDO"), digest(b"half"))
    assert path.read_bytes() == b"half"
    assert list((tmp_path / "to").iterdir()) == []


def test_a_watched_folder_moves_after_the_commit_and_tries_again(tmp_path, monkeypatch):
    inbox, to = tmp_path / "inbox", tmp_path / "to"
    (inbox / "spool").mkdir(parents=True)
    path = inbox / "spool" / "A.RDO"
    path.write_bytes(a_record())
    intake, told = MemoryIntake(), []
    intake.failing = lambda: True
    reader = FolderReader(inbox, intake, told.append, recursive=True, settle=10.0, move_to=to)
    with pytest.raises(StoreError):
        intake.take(b"", "")
    for now in range(4):
        reader.look(float(now))
    assert path.exists()
    intake.failing = lambda: False
    to.write_bytes(b"a file is in the way")
    reader.look(5.0)
    assert intake.octets == [a_record()]
    assert path.exists()
    assert "taken, but not moved" in told[-1].what
    to.unlink()
    reader.look(6.0)
    assert not path.exists()
    assert (to / "spool" / "A.RDO").read_bytes() == a_record()
    assert len(intake.arrivals) == 1
