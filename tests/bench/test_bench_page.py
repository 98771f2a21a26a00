"""What the page costs, in counts; ``bench_page`` tells in seconds: `python tests/bench/measure.py --only page`."""

import pytest

from bench.bench_page import FEW, kept_beside, to_the_row_in
from readoff.page.configurations import configurations_view
from readoff.page.findings import Rules, findings_view
from readoff.page.runs import runs_view
from readoff.page.step_view import step_shown
from readoff.store import find
from readoff.store.browse import open_to_read, run_page
from readoff.studies import load_study
from support.page_load import STUDY, many_runs


def rows_looked_at(path, view):
    """Steps of SQLite's machine, in tens, for a view."""
    store = open_to_read(path)
    steps = 0

    def step():
        nonlocal steps
        steps += 1
        return 0

    store.db.conn.set_progress_handler(step, 10)
    view(store)
    store.db.conn.set_progress_handler(None, 0)
    store.close()
    return steps


def study():
    return load_study("many.toml", STUDY)


ASKED = {
    "latest": lambda store: run_page(store, limit=8),
    "runs": lambda store: runs_view(store, "", "", "", 0),
    "labels": find.labels,
    "two configurations": lambda store: configurations_view(store, ["label-0000", "label-0001"]),
    "their findings": lambda store: findings_view(store, "label-0000", "label-0001", Rules(0.02)),
    "a study's findings": lambda store: findings_view(store, "", "", Rules(0.02, study())),
    "a study's next step": lambda store: step_shown(store, study()),
}


@pytest.fixture(scope="module")
def stores(tmp_path_factory):
    folder = tmp_path_factory.mktemp("many")
    many_runs(folder / "few.db", FEW)
    many_runs(folder / "many.db", 20 * FEW)
    return folder / "few.db", folder / "many.db"


@pytest.mark.parametrize("view", ASKED)
def test_a_view_does_not_look_at_every_run(stores, view):
    """The labels themselves may take a step each: there are twenty times as many."""
    small, large = (rows_looked_at(path, ASKED[view]) for path in stores)
    assert 0 < large <= (20 if view == "labels" else 3) * small


def test_every_record_is_kept_beside_viewers(tmp_path):
    single, _ = kept_beside(tmp_path, (0, 5), 1, 3, rate=0)
    assert [len(each) for each in single.values()] == [3, 3]


def test_every_arrival_becomes_a_row(tmp_path, chromium):
    took = to_the_row_in(chromium, tmp_path, 3)
    assert len(took) == 3
    assert min(took) > 0
