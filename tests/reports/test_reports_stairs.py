"""Memory staircases in a report: measured by the real agent in the test machine, whose caches are known."""

from dataclasses import replace

import pytest

from readoff.box import LATE, CacheLevel
from readoff.reports import charts
from readoff.reports.figures import figures_of
from readoff.reports.publication import compare_all, of_comparisons, with_more
from readoff.store import open_store
from support.agent_box import agent_box, readoff
from support.reading_texts import shipped

CACHED = replace(LATE, caches=(CacheLevel(8192), CacheLevel(65536, ways=1, clocks=5)), memory_clocks=16)


@pytest.fixture(scope="module")
def publication(tmp_path_factory):
    """Two configurations of an invented machine, each probed in two boots."""
    with open_store(tmp_path_factory.mktemp("stairs") / "s.db", shipped()) as store:
        for label, spec in (("cached", CACHED), ("plain", LATE)):
            box = agent_box(spec)
            for boot in (1, 2):
                box.boot(boot + (10 if label == "plain" else 0))
                for record in readoff(box, f"PROBE memory /L:{label}").records.values():
                    store.take(record.octets, "probe")
        results = compare_all(store, "plain", ["cached"], every_metric=True)
        yield with_more(store, of_comparisons(store, results, invented=True))


def test_the_levels_of_the_chart_are_the_caches_of_the_machine(publication):
    [(what, (plain, cached))] = publication.stairs
    assert (what, plain.label, cached.label) == ("conventional memory", "plain", "cached")
    assert len(plain.levels) == 1 and plain.levels[0].low is None
    assert len(cached.levels) == 3
    for level, size in zip(cached.levels, (8192, 65536), strict=False):
        assert level.low <= size <= level.high
    assert [level.ns for level in cached.levels] == sorted(level.ns for level in cached.levels)
    assert (plain.boots, cached.boots) == (2, 2)
    assert len(cached.octets) == len(cached.ns) > 10


def test_the_chart_is_in_the_report_with_its_sizes_in_words(publication, monkeypatch):
    real, made = charts.drawn, {}

    def draws(name, title, words, draw):
        if name.startswith("staircase"):
            made[name] = real(name, title, words, draw)
            return made[name]
        return None

    monkeypatch.setattr(charts, "drawn", draws)
    list(figures_of(publication))
    [one] = made.values()
    assert one.name == "staircase-conventional-memory"
    for said in ("cached", "plain", "ns per access", "n = 2 + 2 boots", "Invented data", "KiB"):
        assert said in one.svg
    assert "cached" in one.words and "then" in one.words


def test_boots_that_were_only_probed_go_into_a_bundle(publication):
    assert len(publication.probed) == 4
    assert set(publication.probed) <= set(publication.boots)
