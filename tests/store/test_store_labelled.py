"""What a comparison asks of one label: the same answers as by going through everything, for less."""

from __future__ import annotations

import pytest

from readoff.readings import load_schemas
from readoff.reports import compare_labels
from readoff.snapshots import agreed, difference, same_label
from readoff.store import find, labelled, open_store
from support import store_samples as samples

SCHEMAS = load_schemas([("replay.toml", samples.SCHEMA)])
LABELS = ("zero-ws", "cache-on")


@pytest.fixture
def store(tmp_path):
    """Boots of two labels: most snapshots alike, some of another memory; one run of a third label."""
    with open_store(tmp_path / "s.db", SCHEMAS) as store:
        for number in range(12):
            label, nonce = LABELS[number % 2], 100 + number
            memory = {"extended_88_kb": 3072} if number in (5, 8) else {}
            cpu = {"msw": number, "fpu": "absent" if label == "cache-on" else "present"}  # msw is volatile
            store.take(samples.snapshot_record(1, nonce, label=label, memory=memory, cpu=cpu), "s")
            start = {"label": "other" if number == 11 else label}
            console = samples.printed(f"7{number % 2}.{number:02d}", 2000 + number)
            if number == 7:
                console = samples.printed("**.*")
            store.take(samples.run_record(2, nonce, console=console, start=start), "r")
        yield store


@pytest.mark.parametrize("label", [*LABELS, "other", "nobody's"])
def test_snapshots_put_together_say_what_all_of_them_say(store, label):
    every, few = find.snapshots(store, label=label), labelled.different_snapshots(store, label)
    assert len(few) <= len(every)
    assert sorted(ident for each in few for ident in (each.id, *each.also)) == sorted(
        each.id for each in every
    )
    assert agreed(few) == agreed(every)
    assert [each.name for each in same_label(few)] == [each.name for each in same_label(every)]
    for ours, theirs in zip(same_label(few), same_label(every), strict=True):
        assert {value: set(ids) for value, ids in ours.seen.items()} == {
            value: set(ids) for value, ids in theirs.seen.items()
        }
    assert difference({}, agreed(few)) == difference({}, agreed(every))


def test_of_many_snapshots_that_say_the_same_one_is_read(store):
    few = labelled.different_snapshots(store, "zero-ws")
    assert sorted(len(each.also) for each in few) == [0, 4]


def test_an_older_store_gets_to_know_what_its_snapshots_say(store, tmp_path):
    contents = store.db.execute("SELECT content FROM snapshots ORDER BY record").fetchall()
    assert len(set(contents)) == 4  # two labels' processors, two sizes of memory
    number = find.counts(store)["snapshots"]
    path = store.path
    store.db.execute("DROP INDEX snapshots_label")
    store.db.execute("ALTER TABLE snapshots DROP COLUMN content")
    version = store.db.execute("PRAGMA user_version").fetchone()[0]
    from readoff.store import migrations

    step = migrations.MIGRATIONS.index(migrations._contents)
    store.db.execute(f"PRAGMA user_version = {step}")
    store.close()
    for later in migrations.MIGRATIONS[step + 1 :]:
        pytest.skip(f"{later.__name__} came after it and is there already")
    with open_store(path, SCHEMAS) as again:
        assert again.db.execute("SELECT content FROM snapshots ORDER BY record").fetchall() == contents
        assert again.db.execute("PRAGMA user_version").fetchone()[0] == version
        assert find.counts(again)["snapshots"] == number


def test_what_is_held_and_judged_is_what_the_whole_lists_say(store):
    for label in (*LABELS, "other"):
        runs = {run.number for run in find.runs(store, label=label)}
        every = [
            (row.run, row.metric, row.reason)
            for row in find.held(store)
            if row.run in runs and row.kind in ("metric", "capture")
        ]
        assert labelled.held_readings(store, label=label) == every
        judged = {
            (row.metric, row.headline) for row in find.readings(store, label=label) if row.better != "neither"
        }
        assert set(labelled.metrics_judged(store, label=label)) == judged
        headline = [
            row for row in find.readings(store, label=label) if row.headline and row.better != "neither"
        ]
        assert find.readings(store, label=label, judged=True, headline=True) == headline
        frames = [row for row in find.readings(store, label=label) if row.metric == "frames"]
        assert find.readings(store, label=label, metric="frames") == frames


def test_a_comparison_reads_what_is_asked_and_no_more(store):
    """However many metrics a program shows: rows of readings are made for those compared alone."""
    seen = []
    store.db.conn.set_trace_callback(seen.append)
    result = compare_labels(store, *LABELS)
    store.db.conn.set_trace_callback(None)
    assert [each.metric.name for each in result.compared] == ["rate"]
    rows = [each for each in seen if "FROM readings" in each and "headline, line" in each]
    assert len(rows) == 2
    assert all("headline = 1" in each for each in rows)
    assert len(seen) < 40  # questions, for any number of runs
