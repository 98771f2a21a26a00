"""What a study reads of a store: its own, however much else there is."""

import pytest

from readoff.reports.study import read_study
from readoff.store import boots, find, open_store
from readoff.studies import load_study
from support import study_records as records
from support.page_views import STUDY, schemas

STUDIES = {
    "plain": STUDY,
    "begun": STUDY.replace(
        "repeats = 2\n", "repeats = 2\nbegun = 2000-01-01T00:00:00Z\nprobes = ['memory']\n", 1
    ),
    "agents": STUDY.replace("repeats = 2\n", "repeats = 2\nagents = ['11223344']\n", 1),
    "joined": STUDY + "\n[[earlier]]\njoins = 'zero-ws'\nlabel = 'before'\nwhy = 'the same'\n",
}


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "bench.db", schemas) as store:
        for octets in (
            *records.boots(records.TURNS),
            *records.boots([("before", ["76.1", "76.0"])], first=20),
        ):
            store.take(octets, "line")
        yield store


def others(store):
    """As many boots again, of configurations that no study names, with a file each."""
    for octets in records.boots([(f"other {n}", ["60.0", "61.0"]) for n in range(7)], first=30):
        store.take(octets, "line")


@pytest.mark.parametrize("name", STUDIES)
def test_what_others_did_changes_nothing_but_that_it_is_told(store, name):
    study = load_study("s.toml", STUDIES[name])
    before = read_study(store, study)
    others(store)
    after = read_study(store, study)
    strangers = {f"other {n}": 2 for n in range(7)}
    known = {} if name == "joined" else {"before": 2}
    assert (before.strangers, after.strangers) == (known, known | strangers)
    assert after.done == before.done and after.gathered == before.gathered
    assert after.evidence == before.evidence and after.notices == before.notices
    assert after.left_out == before.left_out and after.verdicts() == before.verdicts()


def test_only_the_studys_own_records_and_rows_are_read(store, monkeypatch):
    others(store)
    parsed, asked = [], []
    parse, rows = boots.parse_record, find.rows_of
    monkeypatch.setattr(boots, "parse_record", lambda octets: parsed.append(1) or parse(octets))

    def counted(*question):
        for row in rows(*question):
            asked.append(1)
            yield row

    monkeypatch.setattr(find, "rows_of", counted)
    read_study(store, load_study("s.toml", STUDY))
    assert len(parsed) == 6  # a snapshot for each boot
    assert len(asked) == 12 + 3 * 12  # twelve runs, each with three readings
