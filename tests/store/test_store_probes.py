"""A probe's record in the store: a run like any other, and facts of its boot."""

from __future__ import annotations

from dataclasses import replace

import pytest

from readoff.box import LATE, CacheLevel
from readoff.snapshots import agreed, difference, same_label
from readoff.store import find, open_store, staircases
from support.agent_box import agent_box, readoff
from support.reading_texts import shipped

CACHED = replace(LATE, caches=(CacheLevel(8192), CacheLevel(65536, ways=1, clocks=5)), memory_clocks=16)


@pytest.fixture(scope="module")
def octets():
    """Records of two boots with caches and one without, a further snapshot among them."""
    made = {}
    for label, spec, boots in (("cached", CACHED, (1, 2)), ("plain", LATE, (1,))):
        box = agent_box(spec)
        for boot in boots:
            box.boot(boot)
            records = [*readoff(box, f"PROBE memory /L:{label}").records.values()]
            records += readoff(box, f"SNAP /L:{label}").records.values()
            made[label, boot] = [record.octets for record in records]
    return made


@pytest.fixture
def store(tmp_path, octets):
    with open_store(tmp_path / "s.db", shipped()) as store:
        for records in octets.values():
            for record in records:
                store.take(record, "probe")
        yield store


def test_a_probe_is_a_run_with_readings(store):
    runs = find.runs(store)
    assert {(run.kind, run.program, run.state) for run in runs} == {
        ("run", "probe memory", "complete"),
        ("run", "probe extended", "complete"),
    }
    full = find.run_in_full(store, str(runs[0].number))
    read = {each.metric for each in full.readings if each.headline}
    assert read == {"smallest_block", "largest_block"}
    assert full.held == ()
    blocks = [each for each in full.readings if each.metric == "access"]
    assert len(blocks) == len(full.record.values("probe_memory")["points"])
    assert not [each for each in full.readings if each.metric == "elapsed"]


def test_its_facts_are_those_of_every_snapshot_of_the_boot(store):
    shots = find.snapshots(store, label="cached")
    assert len(shots) == 4
    for shot in shots:
        assert shot.facts["staircase.conventional.levels"].value == "3"
        assert shot.facts["staircase.conventional.step_1"].value == "8 to 9.5"
        assert shot.facts["staircase.conventional.step_1"].measured
    assert same_label(shots) == []
    (found,) = difference(agreed(shots), agreed(find.snapshots(store, label="plain")))
    assert found.sentence() == "staircase.conventional.levels: 3 → 1"


def test_rereading_changes_nothing(store):
    before = find.query(store, "SELECT * FROM measured ORDER BY record, name", [])
    assert before
    store.reread()
    assert find.query(store, "SELECT * FROM measured ORDER BY record, name", []) == before


def test_curves_of_a_run_and_of_a_configuration(store):
    (one,) = staircases.of_run(store, find.runs(store)[0].number)
    assert (one.label, one.region, one.boots) == ("cached", "conventional", 1)
    both = staircases.of_label(store, "cached")
    assert both.boots == 2
    assert len(both.octets) == len(both.minimum) == len(both.middle)
    assert len(both.found.levels) == 3
    assert staircases.of_label(store, "cached", "extended") is None
    assert staircases.of_label(store, "nothing") is None
