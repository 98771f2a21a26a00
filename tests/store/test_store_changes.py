"""What a re-reading changed: each reading with what it was, what it is, and the schema that did it."""

from hypothesis import given
from hypothesis import strategies as st

from readoff.readings import load_schemas
from readoff.store import open_store
from readoff.store.changes import Change, Seen, State, changes_between
from support import store_samples as samples


def seen(run, metric, value, *, schema="mill", digest="1", occurrence=0):
    return Seen(run, f"ID-{run}", schema, digest, metric, occurrence, value)


def between(before, after, holds=()):
    return changes_between(State(tuple(before), ()), State(tuple(after), tuple(holds)))


def test_a_changed_reading_names_old_and_new_value_run_and_schema():
    changes = between([seen(1, "rate", "72.9 x")], [seen(1, "rate", "73.9 x", digest="2")])
    assert changes.edits == (Change(1, "ID-1", "mill", "rate", 0, "72.9 x", "73.9 x"),)
    assert changes.schemas == ("mill",)


def test_an_edit_that_changes_nothing_is_no_change_and_is_told():
    changes = between([seen(1, "rate", "72.9 x")], [seen(1, "rate", "72.9 x", digest="2")])
    assert (changes.edits, changes.schemas) == ((), ("mill",))


def test_what_is_held_now_says_why():
    holds = [("ID-2", "rate", "other"), ("ID-1", "rate", "'****': no"), ("ID-1", "pace", "x")]
    changes = between([seen(1, "rate", "72.9 x"), seen(3, "rate", "1 x")], [], holds)
    assert [(each.before, each.after, each.held) for each in changes.edits] == [
        ("72.9 x", "", "'****': no"),
        ("1 x", "", ""),
    ]


def test_a_schema_that_takes_over_names_the_earlier_one():
    changes = between([seen(1, "rate", "72.9 x")], [seen(1, "rate", "72.9 x", schema="loom")])
    assert changes.edits == (Change(1, "ID-1", "loom", "rate", 0, "72.9 x", "72.9 x", "", "mill"),)
    assert changes.schemas == ("loom", "mill")


_SEEN = st.builds(
    seen,
    st.integers(1, 3),
    st.sampled_from(["rate", "pace"]),
    st.sampled_from(["1 x", "2 x"]),
    schema=st.sampled_from(["mill", "loom"]),
    occurrence=st.integers(0, 1),
)


@given(st.lists(_SEEN, max_size=8), st.lists(_SEEN, max_size=8))
def test_every_reading_that_is_not_as_it_was_is_told_once(before, after):
    changes = between(before, after)
    was = sorted((each.id, each.metric, each.occurrence, each.value) for each in before if each not in after)
    now = sorted((each.id, each.metric, each.occurrence, each.value) for each in after if each not in before)
    assert sorted((e.id, e.metric, e.occurrence, e.before) for e in changes.edits if e.before) == was
    assert sorted((e.id, e.metric, e.occurrence, e.after) for e in changes.edits if e.after) == now


def test_a_store_tells_what_an_edit_of_a_schema_did(tmp_path):
    path = tmp_path / "s.db"
    with open_store(path, load_schemas([("replay.toml", samples.SCHEMA)])) as store:
        store.take(samples.run_record(), "a")
    edited = samples.SCHEMA.replace("[0-9.]+) frames/s", "[0-9]+)[.]").partition("[[samples]]")[0]
    with open_store(path, load_schemas([("replay.toml", edited)])) as store:
        changes = store.reread()
    assert [(e.run, e.schema, e.metric, e.before, e.after) for e in changes.edits] == [
        (1, "replay", "rate", "72.9 frames/s", "")
    ]
    assert "the number goes on" in changes.edits[0].held
    assert changes.schemas == ("replay",)
