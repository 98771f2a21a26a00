"""A probe's record -> what it found out about the machine, as facts. Pure.

Facts of a staircase, by where its block lay: how many levels there are, and between which two sizes each of them ends.
Times are readings, for the judge; they are no facts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import pairwise
from typing import Any

from readoff.contract.record import Record
from readoff.snapshots.fact import Fact
from readoff.snapshots.staircase import Staircase, staircase

STAIRCASES = {"probe_memory": "conventional", "probe_extended": "extended"}  # section -> where its block lies
NANOSECONDS_A_COUNT = Fraction(264_000, 315)  # the timer runs at 315/264 MHz


def measured_of(record: Record) -> Iterator[tuple[str, list[Fact]]]:
    """(section, its facts) of each staircase of a record. Never fails."""
    for section, region in STAIRCASES.items():
        values = record.values(section)
        stair = staircase_of(values) if values else None
        if stair:
            yield section, list(_facts(f"staircase.{region}", stair))


def staircase_of(values: Mapping[str, Any]) -> Staircase | None:
    """Levels of a staircase's section, by the median of its passes; None where it has none."""
    points = [each for each in values["points"] if each["reads"] and each["median"]]
    octets = [int(each["octets"]) for each in points]
    if len(points) < 2 or any(two <= one for one, two in pairwise(octets)):
        return None
    return staircase(octets, [nanoseconds(each["median"], each["reads"]) for each in points])


def nanoseconds(counts: int, reads: int) -> float:
    """Time of one read, from counts of the timer for so many."""
    return float(counts * NANOSECONDS_A_COUNT / reads)


def _facts(prefix: str, stair: Staircase) -> Iterator[Fact]:
    yield Fact(f"{prefix}.levels", str(len(stair.levels)), measured=True)
    for number, step in enumerate(stair.steps, 1):
        yield Fact(f"{prefix}.step_{number}", f"{kib(step.low)} to {kib(step.high)}", "KiB", measured=True)
    yield Fact(f"{prefix}.seen_to", kib(stair.octets[-1]), "KiB", volatile=True, measured=True)


def kib(octets: float) -> str:
    """Octets in KiB, with as many decimals as are needed, three at most."""
    return f"{octets / 1024:.3f}".rstrip("0").rstrip(".")
