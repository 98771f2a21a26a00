"""Records of memory probes, with staircases of which the truth is known."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from readoff.contract.record import build_record
from support.staircases import AGENTS_SIZES
from support.store_samples import ident, run_end, run_start

READS = 4096
NANOSECONDS_A_COUNT = 264_000 / 315


def point(octets: float, ns: float) -> dict[str, int]:
    """One block, all passes alike."""
    counts = round(ns * READS / NANOSECONDS_A_COUNT)
    times = dict.fromkeys(("minimum", "lower", "median", "upper", "maximum"), counts)
    return {"octets": round(octets), "reads": READS, **times}


def memory_probe(
    time: Callable[[float], float],
    ordinal: int = 2,
    nonce: int = 0xA1B2C3D4,
    *,
    label: str = "zero-ws",
    sizes: Sequence[float] = tuple(each for each in AGENTS_SIZES if each <= 600 * 1024),
    problem: str = "none",
) -> bytes:
    """A probe's record. time: ns per access in a block of so many octets."""
    points = [] if problem != "none" else [point(each, time(each)) for each in sizes]
    nothing = dict.fromkeys(point(1, 1), 0)
    section = {
        "region": "conventional",
        "problem": problem,
        "base": 0x8880,
        "stride": 64,
        "read_octets": 2,
        "passes": 5,
        "overhead": 17,
        "smallest": points[0] if points else nothing,
        "largest": points[-1] if points else nothing,
        "points": points,
    }
    sections = [
        ("run_start", run_start(label, "probe memory", path="READOFF.COM", arguments="PROBE memory")),
        ("probe_memory", section),
        ("run_end", run_end()),
    ]
    return build_record("probe", ident(ordinal, nonce), sections, date=0x1CBF, time=0x32C0)  # type: ignore[arg-type]
