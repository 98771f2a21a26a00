"""A store that is only looked through: nothing can be written, pages and searches give what they should."""

import sqlite3

import pytest

from readoff.errors import StoreError, UsageError
from readoff.readings import load_schemas
from readoff.store import find, open_store
from readoff.store.browse import arrival_octets, data_version, open_to_read, run_labels, run_page
from support import store_samples as samples


@pytest.fixture
def path(tmp_path):
    with open_store(tmp_path / "readoff.db", load_schemas([("replay.toml", samples.SCHEMA)])) as store:
        for number in range(1, 8):
            start = {"label": "odd_%" if number % 2 else "even", "program": f"prog{number}"}
            store.take(samples.run_record(2, number, start=start), "line")
    return tmp_path / "readoff.db"


@pytest.fixture
def store(path):
    with open_to_read(path) as store:
        yield store


@pytest.mark.parametrize(
    "statement", ["DELETE FROM runs", "INSERT INTO pending VALUES (1)", "CREATE TABLE x (y)", "VACUUM"]
)
def test_nothing_can_be_written(store, statement):
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        store.db.execute(statement)


def test_where_there_is_no_store_none_is_made(tmp_path):
    with pytest.raises(StoreError, match="there is no store"):
        open_to_read(tmp_path / "none.db")
    assert list(tmp_path.iterdir()) == []


def test_other_databases_and_versions_are_refused(path, tmp_path):
    sqlite3.connect(tmp_path / "other.db").execute("CREATE TABLE x (y)").connection.close()
    with pytest.raises(StoreError, match="not a store"):
        open_to_read(tmp_path / "other.db")
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 1")
    with pytest.raises(StoreError, match="version 1"):
        open_to_read(path)


def test_what_another_connection_commits_is_noticed_and_seen(path, store):
    before = data_version(store)
    assert data_version(store) == before
    with open_store(path) as writer:
        writer.take(samples.run_record(2, 99), "line")
    assert data_version(store) != before
    assert run_page(store).total == 8


def test_pages_newest_first(store):
    first, second = run_page(store, limit=4), run_page(store, begin=4, limit=4)
    assert [run.number for run in (*first.runs, *second.runs)] == [7, 6, 5, 4, 3, 2, 1]
    assert first.total == second.total == 7
    assert run_page(store, begin=7).runs == ()


@pytest.mark.parametrize(
    ("words", "programs"),
    [
        ("EVEN", {"prog2", "prog4", "prog6"}),
        ("odd prog3", {"prog3"}),
        ("_%", {"prog1", "prog3", "prog5", "prog7"}),
        ("%", {"prog1", "prog3", "prog5", "prog7"}),
        ("o%d", set()),
        ("\\", {f"prog{n}" for n in range(1, 8)}),
    ],
)
def test_search(store, words, programs):
    found = run_page(store, words=words)
    assert {run.program for run in found.runs} == programs
    assert found.total == len(programs)


def test_filters(store):
    assert run_page(store, label="even").total == 3
    assert run_page(store, label="eve").total == 0
    assert run_page(store, label="even", state="complete", words="prog4").total == 1
    assert run_page(store, state="damaged").total == 0


def test_octets_of_an_arrival(store):
    record = samples.run_record(2, 1, start={"label": "odd_%", "program": "prog1"})
    assert arrival_octets(store, 1, 3, 10) == (record[3:13], len(record))
    with pytest.raises(UsageError, match="no arrival 77"):
        arrival_octets(store, 77, 0, 1)


def test_labels_as_the_slow_way_finds_them(path, store):
    with open_store(path) as writer:
        for number, label in enumerate(["", "a", "Z", "zz", "ü", "even"], 50):
            writer.take(samples.run_record(2, number, start={"label": label}), "line")
        writer.take(samples.file_record(3, 60), "line")
    assert run_labels(store) == [label for label in find.labels(store) if label]


def test_what_is_held_is_found_by_its_number_and_listed_a_page_at_a_time(tmp_path):
    with open_store(tmp_path / "held.db") as store:
        list(store.take_all((f"no record {n}".encode(), "a") for n in range(7)))
        every = find.held(store)
        assert len(every) == 7
        assert find.held_page(store, 0, 3) == every[:3:-1]
        assert find.held_page(store, 5, 3) == every[1::-1]
        assert find.held_page(store, 7, 3) == []
        assert [find.held_row(store, each.number) for each in every] == every
        assert [find.held_row(store, number) for number in (0, -1, 999, 1 << 70)] == [None] * 4
