"""Which charts a publication has, and that what stands in them are the findings' own figures. All data is invented."""

import re

import pytest

from readoff.cli.report import of_study_file
from readoff.reports import charts, figures
from readoff.reports.figures import Names, figures_of
from readoff.store import open_store
from support import study_records as records
from support.study_bench import bring, prepare, run

MORE = """
[[configurations]]
label = "fast-card"
changes = "the faster card"
may_differ = ["cmos.*"]
price = 25

[[programs]]
"""
TARGETS = """
[[targets]]
metric = "shown_rate"
at = 75
words = "playable"
[[targets]]
metric = "shown_rate"
at = 60
"""
TURNS = [*records.TURNS, *(("fast-card", [f"88.{at}", "88.2"]) for at in range(3))]


@pytest.fixture
def drawn(tmp_path, monkeypatch):
    """(name, values) of every chart of a study of three configurations; nothing is drawn."""
    bench = prepare(tmp_path, monkeypatch)
    (bench / "s.toml").write_text(records.STUDY.replace("[[programs]]", MORE.strip()) + TARGETS)
    bring(bench, records.boots(TURNS))
    found = []
    monkeypatch.setattr(
        charts, "drawn", lambda name, title, words, draw: found.append((name, words, draw.args[0]))
    )
    with open_store("readoff.db", []) as store:
        subject = of_study_file(store, bench / "s.toml")
    list(figures_of(subject.publication))
    return subject, {name: (words, data) for name, words, data in found}


def test_more_configurations_than_metrics_give_one_chart_a_metric_and_one_step_by_step(drawn):
    subject, made = drawn
    assert list(made) == [
        "ratio-shown-rate-of-replay-against-as-found",
        "ratio-shown-rate-of-replay-against-the-one-before",
        "boots-shown-rate-of-replay",
        "target-shown-rate-of-replay",
        "worth-shown-rate-of-replay",
    ]
    _, data = made["ratio-shown-rate-of-replay-against-as-found"]
    assert [row.name for row in data.rows] == ["zero-ws", "fast-card"]
    by_name = {each["name"]: each["finding"] for each in subject.findings["findings"]}
    for row in data.rows:
        finding = by_name[f"as-found~{row.name}:replay:shown_rate"]
        assert (row.ratio, [row.low, row.high], row.margin) == (
            finding["ratio"],
            finding["interval95"],
            finding["margin"],
        )
        assert (row.verdict, row.found, row.base_boots, row.other_boots) == ("faster", 1, 3, 3)
    [step] = made["ratio-shown-rate-of-replay-against-the-one-before"][1].rows
    assert (step.name, step.way) == ("fast-card", "against zero-ws")


def test_boots_are_those_of_the_readings_in_the_order_taken(drawn):
    _, made = drawn
    _, data = made["boots-shown-rate-of-replay"]
    assert {row.label: [list(boot.readings) for boot in row.boots] for row in data.rows} == {
        label: [[float(rate) for rate in rates] for each, rates in TURNS if each == label]
        for label in ("as-found", "zero-ws", "fast-card")
    }
    assert (data.unit, data.way) == ("frames/s", "higher is better")


def test_targets_and_worth_are_told_as_the_verdict_tells_them(drawn):
    subject, made = drawn
    words, data = made["target-shown-rate-of-replay"]
    assert [(line.at, line.words) for line in data.lines] == [(75, "playable"), (60, "")]
    assert data.said["as-found"] == "does not reach 75; reaches 60"
    assert data.said["fast-card"] == "reaches 75, 60"
    assert words == " ".join(subject.findings["targets"])
    words, data = made["worth-shown-rate-of-replay"]
    assert words == " ".join(subject.findings["worth"])
    assert [(each.label, each.price) for each in data.offers] == [("zero-ws", 10), ("fast-card", 25)]
    assert all(each.low < each.gain < each.high for each in data.offers)


def test_every_chart_is_told_in_words_too(drawn):
    _, made = drawn
    for words, _ in made.values():
        assert len(words) > 60 and re.search("[0-9]", words)


def test_readings_without_a_logarithm_give_no_chart_and_no_error(tmp_path, monkeypatch):
    bench = prepare(tmp_path, monkeypatch)
    (bench / "g.toml").write_text(records.gauge_study())
    bring(bench, records.gauge_boots(["0", "0", "0"], ["1", "1", "1"]))
    run("report", "out", "--study", "g.toml", status=1)
    assert not (bench / "out" / "charts").exists()


def test_parts_are_even_and_lose_nothing():
    for count in range(30):
        parts = list(figures._parts(list(range(count)), 7))
        assert [each for part in parts for each in part] == list(range(count))
        assert all(0 < len(part) <= 7 for part in parts)


def test_names_of_files_are_plain_and_never_given_twice():
    names = Names()
    given = [names.give("ratio", each) for each in ("A/B", "a b", "../../x", "ü", "", "x" * 300)]
    assert len(set(given)) == len(given)
    assert all(re.fullmatch("[a-z0-9][a-z0-9-]{0,90}", each) for each in given)
