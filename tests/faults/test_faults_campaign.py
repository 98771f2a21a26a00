"""The bounded part of the fault runs (tests/faults/campaign.py plays as many as you like)."""

import sqlite3

import pytest

from support import store_samples as samples
from support.fault_runs import InvariantError, check, run


@pytest.mark.parametrize("seed", range(60))
def test_the_twin_loses_nothing(tmp_path, seed):
    figures = run("twin", seed, tmp_path)
    assert figures.records > 0


@pytest.mark.parametrize("seed", range(10, 130, 10))
def test_the_agent_in_the_box_loses_nothing(tmp_path, seed):
    figures = run("box", seed, tmp_path)
    assert figures.records > 0


def test_the_check_sees_what_is_lost_changed_or_made_up(tmp_path):
    from readoff.store import open_store

    one, two = samples.run_record(2), samples.run_record(3)
    with open_store(tmp_path / "readoff.db") as store:
        store.take(one, "x")
    assert check(tmp_path / "readoff.db", {"A": one, "B": two}, {"B": two}) == 1
    with pytest.raises(InvariantError, match="0 times in the store"):
        check(tmp_path / "readoff.db", {"A": one, "B": two}, {})
    with pytest.raises(InvariantError, match="changed in the spool"):
        check(tmp_path / "readoff.db", {"A": one, "B": two}, {"B": two[:-1]})
    with pytest.raises(InvariantError, match="nobody sent"):
        check(tmp_path / "readoff.db", {"B": two}, {"B": two})
    with sqlite3.connect(tmp_path / "readoff.db") as db:
        db.execute("UPDATE records SET standing = 'held'")
    db.close()
    with pytest.raises(InvariantError, match="its rows are"):
        check(tmp_path / "readoff.db", {"A": one}, {})
