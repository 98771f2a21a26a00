"""A store opened only to add: nothing that waits is read, nothing brought up to date, nothing else taken for one."""

import sqlite3

import pytest

from readoff.errors import StoreError
from readoff.store import find, open_store
from readoff.store.adding import open_to_add
from support import store_samples as samples


def test_what_waits_stays_for_who_has_the_schemas(tmp_path):
    path = tmp_path / "bench.db"
    with open_store(path) as store:
        store.take(samples.run_record(), "a")
        store.db.execute("INSERT INTO pending SELECT number FROM arrivals")
    with open_to_add(path) as store:
        assert store.db.execute("SELECT count(*) FROM pending").fetchone()[0] == 1
        assert len(find.runs(store)) == 1
    with open_store(path) as store:
        assert store.db.execute("SELECT count(*) FROM pending").fetchone()[0] == 0


def test_no_store_another_version_or_something_else(tmp_path):
    (tmp_path / "text.db").write_text("no store")
    sqlite3.connect(tmp_path / "empty.db").close()
    with open_store(tmp_path / "older.db") as store:
        store.db.execute("PRAGMA user_version = 1")
    for name, reason in (
        ("none.db", "no store"),
        ("text.db", "not a store"),
        ("empty.db", "not a store"),
        ("older.db", "version 1"),
    ):
        with pytest.raises(StoreError, match=reason):
            open_to_add(tmp_path / name)
    assert not (tmp_path / "none.db").exists()
