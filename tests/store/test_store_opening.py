"""Opening: refusals leave the file as it was; migrations; where the log may lie."""

import hashlib
import sqlite3

import pytest

from readoff.errors import StoreError
from readoff.store import find, keep, migrations, open_store
from readoff.store.sqlite import connect, on_network
from support import store_samples as samples

RUN = samples.run_record()


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def refused(path, match, **more):
    before = digest(path) if path.is_file() else None
    with pytest.raises(StoreError, match=match):
        open_store(path, **more)
    assert (digest(path) if path.is_file() else None) == before


def test_a_newer_store_is_refused_and_untouched(tmp_path):
    path = tmp_path / "s.db"
    with open_store(path) as store:
        store.take(RUN, "a")
        store.db.execute(f"PRAGMA user_version = {len(migrations.MIGRATIONS) + 1}")
    refused(path, "newer than this program")


def test_a_text_file_is_no_store(tmp_path):
    path = tmp_path / "s.db"
    path.write_text("notes about the bench, not a store")
    refused(path, "not a store of Readoff")


def test_another_programs_database_is_no_store(tmp_path):
    path = tmp_path / "s.db"
    with sqlite3.connect(path) as conn:
        conn.execute("CREATE TABLE recipes (name)")
    conn.close()
    refused(path, "a database, but not a store of Readoff")


def test_a_folder_is_no_store(tmp_path):
    refused(tmp_path, "a folder")


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(StoreError, match="cannot be opened"):
        open_store(tmp_path / "nowhere" / "s.db")


def test_looking_makes_no_store(tmp_path):
    with pytest.raises(StoreError, match="no store"):
        open_store(tmp_path / "s.db", create=False)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "empty.db").touch()
    refused(tmp_path / "empty.db", "empty", create=False)


def test_a_damaged_store_is_told(tmp_path):
    path = tmp_path / "s.db"
    with open_store(path) as store:
        for number in range(40):
            store.take(samples.run_record(number), "a")
    octets = bytearray(path.read_bytes())
    octets[4096:] = b"\xff" * (len(octets) - 4096)
    path.write_bytes(octets)
    with pytest.raises(StoreError, match="damaged"), open_store(path) as store:
        find.runs(store)


def test_a_new_store_is_marked_and_logged(tmp_path):
    with open_store(tmp_path / "s.db") as store:
        marks = [
            store.db.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("application_id", "user_version", "journal_mode", "foreign_keys", "synchronous")
        ]
    assert marks == [0x524F6666, len(migrations.MIGRATIONS), "wal", 1, 2]


def test_a_migration_that_fails_leaves_the_version_before_it(tmp_path, monkeypatch):
    path = tmp_path / "s.db"
    with open_store(path) as store:
        store.take(RUN, "a")

    def fails(db):
        db.execute("CREATE TABLE half_done (x)")
        raise sqlite3.OperationalError("no more")

    def works(db):
        db.execute("CREATE TABLE done (x)")

    so_far = migrations.MIGRATIONS
    for steps in ((*so_far, fails), (*so_far, works)):
        monkeypatch.setattr(migrations, "MIGRATIONS", steps)
        monkeypatch.setattr(keep, "MIGRATIONS", steps)
        if fails in steps:
            with pytest.raises(StoreError):
                open_store(path)
        else:
            open_store(path).close()
    db = connect(path)
    assert db.table_names() == sorted(db.table_names(), key=db.table_names().index)
    assert "done" in db.table_names()
    assert "half_done" not in db.table_names()
    assert migrations.version_of(db) == len(so_far) + 1
    assert migrations.pending(db) == ()
    db.close()


def test_pending_only_reads(tmp_path):
    path = tmp_path / "s.db"
    db = connect(path)
    assert migrations.pending(db) == migrations.MIGRATIONS
    assert path.stat().st_size == 0
    db.close()


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("/home/bench/s.db", False),
        ("/mnt/club/s.db", True),
        ("/mnt/clubhouse/s.db", False),
        ("/mnt/my share/s.db", True),
        ("/mnt/club/local/s.db", False),
    ],
)
def test_network_file_systems_are_known(tmp_path, path, expected):
    mounts = (
        "/dev/sda1 / ext4 rw 0 0\nhost:/x /mnt/club nfs4 rw 0 0\n//host/y /mnt/my\\040share cifs rw 0 0\n"
        "/dev/sdb1 /mnt/club/local ext4 rw 0 0\nodd line\n"
    )
    assert on_network(type(tmp_path)(path), mounts) is expected


def test_on_a_network_there_is_no_write_ahead_log(tmp_path, monkeypatch):
    monkeypatch.setattr("readoff.store.sqlite.on_network", lambda path, mounts=None: True)
    with open_store(tmp_path / "s.db") as store:
        store.take(RUN, "a")
        assert store.db.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
    assert [each.name for each in tmp_path.iterdir()] == ["s.db"]


def test_a_store_that_was_moved_to_a_network_leaves_its_log(tmp_path, monkeypatch):
    open_store(tmp_path / "s.db").close()
    monkeypatch.setattr("readoff.store.sqlite.on_network", lambda path, mounts=None: True)
    with open_store(tmp_path / "s.db") as store:
        assert store.db.execute("PRAGMA journal_mode").fetchone()[0] == "delete"


def test_schemas_are_fetched_only_when_something_is_to_be_read(tmp_path):
    path = tmp_path / "s.db"
    open_store(path).close()

    def never():
        raise AssertionError("nothing needs a schema here")

    with open_store(path, never, create=False) as store:
        assert find.runs(store) == []
