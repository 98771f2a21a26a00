"""One folder, look by look: real files, a clock of numbers."""

import os
import random
import threading

import pytest

from readoff.arrivals.folders import FILE_LIMIT, FolderReader
from readoff.arrivals.told import About, Note, Took
from readoff.arrivals.watched_folder import WatchedFolder
from support.memory_intake import MemoryIntake
from support.records import a_record

RECORD = a_record()


class Bench:
    """A reader, its folder, its intake, and a clock that moves one second a look."""

    def __init__(self, folder, **options):
        self.folder, self.intake, self.told, self.now = folder, MemoryIntake(), [], 0.0
        self.options = {"settle": 10.0, "deep_every": 1000.0, **options}
        self.reader = FolderReader(folder, self.intake, self.told.append, **self.options)

    def look(self, times=1, **options):
        for _ in range(times):
            self.now += 1
            self.reader.look(self.now, **options)

    def notes(self, about=About.FILE):
        return [each.what for each in self.told if isinstance(each, Note) and each.about is about]


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


def test_a_whole_record_is_taken_at_the_second_look_and_once(bench):
    path = bench.folder / "00000001.RDO"
    path.write_bytes(RECORD)
    bench.look()
    assert bench.intake.arrivals == []
    assert bench.reader.pending == 1
    bench.look(5)
    assert bench.intake.arrivals == [(RECORD, str(path))]
    assert bench.reader.pending == 0
    (took,) = bench.told
    assert isinstance(took, Took)
    assert took.octets == len(RECORD)
    assert (bench.reader.status.alive, bench.reader.status.records) == (True, 1)


def test_a_look_again_is_at_the_files_alone_that_hold_a_record(bench, monkeypatch):
    for number in range(20):
        (bench.folder / f"{number}.TXT").write_bytes(b"no record")
    whole, half = bench.folder / "A.RDO", bench.folder / "B.RDO"
    whole.write_bytes(RECORD)
    half.write_bytes(RECORD[:-5])
    bench.look()
    read, right = [], FolderReader._read
    monkeypatch.setattr(FolderReader, "_read", lambda self, path: (read.append(path), right(self, path))[1])
    bench.reader.look_again(2.0)
    assert sorted(read) == [str(whole), str(half)]
    assert bench.intake.arrivals == [(RECORD, str(whole))]
    half.write_bytes(a_record(2))
    bench.reader.look_again(3.0)
    bench.reader.look_again(4.0)
    assert read[2:] == [str(half)] * 2
    assert bench.intake.octets == [RECORD, a_record(2)]
    assert bench.reader.waiting == [] and bench.reader.pending == 20
    half.unlink()
    bench.reader.look_again(5.0)
    assert len(read) == 4


def test_while_a_slow_folder_rests_its_records_are_taken(bench, monkeypatch):
    """After a look that took an hour there is none for three."""
    right, taken = WatchedFolder._look, threading.Event()
    monkeypatch.setattr(WatchedFolder, "_look", lambda self: right(self) and 3600.0)

    def told(what):
        if isinstance(what, Took):
            taken.set()

    (bench.folder / "A.RDO").write_bytes(RECORD)
    watched = WatchedFolder(FolderReader(bench.folder, bench.intake, told), told, recursive=False)
    watched.start()
    try:
        assert taken.wait(60)
    finally:
        watched.stop()
        watched.join(60)
    assert not watched.is_alive()


def test_a_file_that_grows_octet_by_octet_is_taken_when_it_is_whole(bench):
    path = bench.folder / "A.RDO"
    for length in range(1, len(RECORD) + 1):
        path.write_bytes(RECORD[:length])
        bench.look()
    assert bench.intake.arrivals == []
    bench.look()
    assert bench.intake.octets == [RECORD]


@pytest.mark.parametrize("length", [40, len(RECORD) - 1])
def test_what_stays_cut_short_is_taken_as_it_is_then_the_rest_is_another_arrival(bench, length):
    path = bench.folder / "A.RDO"
    path.write_bytes(RECORD[:length])
    bench.look(10)
    assert bench.intake.arrivals == []
    bench.look()
    assert bench.intake.octets == [RECORD[:length]]
    path.write_bytes(RECORD)
    bench.look(2)
    assert bench.intake.octets == [RECORD[:length], RECORD]


def test_every_truncation_settles_to_an_arrival_or_to_an_ignored_file(bench):
    for length in range(len(RECORD)):
        (bench.folder / f"{length:08}.RDO").write_bytes(RECORD[:length])
    bench.look(12)
    assert sorted(bench.intake.octets) == [RECORD[:length] for length in range(4, len(RECORD))]
    assert bench.notes() == [
        f"{bench.folder / f'{length:08}.RDO'}: ignored: there is no record in it" for length in range(4)
    ]


def test_same_name_size_and_time_but_other_octets_is_another_arrival(bench):
    path = bench.folder / "A.RDO"
    other = a_record(2)
    assert len(other) == len(RECORD)
    for octets in (RECORD, other):
        path.write_bytes(octets)
        os.utime(path, (315_532_800, 315_532_800))  # 1980-01-01, a clock without a battery
        bench.look(2)
    assert bench.intake.octets == [RECORD, other]


def test_a_file_whose_marks_lie_is_found_by_the_deep_look_and_by_a_hint(tmp_path, monkeypatch):
    """A share that keeps inode, size and times while the octets change."""
    monkeypatch.setattr("readoff.arrivals.folders._mark", lambda found: (1, 1, 1, 1))
    bench = Bench(tmp_path, deep_every=20.0)
    path = tmp_path / "A.RDO"
    path.write_bytes(RECORD)
    bench.look(3)
    path.write_bytes(a_record(2))
    bench.look(3)
    assert bench.intake.octets == [RECORD]
    bench.look(2, hinted={str(path)})
    assert len(bench.intake.arrivals) == 2
    path.write_bytes(a_record(3))
    bench.look(20)
    assert len(bench.intake.arrivals) == 3


def test_the_same_octets_under_two_names_are_taken_once(bench):
    (bench.folder / "A.RDO").write_bytes(RECORD)
    (bench.folder / "B.RDO").write_bytes(RECORD)
    bench.look(4)
    assert bench.intake.octets == [RECORD]


def test_folders_in_it_are_looked_into_when_asked_for(tmp_path):
    (tmp_path / "one" / "two").mkdir(parents=True)
    (tmp_path / "one" / "two" / "A.RDO").write_bytes(RECORD)
    flat, deep = Bench(tmp_path), Bench(tmp_path, recursive=True)
    flat.look(3)
    deep.look(3)
    assert (flat.intake.octets, deep.intake.octets) == ([], [RECORD])


def test_a_file_without_a_record_is_ignored_with_one_note(bench):
    (bench.folder / "README.TXT").write_bytes(b"hello")
    (bench.folder / "SERIAL.RDO").write_bytes(b"\x44\x33\x22\x11")
    bench.look(40)
    assert bench.notes() == [f"{bench.folder / 'README.TXT'}: ignored: there is no record in it"]
    assert bench.reader.pending == 0


def test_a_thousand_files_without_a_record_are_one_note(bench):
    for number in range(1000):
        (bench.folder / f"{number}.TXT").write_bytes(str(number).encode())
    bench.look(20)
    (note,) = bench.notes()
    assert note.startswith("1000 files are ignored")


def test_a_record_after_other_octets_and_records_strung_together_are_arrivals(bench):
    octets = b"noise" + RECORD + a_record(2)
    (bench.folder / "ALL.BIN").write_bytes(octets)
    bench.look(2)
    assert bench.intake.octets == [octets]


def test_a_folder_that_is_not_there_is_told_once_and_found_when_it_comes(tmp_path):
    folder = tmp_path / "card"
    bench = Bench(folder)
    bench.look(3)
    assert not bench.reader.status.alive
    assert len(bench.notes(About.SOURCE)) == 1
    folder.mkdir()
    (folder / "A.RDO").write_bytes(RECORD)
    bench.look(2)
    assert bench.reader.status.alive
    assert bench.notes(About.SOURCE)[1].endswith("can be read again")
    assert bench.intake.octets == [RECORD]


def test_a_file_that_cannot_be_read_is_told_once_and_taken_when_it_can(bench, monkeypatch):
    path = bench.folder / "A.RDO"
    path.write_bytes(RECORD)
    real_open = os.open

    def locked(name, *args, **options):
        if name == str(path):
            raise PermissionError(13, "Permission denied", name)
        return real_open(name, *args, **options)

    monkeypatch.setattr("readoff.arrivals.folders.os.open", locked)
    bench.look(3)
    assert bench.notes() == [f"{path}: it cannot be read now (Permission denied)"]
    monkeypatch.undo()
    bench.look(2)
    assert bench.intake.octets == [RECORD]


def test_pipes_links_to_nothing_and_loops_of_folders_are_passed_over(tmp_path):
    os.mkfifo(tmp_path / "PIPE.RDO")
    (tmp_path / "NOTHING.RDO").symlink_to(tmp_path / "not there")
    (tmp_path / "loop").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "A.RDO").write_bytes(RECORD)
    bench = Bench(tmp_path, recursive=True)
    bench.look(3)
    assert bench.intake.octets == [RECORD]


def test_a_file_that_is_too_long_is_told_once_and_not_read(bench):
    with (bench.folder / "IMAGE.BIN").open("wb") as file:
        file.truncate(FILE_LIMIT + 1)
    bench.look(3)
    (note,) = bench.notes()
    assert "IMAGE.BIN: ignored: it has" in note
    assert bench.reader.status.octets == 0


def test_what_the_store_cannot_keep_is_tried_again(bench):
    (bench.folder / "A.RDO").write_bytes(RECORD)
    bench.intake.failing = lambda: True
    bench.look(5)
    (note,) = bench.notes(About.STORE)
    assert "the disk is full" in note
    bench.intake.failing = lambda: False
    bench.look()
    assert bench.intake.octets == [RECORD]


def test_the_folder_is_never_changed(bench):
    for number in range(5):
        (bench.folder / f"{number}.RDO").write_bytes(a_record(number)[: 30 + 40 * number])
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in bench.folder.iterdir()}
    bench.look(20)
    assert len(bench.intake.arrivals) == 5
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in bench.folder.iterdir()} == before


@pytest.mark.parametrize("seed", range(8))
def test_whatever_files_do_each_last_state_is_taken(tmp_path, seed):
    """Files appear, grow, are replaced, renamed and deleted between looks; in the end, what lies there was taken."""
    draw = random.Random(seed)
    bench = Bench(tmp_path, settle=5.0, deep_every=50.0)
    for step in range(60):
        path = tmp_path / f"{draw.randrange(6)}.RDO"
        octets = a_record(draw.randrange(20), draw.randbytes(30))
        what = draw.randrange(5)
        if what == 0:
            path.write_bytes(octets[: draw.randrange(30, len(octets))])
        elif what == 1:
            path.write_bytes(octets)
        elif what == 2 and path.exists():
            path.rename(tmp_path / f"{draw.randrange(6)}.RDO")
        elif what == 3 and path.exists():
            path.unlink()
        elif what == 4 and path.exists():
            with path.open("ab") as file:
                file.write(draw.randbytes(5))
        if step % 2:
            bench.look()
    bench.look(60)
    lying = {path.read_bytes() for path in tmp_path.iterdir()}
    assert lying <= set(bench.intake.octets)
    assert len(set(bench.intake.octets)) == len(bench.intake.octets)
