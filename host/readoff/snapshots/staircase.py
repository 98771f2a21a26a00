"""The memory staircase: time per access against block size -> levels, and where each of them ends. Pure.

After Saavedra and Smith, IEEE Transactions on Computers 44(10), 1995: with a stride of a cache line or more, a block
that fits a cache takes that cache's time, and a larger one the time of what lies behind. So a cache is a plateau, and
its size lies where the plateau ends. A TLB makes the same steps: time alone cannot tell which of the two it was.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

APART = 0.15  # plateaus closer together than this are one; points within it belong to a plateau
LEAST_NOISE = 0.02  # of the logarithm of the time: steps below that are not looked for
_PENALTY = 3.0  # times ln(points) times the noise, for each further plateau
_OCTAVE = 2.0
_LEAST_POINTS = 4
_MAD_TO_SIGMA = 1.4826  # of normal noise


@dataclass(frozen=True)
class Plateau:
    """One level: its time per access in ns, and the first and last block of it, in octets."""

    ns: float
    first: float
    last: float


@dataclass(frozen=True)
class Step:
    """Between two levels: the lower one still holds low octets, and no longer high octets. In ns: before, after."""

    low: float
    high: float
    before: float
    after: float


@dataclass(frozen=True)
class Staircase:
    """What a sweep shows. octets, ns: the sweep, smallest block first. levels: from the fastest block on.

    unended: the time still changes where the sweep ends, too short before its end to be a level.
    """

    octets: tuple[float, ...]
    ns: tuple[float, ...]
    levels: tuple[Plateau, ...]
    steps: tuple[Step, ...]
    unended: bool = False


def change_points(values: Sequence[float], noise: float) -> list[int]:
    """Where the level of a series changes: the index of the first value of each new level.

    PELT (Killick, Fearnhead, Eckley, JASA 107, 2012) with absolute deviations from each level's median, at least two
    values a level, and a penalty of 3 ln(n) noise for each. noise: standard deviation about a level, in the values'
    unit.
    """
    import numpy as np  # noqa: PLC0415 - they take a second, and few commands need them
    import ruptures  # noqa: PLC0415

    if len(values) < _LEAST_POINTS:
        return []
    signal = np.asarray(values, dtype=float).reshape(-1, 1)
    found = ruptures.Pelt(model="l1", min_size=2, jump=1).fit(signal)
    return [int(at) for at in found.predict(pen=_PENALTY * math.log(len(values)) * noise)[:-1]]


def noise_of(values: Sequence[float]) -> float:
    """Standard deviation about slowly changing levels: from the median absolute deviation of the differences."""
    steps = [two - one for one, two in pairwise(values)]
    middle = median(steps)
    return _MAD_TO_SIGMA * median(abs(step - middle) for step in steps) / math.sqrt(2)


def staircase(octets: Sequence[float], ns: Sequence[float]) -> Staircase:
    """Levels of a sweep. octets: sizes of the blocks, rising. ns: time per access of each, above zero.

    Raises ValueError where they are not that.
    """
    if len(octets) != len(ns) or any(two <= one for one, two in pairwise(octets)) or min(ns, default=1) <= 0:
        raise ValueError("a staircase needs rising sizes, and a time above zero for each")
    if len(octets) < _LEAST_POINTS:
        return Staircase(tuple(octets), tuple(ns), (), (), unended=bool(ns))
    logs = [math.log(each) for each in ns]
    bounds = [0, *change_points(logs, max(noise_of(logs), LEAST_NOISE)), len(logs)]
    spans = [(begin, end) for begin, end in pairwise(bounds) if octets[end - 1] / octets[begin] > _OCTAVE]
    kept = _merged(spans, ns)
    levels = [median(ns[begin:end]) for begin, end in kept]
    steps = tuple(_steps(kept, levels, octets, ns))
    unended = bool(kept) and any(abs(each / levels[-1] - 1) > APART for each in ns[kept[-1][1] :][-2:])
    plateaus = tuple(
        Plateau(level, octets[begin], octets[end - 1])
        for (begin, end), level in zip(kept, levels, strict=True)
    )
    return Staircase(tuple(octets), tuple(ns), plateaus, steps, unended or not kept)


def _merged(spans: Sequence[tuple[int, int]], ns: Sequence[float]) -> list[tuple[int, int]]:
    """Plateaus that are not apart are one."""
    merged: list[tuple[int, int]] = []
    for begin, end in spans:
        level = median(ns[begin:end])
        if merged and abs(math.log(level / median(ns[slice(*merged[-1])]))) < math.log1p(APART):
            merged[-1] = (merged[-1][0], end)
        else:
            merged.append((begin, end))
    return merged


def _steps(
    kept: Sequence[tuple[int, int]], levels: Sequence[float], octets: Sequence[float], ns: Sequence[float]
) -> Iterator[Step]:
    """From the last point that belongs to the lower plateau to the first that belongs to the upper one."""
    for ((begin, _), (first, end)), (lower, upper) in zip(pairwise(kept), pairwise(levels), strict=True):
        within = [at for at in range(begin, first) if abs(ns[at] / lower - 1) <= APART]
        low = within[-1] if within else begin
        beyond = [at for at in range(low + 1, end) if abs(ns[at] / upper - 1) <= APART]
        yield Step(octets[low], octets[beyond[0] if beyond else first], lower, upper)
