"""Gathering: nothing lost, nothing doubled, whoever gathers whom and how often; the other store untouched."""

import hashlib
import sqlite3
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readoff.errors import StoreError
from readoff.readings import load_schemas
from readoff.store import find, open_store
from readoff.store.check import check
from readoff.store.gather import gather
from readoff.store.notes import add_note, notes, withdraw
from support import store_samples as samples

SCHEMAS = load_schemas([("replay.toml", samples.SCHEMA)])
OCTETS = [
    samples.snapshot_record(),
    samples.run_record(2)[:-30],
    samples.run_record(2),
    samples.run_record(2, console=samples.printed("99.9")),
    samples.run_record(5) + samples.run_record(6),
    samples.run_record(5),
    samples.file_record(7),
    b"no record",
]


def at(day):
    return lambda: datetime(2001, 1, day, tzinfo=UTC)


def rows(store, sql):
    return store.db.execute(sql).fetchall()


SIGHTINGS = (
    "SELECT a.sha256, s.came_from, s.came_at FROM sightings s JOIN arrivals a ON a.number = s.arrival "
    "ORDER BY 1, 2, 3"
)


def filled(path, which, day=1):
    with open_store(path, SCHEMAS, now=at(day)) as store:
        for number in which:
            store.take(OCTETS[number], f"{path.stem} {number}")


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.integers(0, 7), max_size=10), st.lists(st.integers(0, 7), max_size=10))
def test_all_of_both_once(tmp_path_factory, one, other):
    tmp_path = tmp_path_factory.mktemp("gather")
    filled(tmp_path / "one.db", one, 1)
    filled(tmp_path / "other.db", other, 2)
    with open_store(tmp_path / "other.db") as store:
        theirs = rows(store, SIGHTINGS)
    before = hashlib.sha256((tmp_path / "other.db").read_bytes()).digest()
    with open_store(tmp_path / "one.db", SCHEMAS, now=at(9)) as store:
        ours = rows(store, SIGHTINGS)
        gathered = gather(store, tmp_path / "other.db")
        assert gathered.arrivals == len(set(other))
        assert gathered.new == len(set(other) - set(one))
        assert find.counts(store)["arrivals"] == len({*one, *other})
        assert set(rows(store, SIGHTINGS)) == {*ours, *theirs}
        counts, sightings = find.counts(store), rows(store, SIGHTINGS)
        again = gather(store, tmp_path / "other.db")
        assert (again.new, again.records, again.held) == (0, 0, 0)
        assert (find.counts(store), rows(store, SIGHTINGS)) == (counts, sightings)
        assert check(store).flaws == ()
        whole = [OCTETS[n] for n in {*one, *other} if n in (0, 2, 6)]
        assert len(whole) <= find.counts(store)["records"]
    assert hashlib.sha256((tmp_path / "other.db").read_bytes()).digest() == before


def test_history_and_notes_come_along_once(tmp_path):
    filled(tmp_path / "other.db", [1, 2, 3])
    with open_store(tmp_path / "other.db") as other:
        note = add_note(other, machine="m", label="l", program="", what="failure", text="hangs", at=at(3)())
        add_note(other, machine="m", label="l", program="", what="remark", text="warm", at=at(3)())
        withdraw(other, note, machine="m", text="the cable", at=at(4)())
        told = rows(other, "SELECT at, id, what, event FROM history ORDER BY number")
    assert {row[2] for row in told} == {"replaced", "held"}
    with open_store(tmp_path / "one.db", SCHEMAS, now=at(9)) as store:
        add_note(store, machine="m", label="l", program="", what="remark", text="ours", at=at(5)())
        assert gather(store, tmp_path / "other.db").notes == 3
        assert gather(store, tmp_path / "other.db").notes == 0
        assert sorted(each.text for each in notes(store, "m")) == ["ours", "warm"]
        assert rows(store, "SELECT at, id, what, event FROM history ORDER BY number") == told


def test_a_spoiled_arrival_is_left_out_and_named(tmp_path):
    filled(tmp_path / "other.db", [0, 2, 6])
    with sqlite3.connect(tmp_path / "other.db") as db:
        db.execute("UPDATE arrivals SET octets = X'00' WHERE number = 2")
    db.close()
    with open_store(tmp_path / "one.db", SCHEMAS) as store:
        gathered = gather(store, tmp_path / "other.db")
        assert [number for number, _ in gathered.spoiled] == [2]
        assert (gathered.arrivals, gathered.new) == (3, 2)
        assert find.counts(store)["records"] == 2


def test_what_is_no_store_or_newer_or_itself(tmp_path):
    filled(tmp_path / "other.db", [0])
    (tmp_path / "text.db").write_bytes(b"not a database, by its first octets")
    sqlite3.connect(tmp_path / "empty.db").close()
    newer = tmp_path / "newer.db"
    newer.write_bytes((tmp_path / "other.db").read_bytes())
    with sqlite3.connect(newer) as db:
        db.execute("PRAGMA user_version = 999")
    db.close()
    with open_store(tmp_path / "one.db", SCHEMAS) as store:
        (tmp_path / "second name.db").hardlink_to(tmp_path / "one.db")
        for name, match in (
            ("nowhere.db", "no store"),
            ("text.db", "not a store"),
            ("empty.db", "not a store"),
            ("newer.db", "version 999"),
            ("one.db", "into itself"),
            ("second name.db", "into itself"),
        ):
            with pytest.raises(StoreError, match=match):
                gather(store, tmp_path / name)
        assert find.counts(store)["arrivals"] == 0


def test_ended_in_the_middle_it_goes_on_the_next_time(tmp_path, monkeypatch):
    monkeypatch.setattr("readoff.store.keep.BATCH", 2)
    filled(tmp_path / "other.db", range(8))
    with open_store(tmp_path / "one.db", SCHEMAS) as store:
        right, calls = store._keep, iter(range(9))

        def fails_the_third_time(batch):
            if next(calls) == 2:
                raise StoreError("the disk is full")
            return right(batch)

        monkeypatch.setattr(store, "_keep", fails_the_third_time)
        with pytest.raises(StoreError, match="full"):
            gather(store, tmp_path / "other.db")
        assert find.counts(store)["arrivals"] == 4
        assert gather(store, tmp_path / "other.db").new == 4
        assert check(store).flaws == ()
