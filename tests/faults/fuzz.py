"""Hostile octets and tables against everything that reads them, for as long as wanted.

    python tests/faults/fuzz.py --seconds 600 --seed 1

plays the targets of support/fuzzing.py in turns, from --seed on, until the time is over or --cases of each are done;
each case is given by its target and seed. Prints every case that broke the promise and how it is played again, then
how many cases of each target ran, the slowest and the memory. Ends with status 1 when one broke it. What stands on
standard error is libtiff's own, of pictures that were spoiled.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from dataclasses import dataclass
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent / "host")]

from support.fuzzing import TARGETS, play  # noqa: E402 - the path comes first

MEMORY_LIMIT = 2 << 30
"""Octets of address space: what asks for more gets a MemoryError, and that is a failure."""
TURN = 0.25
"""Seconds of one target before the next has its turn."""


@dataclass
class Tally:
    """What came of one target."""

    cases: int = 0
    broken: int = 0
    slowest: float = 0.0
    slowest_seed: int = 0


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument(
        "--seed", type=int, default=1, help="seed of each target's first case; the next ones follow"
    )
    parser.add_argument("--cases", type=int, default=sys.maxsize, help="at most so many of each target")
    parser.add_argument(
        "--target", choices=sorted(TARGETS), action="append", help="only this one; may be repeated"
    )
    asked = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_LIMIT, MEMORY_LIMIT))
    tallies = {name: Tally() for name in asked.target or TARGETS}
    until = time.monotonic() + asked.seconds
    while time.monotonic() < until and any(each.cases < asked.cases for each in tallies.values()):
        for name, tally in tallies.items():
            _turn(name, tally, asked.seed, asked.cases, until)
    for name, tally in tallies.items():
        print(
            f"{name:15} {tally.cases:8} cases from seed {asked.seed}, {tally.broken} broken; "
            f"slowest {tally.slowest:.2f} s (seed {tally.slowest_seed})"
        )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10} MB")
    return int(any(tally.broken for tally in tallies.values()))


def _turn(name: str, tally: Tally, first: int, most: int, until: float) -> None:
    until = min(until, time.monotonic() + TURN)
    while tally.cases < most and time.monotonic() < until:
        seed, begun = first + tally.cases, time.process_time()
        what = play(name, seed)
        took = time.process_time() - begun
        if took > tally.slowest:
            tally.slowest, tally.slowest_seed = took, seed
        tally.cases += 1
        if what:
            tally.broken += 1
            print(f"{name}: {what}\n    again: --target {name} --seed {seed} --cases 1", flush=True)


if __name__ == "__main__":
    sys.exit(main())
