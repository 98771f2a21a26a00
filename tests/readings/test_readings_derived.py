"""Readings that follow from others by a formula."""

from decimal import Decimal

import pytest

from readoff.readings import read_run
from support.reading_texts import console, derived, load, metric, reasons, schema_text

MILL = schema_text()


def test_derived_readings_follow_their_inputs():
    (schema,) = load(
        schema_text(metric("score") + metric("time", unit="s") + derived("pace", "score / time"))
    )
    raw = b"Mill\nScore: 10\nTime: 4.0\nScore: 20\nTime: 5.0"
    readout = read_run([console(raw)], [schema])
    pace = [reading for reading in readout.readings if reading.derived]
    assert [(r.occurrence, r.value) for r in pace] == [(0, Decimal("2.5")), (1, Decimal(4))]
    assert (raw[pace[0].begin : pace[0].end], pace[0].line) == (b"10\nTime: 4.0", "Score: 10 / Time: 4.0")


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (b"Mill\nScore: 10\nTime: 0", "division by zero"),
        (b"Mill\nScore: 10\nTime: 0.0", "division by zero"),
        (b"Mill\nScore: 10\nTime: ***", "its input is held: time"),
        (b"Mill\nScore: 10\nScore: 11\nTime: 5", "unequally often: score 2, time 1"),
        (b"Mill\nScore: 1E300\nTime: 1E-200", "beyond"),
    ],
)
def test_a_derived_reading_that_cannot_be_had_is_held(raw, told):
    (schema,) = load(
        schema_text(metric("score") + metric("time", unit="s") + derived("pace", "score / time"))
    )
    readout = read_run([console(raw)], [schema])
    assert not any(reading.derived for reading in readout.readings)
    (hold,) = (hold for hold in readout.holds if hold.metric == "pace")
    assert told in hold.reason


def test_a_missing_input_is_told_once():
    (schema,) = load(
        schema_text(metric("score") + metric("time", unit="s") + derived("pace", "score / time"))
    )
    assert reasons(read_run([console(b"Mill\nScore: 10")], [schema])) == [
        "recognised, but time was not found"
    ]


def test_an_exact_input_has_no_rounding():
    (schema,) = load(schema_text(metric("score", "exact = true") + derived("half", "score / 2")))
    half = read_run([console(b"Mill\nScore: 5")], [schema]).readings[1]
    assert (half.value, half.quantum, half.decimals) == (Decimal("2.5"), 0, 1)
