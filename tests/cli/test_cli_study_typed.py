"""Studies with numbers that a person typed: how many is always said, and they count where the study says so."""

import pytest

from readoff.cli import main
from support import study_records as records
from support.study_bench import answer, bring, prepare, run
from support.walks import dialogue

NAME = "as-found~zero-ws:gauge:level"


@pytest.fixture
def typed(tmp_path, monkeypatch):
    """Three boots a side, one of which showed no number; a person typed it."""
    bench = prepare(tmp_path, monkeypatch)
    (bench / "g.toml").write_text(records.gauge_study())
    (bench / "inbox").mkdir()
    for at, each in enumerate(records.gauge_boots(["70.1", "70.2", "70.3"], ["77.1", "77.2", "****"])):
        (bench / "inbox" / f"{at:05}.RDO").write_bytes(each)
    run("take", "inbox", status=1)
    (held,) = answer("held", status=1)["held"]
    dialogue(main, ["enter", str(held["number"]), "--unit", "points", "--by", "me"], ("77.3", "77.3"), 0)
    return bench


def test_they_do_not_count_unless_the_study_says_so_and_it_is_said(typed):
    got = answer("study", "judge", "g.toml")
    assert (got["typed"], got["with_typed"]) == (1, False)
    assert got["findings"][0]["finding"]["other_boots"] == 2
    reasons = [each["reason"] for each in got["left_out"]]
    assert any(reason.startswith("77.3 points was typed by a person: me") for reason in reasons)
    said = "1 number was typed by a person, not captured, and not counted (with_typed = true in the study counts them)."
    assert said in run("study", "judge", "g.toml").output


def test_they_count_where_the_study_says_so_and_it_is_said(typed):
    (typed / "g.toml").write_text(records.gauge_study(top="with_typed = true"))
    got = answer("study", "judge", "g.toml")
    assert (got["typed"], got["with_typed"], got["left_out"]) == (1, True, [])
    assert got["findings"][0]["finding"]["other_boots"] == 3
    assert (
        "1 number was typed by a person, not captured, and counted, as the study says."
        in run("study", "judge", "g.toml").output
    )
    sides = answer("why", NAME, "--study", "g.toml")["metrics"]["level of gauge"]
    (reading,) = [each for boot in sides["zero-ws"] for each in boot["readings"] if each["value"] == "77.3"]
    assert reading["capture"] == "typed by a person"
    assert reading["line"].startswith("typed by a person: me")


def test_without_any_nothing_is_said(tmp_path, monkeypatch):
    bench = prepare(tmp_path, monkeypatch)
    bring(bench, records.boots(records.TURNS))
    assert answer("study", "judge", "s.toml")["typed"] == 0
    assert "typed by a person" not in run("study", "judge", "s.toml").output
