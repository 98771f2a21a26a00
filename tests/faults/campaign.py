"""Many seeded fault runs, and their figures.

    python tests/faults/campaign.py --runs 10000 --seed 1 --box-every 100

Every --box-every-th run plays the real agent in the test machine, which takes seconds; the others play the sender
of readoff.link in its place. A run is repeated with: --seed SEED --runs 1, and --box-every 1 for one in the box.
Ends with status 1 when a run broke the invariant (support/fault_runs.py says what that is).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent / "host")]

from support.fault_runs import InvariantError, run  # noqa: E402 - the path comes first


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1, help="seed of the first run; the next ones follow")
    parser.add_argument("--box-every", type=int, default=100)
    parser.add_argument("--seconds", type=float, default=float("inf"), help="begin no run after so long")
    options = parser.parse_args()
    began, total, broken, done = time.monotonic(), Counter[str](), list[str](), Counter[str]()
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None  # a store for each run: not on a disk
    for seed in range(options.seed, options.seed + options.runs):
        if time.monotonic() - began > options.seconds:
            break
        kind = "box" if seed % options.box_every == 0 else "twin"
        with tempfile.TemporaryDirectory(dir=memory) as folder:
            try:
                total.update(vars(run(kind, seed, Path(folder))))
            except InvariantError as error:
                broken.append(f"seed {seed} ({kind}): {error}")
        done[kind] += 1
    print(
        f"{done.total()} runs from seed {options.seed}: {done['twin']} by the twin, "
        f"{done['box']} by the agent in the box"
    )
    print(", ".join(f"{count} {name.replace('_', ' ')}" for name, count in total.items()))
    print(f"{time.monotonic() - began:.0f} s; the invariant was broken {len(broken)} times")
    print(*broken, sep="\n")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
