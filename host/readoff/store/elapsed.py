"""The agent's own time of a run as a reading. Pure.

The PIT counts at 315/264 MHz (1.19318 MHz: the colour subcarrier of 315/88 MHz, divided by 3), so a count takes
264/315 µs and a tick of 65536 counts 54.925 ms.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from decimal import Decimal

from readoff.contract.record import Record

COUNTS_A_TICK = 65536
_RULE = "elapsed = (elapsed_ticks * 65536 + elapsed_counts) * 264 / 315 us"
SCHEMA = "agent"
SCHEMA_DIGEST = hashlib.sha256(_RULE.encode()).hexdigest()
# A count is 0.838 µs: a tenth of a microsecond shows a time to the count, a tenth of a nanosecond its step.
_TIME_PLACES, _STEP_PLACES = Decimal("1e-7"), Decimal("1e-10")


@dataclass(frozen=True)
class Elapsed:
    """Seconds that a program ran, read from the latched timer at its start and end.

    quantum: step of one of the two timer readings, in seconds. begin, end: octets of run_end in the record.
    """

    seconds: Decimal
    quantum: Decimal
    line: str
    begin: int
    end: int


def seconds_of(counts: int, places: Decimal = _TIME_PLACES) -> Decimal:
    """Counts of the PIT in seconds, rounded to places."""
    return (Decimal(counts) * 264 / 315 / 1_000_000).quantize(places)


def _places_of(quantum: Decimal) -> Decimal:
    """The decimal place that shows a time to a tenth of its step at least, and no finer."""
    if not quantum:
        return _TIME_PLACES
    return max(_TIME_PLACES, Decimal(1).scaleb(quantum.adjusted() - 1))


def elapsed_of(record: Record) -> Elapsed | None:
    """The elapsed time of a run that ended; None where the record has none, or none above zero."""
    section = next((each for each in record.all("run_end") if each.values is not None), None)
    if section is None or section.values is None:
        return None
    ticks, counts = int(section.values["elapsed_ticks"]), int(section.values["elapsed_counts"])
    total = ticks * COUNTS_A_TICK + counts
    if total == 0:
        return None
    step = int(section.values["resolution"])
    quantum = seconds_of(step, _STEP_PLACES)
    return Elapsed(
        seconds=seconds_of(total, _places_of(quantum)),
        quantum=quantum,
        line=f"agent's timer: {ticks} ticks and {counts} counts, in steps of {quantum:.7f} s",
        begin=section.begin,
        end=section.begin + len(section.payload),
    )
