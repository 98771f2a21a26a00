"""By which rules the page judges: the study's where it has one that holds the two against each other, else its own."""

import html
import re

import pytest

from readoff.page.app import Look
from readoff.reports.publication import INVENTED
from readoff.store import open_store
from readoff.studies import load_study
from support import study_records as records
from support.page_bench import get, served
from support.page_views import STUDY, schemas

PAIR = "base=as-found&other=zero-ws"


@pytest.fixture
def path(tmp_path):
    """Six boots of two configurations, which take turns, and one of a third; zero-ws is 4.5 % faster."""
    with open_store(tmp_path / "bench.db", schemas) as store:
        for octets in (
            *records.boots(records.TURNS),
            *records.boots([("beside", ["73.0", "73.1"])] * 3, first=20),
        ):
            store.take(octets, "line")
    return tmp_path / "bench.db"


def told(path, study="", query=f"/findings?{PAIR}"):
    """The words of a view, with the tags left out."""
    look = Look(path, schemas=schemas, study=(lambda: load_study("s.toml", study)) if study else None)
    with served(look) as server:
        answer = get(server, query)
    assert answer.status == 200
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", answer.octets.decode())))


def with_margin(per_cent):
    return STUDY.replace("repeats = 2\n", f"repeats = 2\nmargin = {per_cent}\n", 1)


def test_over_a_store_alone_the_pages_margin_is_told(path):
    text = told(path)
    assert "This page was started without a study." in text
    assert "this page's own: 2 %, set when it was started" in text
    assert "▲ faster" in text and "within ±2 %" in text


def test_with_a_study_its_margin_is_taken(path):
    text = told(path, with_margin(6))
    assert "As the study “wait states” declares, the smallest difference that matters is 6 %." in text
    assert "within ±6 %" in text and "within ±2 %" not in text
    assert "▲ faster" in text and "4.4 % higher" in text
    assert "real, but too small to matter (under 6 %)" in text
    assert "costs 2.28 EUR for each per cent gained" in text
    only = told(path, with_margin(6), f"/findings?{PAIR}&by=page")
    assert "is left aside here" in only and "within ±2 %" in only


def test_each_metric_has_its_own_margin(path):
    study = STUDY.replace("[[metrics]]\n", "[[metrics]]\nmargin = 3\n", 1)
    study += "\n[[metrics]]\nmetric = 'frames'\nmargin = 1\n"
    text = told(path, study)
    assert "3 % for rate of replay; 1 % for frames of replay." in text
    assert "within ±3 %" in text


def test_all_comparisons_of_the_study_share_its_chance_of_error(path):
    third = "[[configurations]]\nlabel = 'beside'\nchanges = 'another'\nmay_differ = ['*']\n\n[[programs]]"
    text = told(path, STUDY.replace("[[programs]]", third, 1))
    assert "Its 3 comparisons are judged as one family (Holm)." in text


def test_the_finding_alone_is_the_studys_too(path):
    key = f"{PAIR}&program=replay&arguments=&metric=rate&unit=frames/s"
    text = told(path, with_margin(6), f"/finding?{key}")
    assert "the smallest difference that matters is 6 %" in text and "within ±6 %" in text
    text = told(path, with_margin(6), f"/finding?{key}&by=page")
    assert "within ±2 %" in text


def test_the_study_names_the_first_two(path):
    assert "beside against as-found" in told(path, query="/findings")
    assert "zero-ws against as-found" in told(path, STUDY, "/findings")


@pytest.mark.parametrize("pair", ["base=zero-ws&other=as-found", "base=as-found&other=beside"])
def test_two_that_the_study_does_not_hold_against_each_other(path, pair):
    text = told(path, with_margin(6), f"/findings?{pair}")
    assert "does not hold these two against each other, in this order" in text
    assert "this page's own: 2 %" in text and "within ±2 %" in text


def test_what_the_guard_stands_against_is_withheld(path):
    with open_store(path, schemas) as store:
        for octets in records.a_boot(30, "zero-ws", ["76.0", "76.1"], residents=[records.MOUSE]):
            store.take(octets, "line")
    text = told(path, STUDY)
    assert "— withheld" in text and "▲ faster" not in text
    assert "withheld, for the guard stands against it" in text
    assert "Before you believe it" in text and "[[explanations]]" in text


def test_invented_figures_are_said_to_be_so_on_every_view(path):
    study = STUDY.replace("repeats = 2\n", "repeats = 2\ninvented = true\n", 1)
    for view in ("/", "/runs/1", "/configurations", f"/findings?{PAIR}"):
        assert INVENTED in told(path, study, view)
        assert INVENTED not in told(path, STUDY, view)


def test_a_study_that_has_become_faulty_is_said(path):
    text = told(path, "study = 1")
    assert "The study cannot be read at this moment:" in text and "s.toml" in text
    assert "this page's own: 2 %" in text
