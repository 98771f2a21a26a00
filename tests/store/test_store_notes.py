"""Notes of testers: kept for good, taken back by a further note, there in stores from before there were any."""

from datetime import UTC, datetime

import pytest

from readoff.errors import UsageError
from readoff.store import find, keep, migrations, open_store
from readoff.store.boots import sent_files, shot_rows
from readoff.store.notes import add_note, notes, withdraw
from support import store_samples as samples
from support import study_records as records

NOW = datetime(2001, 2, 3, 4, 5, 6, tzinfo=UTC)


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "s.db") as opened:
        yield opened


def put(store, text, **more):
    values = {"machine": "desk", "label": "fast", "program": "", "what": "failure", "at": NOW} | more
    return add_note(store, text=text, **values)


def test_notes_stand_in_order_and_by_machine(store):
    put(store, "does not start")
    put(store, "hums", what="remark", program="replay")
    put(store, "elsewhere", machine="other")
    assert [(n.text, n.what, n.program) for n in notes(store, "desk")] == [
        ("does not start", "failure", ""),
        ("hums", "remark", "replay"),
    ]
    assert notes(store, "desk")[0].at == "2001-02-03T04:05:06+00:00"


def test_a_note_is_taken_back_and_both_are_kept(store):
    first = put(store, "does not start")
    assert withdraw(store, first, machine="desk", text="a loose card", at=NOW).text == "does not start"
    assert notes(store, "desk") == []
    assert store.db.execute("SELECT count(*) FROM notes").fetchone()[0] == 2
    for number, machine in ((first, "desk"), (first, "other"), (99, "desk")):
        with pytest.raises(UsageError, match="no note"):
            withdraw(store, number, machine=machine, text="again", at=NOW)


def test_notes_outlive_a_rereading(store):
    store.take(samples.run_record(), "a")
    put(store, "does not start")
    store.reread()
    assert len(notes(store, "desk")) == 1


def test_a_store_from_before_there_were_notes_gets_them(tmp_path, monkeypatch):
    path = tmp_path / "old.db"
    with monkeypatch.context() as older:
        for module in (migrations, keep):
            older.setattr(module, "MIGRATIONS", migrations.MIGRATIONS[:1])
        with open_store(path) as store:
            store.take(samples.run_record(), "a")
            assert migrations.version_of(store.db) == 1
    with open_store(path) as store:
        assert len(find.runs(store)) == 1
        assert put(store, "does not start") == 1


def test_snapshots_tell_how_their_boot_began(store):
    for nonce, more in ((1, {"warm": True}), (2, {}), (3, {"boot": False})):
        store.take(records.snapshot(nonce, "fast", **more), "a")
    assert [shot.warm for shot in shot_rows(store, ["fast"], [])] == [True, False, None]


def test_only_whole_files_have_a_digest(store):
    """SHA-256 of "abc": FIPS 180-2, appendix B.1."""
    store.take(samples.file_record(1, content=b"abc"), "a")
    store.take(samples.file_record(2, content=b"abc", size=4), "a")
    assert [
        (each.path, each.digest[:8]) for each in sent_files(store, [run.boot for run in find.runs(store)])
    ] == [("C:\\WAYS.OUT", "ba7816bf")]
