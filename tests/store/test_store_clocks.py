"""The two clocks around a run: what agrees, what is disturbed, what can't be compared; clocks of every coding."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.contract.record import Record, build_record, parse_record
from readoff.store.captures import RunState
from readoff.store.clocks import (
    QUARTZES,
    century_told,
    clocks_of,
    is_disturbed,
    moment,
    sentences,
    why_no_time,
)
from readoff.store.rows import elapsed_rows, run_columns
from support import store_samples as samples

FREQUENCY = Decimal(315_000_000) / 264  # counts a second
START = datetime(1994, 5, 31, 6, 22)


def bcd(value: int) -> int:
    return value // 10 << 4 | value % 10


def edge(
    when: datetime, *, state: str = "read", status_b: int = 2, within: int = 100, century: int | None = None
) -> dict[str, object]:
    """An edge of the RTC; status B bit 2: binary, bit 1: 24 hours."""
    code = (lambda value: value) if status_b & 4 else bcd
    hour = code(when.hour)
    if not status_b & 2:
        hour = code((when.hour + 11) % 12 + 1) | (0x80 if when.hour >= 12 else 0)
    parts = [when.second, when.minute, 0, when.isoweekday() % 7 + 1, when.day, when.month, when.year % 100]
    octets = [code(part) for part in parts]
    octets[2] = hour
    octets.append(code(when.year // 100 if century is None else century))
    return {"state": state, "rtc": bytes(octets), "status_b": status_b, "within": within}


def run(start: dict[str, object], end: dict[str, object], seconds: Decimal, resolution: int = 1) -> Record:
    counts = round(seconds * FREQUENCY)
    values = {
        "start": start,
        "end": end,
        "ticks": counts // 65536,
        "counts": counts % 65536,
        "resolution": resolution,
    }
    sections = [("run_clock", values), ("run_end", samples.run_end())]
    return parse_record(build_record("run", samples.ident(), sections))


def later(
    seconds: int, when: datetime = START, **more: object
) -> tuple[dict[str, object], dict[str, object]]:
    return edge(when, **more), edge(when + timedelta(seconds=seconds), **more)  # type: ignore[arg-type]


@given(
    seconds=st.integers(0, 86_399),
    off=st.decimals(-1, 1, allow_nan=False, places=6),
    within=st.integers(0, 65_535),
    status_b=st.sampled_from([0, 2, 4, 6]),
)
def test_disturbed_beyond_the_resolutions_and_the_quartzes(
    seconds: int, off: Decimal, within: int, status_b: int
) -> None:
    """The rule: more than both edges' resolution, two steps of the timer, and 500 in a million."""
    timer = max(Decimal(0), seconds + off)
    start, end = later(seconds, status_b=status_b, within=within)
    clocks = clocks_of(run(start, end, timer))
    assert clocks is not None and clocks.tolerance is not None
    allowed = (2 * within + 2) / FREQUENCY + QUARTZES * seconds
    assert abs(clocks.tolerance - allowed) < Decimal("1e-6")
    difference = abs(timer - seconds)
    if abs(difference - allowed) > Decimal("2e-6"):
        assert clocks.state == ("agree" if difference < allowed else "disturbed")


def test_one_lost_tick_in_a_minute_is_found() -> None:
    """A tick is 54.925 ms; the tolerance after 60 s with edges to 0.1 ms is 30.2 ms."""
    start, end = later(60, within=119)
    assert not is_disturbed(run(start, end, Decimal(60)))
    assert is_disturbed(run(start, end, Decimal("60.054925")))
    assert is_disturbed(run(start, end, Decimal("59.945075")))


@pytest.mark.parametrize(
    ("when", "seconds"),
    [
        (datetime(1994, 5, 31, 23, 59, 50), 30),  # midnight
        (datetime(1999, 12, 31, 23, 59, 59), 2),  # the century
        (datetime(1996, 2, 28, 23, 0, 0), 7200),  # into a leap day
        (datetime(2079, 12, 31, 0, 0, 0), 10),
    ],
)
@pytest.mark.parametrize("status_b", [0, 2, 4, 6])
def test_days_years_and_codings(when: datetime, seconds: int, status_b: int) -> None:
    start, end = later(seconds, when, status_b=status_b)
    clocks = clocks_of(run(start, end, Decimal(seconds)))
    assert clocks is not None
    assert (clocks.state, clocks.rtc) == ("agree", seconds)


def test_a_century_that_is_not_moved_on_makes_no_hundred_years() -> None:
    start = edge(datetime(1999, 12, 31, 23, 59, 59), century=19)
    end = edge(datetime(2000, 1, 1, 0, 0, 1), century=19)
    clocks = clocks_of(run(start, end, Decimal(2)))
    assert clocks is not None and clocks.state == "agree"
    assert century_told(start) == ""
    assert century_told(end) == "the real-time clock's octet of the century says 19, its year 00"


@pytest.mark.parametrize(
    ("start", "end", "says"),
    [
        ("absent", "absent", "this machine has no real-time clock"),
        ("stopped", "stopped", "stood still before the run"),
        ("read", "stopped", "stood still after the run"),
    ],
)
def test_nothing_to_compare_is_said(start: str, end: str, says: str) -> None:
    first, last = edge(START, state=start), edge(START, state=end)
    record = run(first, last, Decimal(0))
    clocks = clocks_of(record)
    assert clocks is not None and clocks.state == "unchecked" and says in clocks.sentence
    assert sentences(record) == (clocks.sentence,)
    assert not is_disturbed(record)


def test_a_low_battery_is_said_and_the_clock_still_counts() -> None:
    start, end = later(5, state="battery_low")
    assert "battery is low" in (clocks_of(run(start, end, Decimal(5))) or pytest.fail()).sentence
    assert is_disturbed(run(start, end, Decimal(50)))


@pytest.mark.parametrize(
    "octets", ["00 22 06 03 31 13 94 19", "6A 22 06 03 31 05 94 19", "FF FF FF FF FF FF FF FF"]
)
def test_a_date_that_does_not_exist(octets: str) -> None:
    bad = edge(START) | {"rtc": bytes.fromhex(octets)}
    assert moment(bad) is None
    clocks = clocks_of(run(bad, edge(START), Decimal(1)))
    assert clocks is not None and clocks.state == "unchecked"


def test_the_hours_of_a_clock_of_twelve() -> None:
    """Bit 7 of the hour: afternoon; 12 at midnight is 0."""
    for hour in range(24):
        when = datetime(1994, 5, 31, hour, 1, 2)
        assert moment(edge(when, status_b=0)) == when


def test_a_disturbed_run_is_flagged_and_its_time_left_out() -> None:
    start, end = later(3)
    record = run(start, end, Decimal("110.85"))
    flags = run_columns(record, RunState.COMPLETE, [])["flags"]
    assert flags == "clock_disturbed"
    assert "disturbed" in why_no_time(flags)
    assert why_no_time("clock_ambiguous") == "the agent's clock was ambiguous"
    assert why_no_time("over_time") == ""
    assert "no better, though nothing was changed" in sentences(record)[0]
    (row,) = elapsed_rows(record, headline=False)
    assert row["line"].endswith("in steps of 0.0000008 s; clock disturbed")


@pytest.mark.parametrize(("step", "shown"), [(1, "0.5499271"), (120, "0.54993"), (65535, "0.550")])
def test_an_elapsed_time_shows_no_finer_than_a_tenth_of_its_step(step: int, shown: str) -> None:
    """10 ticks and 803 counts of 264/315 us: 0.5499271 s; a step of 65,535 counts is 54.9 ms."""
    end = samples.run_end() | {"elapsed_ticks": 10, "elapsed_counts": 803, "resolution": step}
    record = parse_record(build_record("run", samples.ident(), [("run_end", end)]))
    (row,) = elapsed_rows(record, headline=True)
    assert (row["value"], row["decimals"]) == (shown, len(shown) - 2)
    assert f"in steps of {Decimal(row['quantum']):.7f} s" in row["line"]


def test_a_record_of_an_older_agent_says_nothing() -> None:
    record = parse_record(build_record("run", samples.ident(), [("run_end", samples.run_end())]))
    assert clocks_of(record) is None and sentences(record) == ()
