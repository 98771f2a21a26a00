"""Deaths between the two transactions, two writers at once, mistakes of our own, and thousands at once."""

import multiprocessing
import os
import sqlite3
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from readoff.errors import StoreError
from readoff.readings import load_schemas
from readoff.store import find, keep, open_store
from readoff.store.derive import Deriving
from support import store_samples as samples

SCHEMAS = load_schemas([("replay.toml", samples.SCHEMA)])
RUN = samples.run_record()
HOST = Path(keep.__file__).resolve().parents[2]
TESTS = Path(samples.__file__).resolve().parents[1]

DIES = """
    import os, sys
    from readoff.readings import load_schemas
    from readoff.store import open_store
    from readoff.store import keep
    from readoff.store.keep import Store
    from readoff.store.derive import Deriving
    from support import store_samples as samples

    def die(*_):
        os._exit(9)

    store = open_store(sys.argv[1], load_schemas([("replay.toml", samples.SCHEMA)]))
    {where} = die
    store.take(samples.run_record(), "line")
"""


def python(code, *arguments):
    environment = {**os.environ, "PYTHONPATH": f"{HOST}{os.pathsep}{TESTS}"}
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), *arguments],
        env=environment,
        check=False,
        capture_output=True,
        timeout=60,
    )


@pytest.mark.parametrize(
    "where",
    ["Store.catch_up", "Deriving._content", "Deriving._readings", "keep.results"],
    ids=["between", "while deriving", "before readings", "after both"],
)
def test_a_death_after_kept_loses_nothing(tmp_path, where):
    path = tmp_path / "s.db"
    done = python(DIES.format(where=where), str(path))
    assert done.returncode == 9, done.stderr.decode()
    raw = sqlite3.connect(path)
    assert raw.execute("SELECT octets FROM arrivals").fetchall() == [(RUN,)]
    raw.close()
    with open_store(path, SCHEMAS) as store:
        assert [(each.state, each.readings) for each in find.runs(store)] == [("complete", 3)]
        assert store.take(RUN, "line").known == (samples.ident(),)
        assert find.counts(store)["readings"] == 3


def test_a_death_before_kept_keeps_nothing_and_says_nothing(tmp_path):
    path = tmp_path / "s.db"
    assert python(DIES.format(where="Store._keep_rows"), str(path)).returncode == 9
    with open_store(path, SCHEMAS) as store:
        assert find.counts(store)["arrivals"] == 0
        assert store.take(RUN, "line").new == (samples.ident(),)


def test_a_disk_that_fills_up_between_the_two_keeps_the_octets(tmp_path, monkeypatch):
    with open_store(tmp_path / "s.db", SCHEMAS) as store:
        right = Deriving.arrival

        def full(*_):
            raise sqlite3.OperationalError("database or disk is full")

        monkeypatch.setattr(Deriving, "arrival", full)
        result = store.take(RUN, "line")
        assert "kept, but not read yet" in result.held[0].reason
        assert find.counts(store) | {"arrivals": 1, "records": 0} == find.counts(store)
        monkeypatch.setattr(Deriving, "arrival", right)
        store.take(samples.run_record(9), "line")
        assert [each.readings for each in find.runs(store)] == [3, 3]


def test_a_mistake_of_ours_is_held_and_stands_in_nobodys_way(tmp_path, monkeypatch):
    with open_store(tmp_path / "s.db", SCHEMAS) as store:
        right = Deriving._content

        def wrong(self, placed):
            if placed.record.id == samples.ident():
                raise KeyError("a mistake")
            right(self, placed)

        monkeypatch.setattr(Deriving, "_content", wrong)
        result = store.take(RUN, "line")
        assert "this program failed on it" in result.held[0].reason
        store.take(samples.run_record(9), "line")
        assert [each.id for each in find.runs(store)] == [str(samples.ident(9))]
        monkeypatch.setattr(Deriving, "_content", right)
        store.reread()
        assert [each.readings for each in find.runs(store)] == [3, 3]
        assert find.held(store) == []


def test_a_locked_store_is_told_and_nothing_is_called_kept(tmp_path):
    path = tmp_path / "s.db"
    with open_store(path, SCHEMAS, busy=1) as store:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match=r"locked.*NOT kept"):
            store.take(RUN, "a")
        other.execute("ROLLBACK")
        other.close()
        assert store.take(RUN, "a").new == (samples.ident(),)


def _writer(path, first, barrier):
    with open_store(path, SCHEMAS) as store:
        barrier.wait()
        for number in range(first, first + 60):
            whole = samples.run_record(number)
            store.take(whole[:-30], f"{os.getpid()} cut")
            store.take(whole, f"{os.getpid()} whole")


def test_two_writers_at_once(tmp_path):
    """Each takes 60 records, twenty of them the same, each first cut short; both open a new store at once."""
    path = tmp_path / "s.db"
    context = multiprocessing.get_context("spawn")
    barrier = context.Barrier(2)
    workers = [context.Process(target=_writer, args=(path, first, barrier)) for first in (1, 41)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
        assert worker.exitcode == 0
    with open_store(path, SCHEMAS) as store:
        runs = find.runs(store)
        assert sorted(each.id for each in runs) == [str(samples.ident(number)) for number in range(1, 101)]
        assert {(each.state, each.readings) for each in runs} == {("complete", 3)}
        assert find.counts(store)["arrivals"] == 200
        assert find.held(store) == []
        changes = store.reread()
        assert (changes.gone, changes.new) == ((), ())


def test_ten_thousand_records_cost_a_bounded_number_of_statements(tmp_path):
    count = 10_000
    with open_store(tmp_path / "s.db", SCHEMAS) as store:
        seen = {"all": 0, "begin": 0}

        def trace(statement):
            seen["all"] += 1
            seen["begin"] += statement.startswith("BEGIN")

        store.db.conn.set_trace_callback(trace)
        arrivals = ((samples.run_record(n % 5000 + 1, nonce=n // 5000), f"{n}.RDO") for n in range(count))
        results = list(store.take_all(arrivals))
        store.db.conn.set_trace_callback(None)
        assert sum(len(each.new) for each in results) == count
        assert find.counts(store)["runs"] == count
        # Two transactions a batch. A record costs its own rows (some thirteen), four questions, and a share of the
        # batch's, however many records there are already.
        assert seen["begin"] <= 2 * (count // keep.BATCH + 1)
        assert seen["all"] <= 20 * count
        plans = store.db.execute("EXPLAIN QUERY PLAN SELECT number FROM records WHERE id = 'x'").fetchall()
        assert all("SCAN" not in row[3] for row in plans)


def test_what_waits_is_read_in_the_order_in_which_it_came(tmp_path):
    """Two programs kept two records under one id before either was read: the first stands, whoever reads."""
    with open_store(tmp_path / "s.db", SCHEMAS) as store:
        other = samples.run_record(console=samples.printed("99.9"))
        store._keep([keep.Incoming(RUN, "one"), keep.Incoming(other, "two")])
        assert store.catch_up() == 2
        assert {row.value for row in find.readings(store) if row.metric == "rate"} == {"72.9"}
        assert [row.came_from for row in find.held(store)] == ["two"]


def test_large_arrivals_end_a_batch_early(tmp_path):
    sizes = []
    with open_store(tmp_path / "s.db", SCHEMAS) as store:
        right = store._take_batch
        store._take_batch = lambda batch: sizes.append(len(batch)) or right(batch)
        arrivals = [(bytes(1 << 20) + bytes([n]), str(n)) for n in range(20)]
        assert len(list(store.take_all(arrivals))) == 20
    assert sizes == [16, 4]


def test_reread_changes_nothing_where_nothing_changed(tmp_path):
    with open_store(tmp_path / "s.db", SCHEMAS) as store:
        for octets in (
            RUN[:90],
            b"noise",
            RUN,
            samples.run_record(console=b"else"),
            samples.snapshot_record(),
        ):
            store.take(octets, "a")
        before = _all_rows(store, but={"arrivals", "sightings"})
        store.reread()
        assert _all_rows(store, but={"arrivals", "sightings"}) == before


def _all_rows(store, but=frozenset()):
    """All rows of all tables."""
    tables = {row[0] for row in store.db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    assert {"arrivals", "records", "readings", "holds", "history"} <= tables
    return {
        name: sorted(store.db.execute(f"SELECT * FROM {name}").fetchall(), key=repr) for name in tables - but
    }


def test_a_batch_comes_to_the_same_as_one_by_one(tmp_path):
    """Cut copies before and after whole ones, two records under one id, a file that grew, all within one batch."""
    grown = b"noise at the beginning" + RUN
    arrivals = [
        (RUN[:90], "line"),
        (samples.snapshot_record(), "line"),
        (RUN, "line"),
        (RUN[:200], "line"),
        (samples.run_record(console=samples.printed("99.9")), "line"),
        (b"noise", "grows"),
        (grown[:5], "grows too"),
        (grown, "grows too"),
        (RUN, "again"),
        (samples.run_record(5) + samples.run_record(6) + samples.run_record(5), "three in one"),
        *((samples.run_record(number), f"{number}.RDO") for number in range(10, 30)),
    ]
    at = keep._utc_now()
    with (
        open_store(tmp_path / "one.db", SCHEMAS, now=lambda: at) as one,
        open_store(tmp_path / "many.db", SCHEMAS, now=lambda: at) as many,
    ):
        singly = [one.take(octets, came_from) for octets, came_from in arrivals]
        together = list(many.take_all(arrivals))
        assert _all_rows(one) == _all_rows(many)
        assert [each.arrival for each in singly] == [each.arrival for each in together]
        assert [each.again for each in singly] == [each.again for each in together]
        assert find.counts(one)["holds"] >= 2


def test_a_row_that_the_store_refuses_spoils_no_other_arrival(tmp_path, monkeypatch):
    """A mistake of ours that only the store sees, at the writing of a whole batch."""
    right = Deriving._snapshot

    def wrong(self, placed):
        right(self, placed)
        self._insert("snapshots", {"record": placed.number, "label": "twice", "boot": "", "ordinal": 0})

    monkeypatch.setattr(Deriving, "_snapshot", wrong)
    with open_store(tmp_path / "s.db", SCHEMAS) as store:
        arrivals = [
            (samples.run_record(2), "a"),
            (samples.snapshot_record(), "b"),
            (samples.run_record(3), "c"),
        ]
        results = list(store.take_all(arrivals))
        assert [len(each.new) for each in results] == [1, 0, 1]
        assert "this program failed on it" in results[1].held[0].reason
        assert find.counts(store)["readings"] == 6
        assert find.counts(store)["snapshots"] == 0
