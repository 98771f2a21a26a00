"""The two clocks of a machine held against each other around a run. Pure.

The agent waits for the real-time clock's second to change, before and after a run, and writes down what its timer says
went by between the two edges. Those are whole seconds, so the two agree unless the program set the timer anew, kept its
interrupt from being served, or set the real-time clock.

They may differ by the times within which the edges were seen, the step of the timer at both, and by what two quartzes
differ: 500 in a million (common practice, no source; each is mostly within 100).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Literal

from readoff.contract.record import Record
from readoff.store.elapsed import COUNTS_A_TICK, seconds_of

DISTURBED = "clock_disturbed"
QUARTZES = Decimal("0.0005")
_GOING = ("read", "battery_low")
_AFTERNOON = 0x80
_NOTHING = "there is nothing to hold the timer against"
# What follows from clocks that disagree.
_TRUST = (
    ". The agent's own time is left out of every judgement; a number that the program timed by the timer is no better, "
    "though nothing was changed"
)


@dataclass(frozen=True)
class Clocks:
    """What the two clocks say of a run. timer, rtc, tolerance: seconds, None where they could not be compared."""

    state: Literal["agree", "disturbed", "unchecked"]
    sentence: str
    timer: Decimal | None = None
    rtc: int | None = None
    tolerance: Decimal | None = None


def clocks_of(record: Record) -> Clocks | None:
    """The clocks around a run; None where the record does not tell (an older agent's, or one never finished)."""
    values = record.values("run_clock")
    if values is None:
        return None
    start, end = values["start"], values["end"]
    for edge, when in ((start, "before"), (end, "after")):
        if edge["state"] == "absent":
            return Clocks("unchecked", f"this machine has no real-time clock: {_NOTHING}")
        if edge["state"] not in _GOING:
            return Clocks("unchecked", f"the real-time clock stood still {when} the run: {_NOTHING}")
    first, last = moment(start), moment(end)
    if first is None or last is None:
        return Clocks("unchecked", f"the real-time clock told a date that does not exist: {_NOTHING}")
    rtc = int((last - first).total_seconds())
    timer = seconds_of(values["ticks"] * COUNTS_A_TICK + values["counts"])
    counts = start["within"] + end["within"] + 2 * values["resolution"]
    tolerance = seconds_of(counts) + QUARTZES * abs(rtc)
    battery = (
        "; its battery is low, so its date says little"
        if "battery_low" in (start["state"], end["state"])
        else ""
    )
    told = (
        f"{timer:.4f} s by the timer, {rtc} s by the real-time clock, which may differ by {tolerance:.4f} s"
    )
    if abs(timer - rtc) <= tolerance:
        return Clocks("agree", f"the clocks agree: {told}{battery}", timer, rtc, tolerance)
    reason = "the program set one of them, or kept the timer's interrupt waiting"
    return Clocks("disturbed", f"clock disturbed: {told}; {reason}{battery}", timer, rtc, tolerance)


def is_disturbed(record: Record) -> bool:
    """Whether times by the timer are not to be trusted in a run."""
    clocks = clocks_of(record)
    return clocks is not None and clocks.state == "disturbed"


def moment(edge: Mapping[str, Any]) -> datetime | None:
    """What the registers say (0, 2, 4, 6, 7, 8, 9, 32h and status B); None where that is no moment.

    The year is told by its two digits, 1980 to 2079: the octet of the century is not every BIOS's, and not every BIOS
    moves it on.
    """
    second, minute, hour, _weekday, day, month, year, _century = bytes(edge["rtc"])
    binary, whole_day = edge["status_b"] & 4, edge["status_b"] & 2
    afternoon = bool(hour & _AFTERNOON) and not whole_day
    parts = [_decoded(each, bool(binary)) for each in (second, minute, hour & 0x7F, day, month, year)]
    if None in parts:
        return None
    second, minute, hour, day, month, year = (part or 0 for part in parts)
    if not whole_day:
        hour = hour % 12 + (12 if afternoon else 0)
    try:
        return datetime(year + (1900 if year >= 80 else 2000), month, day, hour, minute, second)
    except ValueError:
        return None


def century_told(edge: Mapping[str, Any]) -> str:
    """What to know of the century's octet, or "" where it fits the year, or is none."""
    found = moment(edge)
    century = _decoded(bytes(edge["rtc"])[7], bool(edge["status_b"] & 4))
    if found is None or century not in (19, 20) or found.year // 100 == century:
        return ""
    return f"the real-time clock's octet of the century says {century}, its year {found.year % 100:02}"


def sentences(record: Record) -> tuple[str, ...]:
    """All that is to be told of a run's clocks, for people."""
    clocks = clocks_of(record)
    values = record.values("run_clock")
    if clocks is None or values is None:
        return ()
    trust = _TRUST if clocks.state == "disturbed" else ""
    return tuple(each for each in (clocks.sentence + trust, century_told(values["start"])) if each)


def _decoded(octet: int, binary: bool) -> int | None:
    if binary:
        return octet if octet < 100 else None
    high, low = octet >> 4, octet & 15
    return high * 10 + low if high < 10 and low < 10 else None


def why_no_time(flags: str) -> str:
    """Why the agent's own time of a run is left out of every judgement, or "". flags: as the store has them."""
    words = flags.split()
    if "clock_ambiguous" in words:
        return "the agent's clock was ambiguous"
    if DISTURBED in words:
        return "clock disturbed: the timer and the real-time clock disagree"
    return ""
