"""Synthetic memory sweeps: plateaus, edges that are smeared, noise; with what is known to be true of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from readoff.snapshots.staircase import Staircase, staircase

SIZES = (8192.0, 262144.0)
TIMES = (60.0, 150.0, 400.0)  # ns, invented
POINTS = (25, 31, 37, 43, 49)
NOISES = (0.005, 0.01, 0.02, 0.05)
SMEARS = ("sharp", "quarter", "half", "octave")
AGENTS_SIZES = [
    float(step << shift << 6) for shift in range(12) for step in (16, 19, 23, 27)
]  # as stairs.asm has them
_WIDTHS = {"sharp": 0.0, "quarter": 0.25, "half": 0.5, "octave": 1.0}


def sweep(
    dice: np.random.Generator,
    points: int,
    noise: float,
    smear: str,
    sizes: Sequence[float] = SIZES,
    times: Sequence[float] = TIMES,
    boots: int = 3,
    octets: Sequence[float] = (),
) -> tuple[list[float], list[float]]:
    """Octets, and ns (median over boots). smear: how the time rises about the end of a level.

    octets: the sizes, if they are not points of them in equal ratios. A direct-mapped cache of C octets misses 2(N-C)/N
    of a loop over N octets, between C and 2C.
    """
    sizes_read = np.array(octets) if octets else np.geomspace(1024, 8 << 20, points)
    logs = np.full(len(sizes_read), np.log(times[0]))
    for size, before, after in zip(sizes, times, times[1:], strict=False):
        if smear == "direct-mapped":
            share = np.where(sizes_read > size, np.clip(2 * (sizes_read - size) / sizes_read, 0, 1), 0.0)
        elif width := _WIDTHS[smear]:
            share = np.clip(np.log2(sizes_read / size) / width + 0.5, 0, 1)
        else:
            share = (sizes_read > size).astype(float)
        logs = logs + np.log(after / before) * share
    drawn = logs + dice.normal(0, noise, (boots, len(sizes_read)))
    return sizes_read.tolist(), np.exp(np.median(drawn, axis=0)).tolist()


@dataclass
class Counts:
    """How often it was right. holding: of those with the right number of levels."""

    sweeps: int = 0
    levels: int = 0
    holding: int = 0


def holds(found: Staircase, sizes: Sequence[float] = SIZES) -> bool:
    """Whether each interval holds the true size."""
    return all(
        step.low * 0.999999 <= size <= step.high for step, size in zip(found.steps, sizes, strict=True)
    )


def count(repeats: int, seed: int = 1) -> Counts:
    """All points, noises and smears, so often each."""
    dice, counts = np.random.default_rng(seed), Counts()
    for points in POINTS:
        for noise in NOISES:
            for smear in SMEARS:
                for _ in range(repeats):
                    found = staircase(*sweep(dice, points, noise, smear))
                    counts.sweeps += 1
                    if len(found.levels) == len(TIMES):
                        counts.levels += 1
                        counts.holding += holds(found)
    return counts


def count_direct_mapped(repeats: int, seed: int = 3) -> Counts:
    """Direct-mapped caches in the sizes that the agent reads."""
    dice, counts = np.random.default_rng(seed), Counts()
    for noise in NOISES:
        for _ in range(repeats):
            found = staircase(*sweep(dice, 0, noise, "direct-mapped", octets=AGENTS_SIZES))
            counts.sweeps += 1
            if len(found.levels) == len(TIMES):
                counts.levels += 1
                counts.holding += holds(found)
    return counts


def false_alarms(repeats: int, seed: int = 2) -> tuple[int, int]:
    """(flat lines with more than one level, flat lines)."""
    dice, wrong, lines = np.random.default_rng(seed), 0, 0
    for points in POINTS:
        for noise in NOISES:
            for _ in range(repeats):
                found = staircase(*sweep(dice, points, noise, "sharp", (), TIMES[:1], boots=1))
                lines += 1
                wrong += len(found.levels) != 1
    return wrong, lines


if __name__ == "__main__":
    for what, counts in (("", count(20)), (" with direct-mapped caches", count_direct_mapped(100))):
        print(
            f"{counts.sweeps} sweeps{what}: level count right {counts.levels / counts.sweeps:.2%}, ", end=""
        )
        print(f"interval holds the true size {counts.holding / counts.levels:.2%}")
    wrong, lines = false_alarms(100)
    print(f"{lines} flat lines: false alarms {wrong / lines:.2%}")
