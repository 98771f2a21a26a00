"""What a benchmark tells: a row of the table; and how long something took."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Row:
    """One measured thing. beside: what it was measured against in the same run. bar: what is asked for, in words.

    held: whether it is; None where nothing is asked for.
    """

    what: str
    ours: str
    beside: str = ""
    ratio: str = ""
    bar: str = ""
    held: bool | None = None


@dataclass(frozen=True)
class Took:
    """Seconds: by the clock on the wall, and of this process's processor time."""

    wall: float
    cpu: float

    def __str__(self) -> str:
        return f"{self.wall:.2f} s ({self.cpu:.2f} s of processor)"

    def least(self, other: Took) -> Took:
        """The shorter of each."""
        return Took(min(self.wall, other.wall), min(self.cpu, other.cpu))


def timed(work: Callable[[], Any]) -> tuple[Took, Any]:
    """How long it took, and what it gave."""
    wall, cpu = time.perf_counter(), time.process_time()
    given = work()
    return Took(time.perf_counter() - wall, time.process_time() - cpu), given


def ratio_row(what: str, ours: Took, beside: Took, against: str, bar: float, *, aim: str = "") -> Row:
    """Two times taken in one run. The bar is for the processor's time, which others on the machine disturb less."""
    wall, cpu = ours.wall / beside.wall, ours.cpu / beside.cpu
    told = f"{cpu:.1f} ({wall:.1f} by the clock)"
    return Row(what, str(ours), f"{against}: {beside}", told, f"at most {bar:g}{aim}", cpu <= bar)
