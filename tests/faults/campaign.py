"""Many seeded fault runs, and their figures.

    python tests/faults/campaign.py --runs 10000 --seed 1 --jobs 2

Every --box-every-th run plays the real agent in the test machine; every --process-every-th a real host in a process
of its own that is killed; the others play the sender of readoff.link on a simulated line. What kind a run is follows
from its seed and these two numbers alone. A run is repeated with: --seed SEED --runs 1 and the same two numbers.
Ends with status 1 when a run broke the invariant (support/fault_runs.py says what that is).
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent / "host")]

from support.fault_runs import InvariantError, run  # noqa: E402 - the path comes first

MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None  # a store for each run: not on a disk


@dataclass(frozen=True)
class Done:
    """What came of one run. figures: None when it was not begun, for lack of time."""

    seed: int
    kind: str
    figures: dict[str, int] | None
    broken: str = ""


@dataclass(frozen=True)
class Job:
    """One run to do. until: of time.time(), after which it is not begun."""

    seed: int
    kind: str
    until: float


def kind_of(seed: int, box_every: int, process_every: int) -> str:
    """What kind of run a seed is."""
    if seed % process_every == 0:
        return "process"
    return "box" if seed % box_every == 0 else "twin"


def do(job: Job) -> Done:
    """One run, in a folder of its own."""
    if time.time() > job.until:
        return Done(job.seed, job.kind, None)
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        try:
            return Done(job.seed, job.kind, vars(run(job.kind, job.seed, Path(folder))))
        except InvariantError as error:
            return Done(job.seed, job.kind, {}, f"seed {job.seed} ({job.kind}): {error}")
        except Exception as error:  # one that fails for another reason is one too many as well
            what = f"{type(error).__name__}: {error}"
            return Done(job.seed, job.kind, {}, f"seed {job.seed} ({job.kind}) could not be played: {what}")


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1, help="seed of the first run; the next ones follow")
    parser.add_argument("--box-every", type=int, default=10)
    parser.add_argument("--process-every", type=int, default=250)
    parser.add_argument("--jobs", type=int, default=1, help="processes that share the runs")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begin no run after so long")
    options = parser.parse_args()
    began = time.monotonic()
    until = time.time() + options.seconds
    seeds = range(options.seed, options.seed + options.runs)
    jobs = [Job(seed, kind_of(seed, options.box_every, options.process_every), until) for seed in seeds]
    total, broken, done, took = Counter[str](), list[str](), Counter[str](), list[int]()
    for each in _all(jobs, options.jobs):
        if each.figures is None:
            continue
        done[each.kind] += 1
        took.append(each.seed)
        total.update(each.figures)
        if each.broken:
            broken.append(each.broken)
            print(each.broken, flush=True)
        if len(took) % 1000 == 0:
            print(f"... {len(took)} runs in {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
    kinds = f"{done['twin']} by the twin, {done['box']} by the agent in the box"
    print(f"{len(took)} runs, seeds {min(took, default=0)} to {max(took, default=0)}: {kinds},")
    print(f"{done['process']} with hosts killed as processes")
    print(", ".join(f"{count} {name.replace('_', ' ')}" for name, count in total.items()))
    where = f"{options.jobs} processes on {os.cpu_count()} processors, Python {platform.python_version()}"
    print(f"{time.monotonic() - began:.0f} s in {where}; the invariant was broken {len(broken)} times")
    return 1 if broken else 0


def _all(jobs: list[Job], processes: int) -> Iterator[Done]:
    if processes == 1:
        yield from map(do, jobs)
        return
    with ProcessPoolExecutor(processes) as pool:
        yield from pool.map(do, jobs, chunksize=20)


if __name__ == "__main__":
    sys.exit(main())
