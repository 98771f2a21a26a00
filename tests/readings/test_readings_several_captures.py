"""Several captures of one run: read from one, and compared with the others."""

import pytest

from readoff.readings import read_run
from support.reading_texts import console, derived, file, load, metric, reasons, schema_text, screen, values

MILL = schema_text()


def test_readings_come_from_the_first_kind_and_the_others_agree():
    captures = [screen(b"Mill", b"Score: 50.0"), file(b"Mill\nScore: 50.0"), console(b"Mill\nScore: 50.0")]
    readout = read_run(captures, load(MILL))
    assert values(readout) == [("score", "50.0 points", 2)]
    assert values(read_run(captures[:2], load(MILL))) == [("score", "50.0 points", 1)]
    assert values(read_run(captures[:1], load(MILL))) == [("score", "50.0 points", 0)]
    assert not readout.holds


def test_captures_that_disagree_are_a_hold_with_both_values_and_places():
    captures = [console(b"Mill\nScore: 50.0\nBonus: 2"), screen(b"Mill", b"Score: 56.0", b"Bonus: 2")]
    (schema,) = load(schema_text(metric("score") + metric("bonus") + derived("twice", "2 * score")))
    readout = read_run(captures, [schema])
    assert values(readout) == [("bonus", "2 points", 0)]
    score, twice = readout.holds
    assert score.reason == (
        "capture 0 (console, octets 12 to 16) shows 50.0 points, "
        "capture 1 (screen, octets 174 to 182) shows 56.0 points"
    )
    assert (score.begin, score.end, score.metric) == (12, 16, "score")
    assert twice.metric == "twice"


@pytest.mark.parametrize(
    ("one", "two", "same"),
    [
        (b"50.0", b"50.0", True),
        (b"50.0", b"50", True),
        (b"72.9", b"72.94", True),
        (b"72.9", b"72.96", False),
        (b"50.0", b"50.1", False),
        (b"50", b"51", False),
        (b"1,234.5", b"1234.5", True),
    ],
)
def test_agreement_is_equality_or_rounding(one, two, same):
    readout = read_run([console(b"Mill\nScore: " + one), file(b"Mill\nScore: " + two)], load(MILL))
    assert bool(readout.readings) is same
    assert bool(readout.holds) is not same


def test_a_scrolled_screen_is_compared_from_its_end():
    printed = console(b"Mill\nScore: 1\nScore: 2\nScore: 3")
    assert len(read_run([printed, screen(b"Mill", b"Score: 2", b"Score: 3")], load(MILL)).readings) == 3
    # What an earlier run left above is not in common.
    left = screen(b"Mill", b"Score: 9", b"Mill", b"Score: 1", b"Score: 2", b"Score: 3")
    assert len(read_run([printed, left], load(MILL)).readings) == 3
    assert read_run([printed, screen(b"Mill", b"Score: 1", b"Score: 2")], load(MILL)).readings == ()


def test_once_does_not_hold_what_a_screen_shows_of_earlier_runs():
    captures = [console(b"Mill\nScore: 5"), screen(b"Mill", b"Score: 4", b"Mill", b"Score: 5")]
    readout = read_run(captures, load(schema_text(metric("score", "once = true"))))
    assert values(readout) == [("score", "5 points", 0)]
    assert not readout.holds


def test_a_witness_that_cannot_be_read_is_told_and_does_not_take_the_reading():
    readout = read_run([console(b"Mill\nScore: 5"), screen(b"Mill", b"Score: ??")], load(MILL))
    assert values(readout) == [("score", "5 points", 0)]
    assert [(hold.capture, hold.metric) for hold in readout.holds] == [(1, "score")]


def test_a_screen_with_an_earlier_programs_output_is_only_a_witness():
    other = schema_text(name="other", recognise="all = ['^Other']")
    schemas = load(MILL, other)
    both = screen(b"Other", b"Score: 9", b"Mill", b"Score: 5")
    readout = read_run([console(b"Mill\nScore: 5"), both], schemas)
    assert values(readout) == [("score", "5 points", 0)]
    assert not readout.holds
    assert read_run([both], schemas).readings == ()
    stale = screen(b"Other", b"Score: 9")
    readout = read_run([console(b"Mill\nScore: 5"), stale], schemas)
    assert values(readout) == [("score", "5 points", 0)]
    assert "it shows other, but the run's output is that of mill" in reasons(readout)[0]


def test_a_screen_does_not_settle_what_the_console_leaves_open():
    schemas = load(MILL, schema_text(name="other", recognise="all = ['Score']"))
    readout = read_run([console(b"Mill\nScore: 5"), screen(b"Hill", b"Score: 5")], schemas)
    assert readout.readings == ()
    assert len(readout.holds) == 2


def test_files_of_one_run_may_share_the_work():
    (schema,) = load(schema_text(metric("score") + metric("bonus")))
    captures = [file(b"Mill\nScore: 5", "A.OUT"), file(b"Mill\nBonus: 6", "B.OUT")]
    assert values(read_run(captures, [schema])) == [("score", "5 points", 0), ("bonus", "6 points", 1)]
    (schema,) = load(schema_text(metric("score") + metric("bonus") + derived("sum", "score + bonus")))
    assert reasons(read_run(captures, [schema])) == ["the inputs of sum stand in different captures"]


def test_what_is_held_on_the_console_is_not_held_again_on_its_screen():
    schemas = load(schema_text())
    twice = read_run([console(b"Mill\r\nScore: ****\r\n"), screen(b"Mill", b"Score: ****")], schemas)
    assert [(hold.capture, hold.reason) for hold in twice.holds] == [
        (0, "'****': the number did not fit its field")
    ]
    other = read_run([console(b"Mill\r\nScore: ****\r\n"), screen(b"Mill", b"Score: <9")], schemas)
    assert [hold.capture for hold in other.holds] == [0, 1]
    more = read_run(
        [console(b"Mill\r\nScore: 5\r\nScore: ****\r\n"), screen(b"Mill", b"Score: ****")], schemas
    )
    assert [hold.capture for hold in more.holds] == [0]
