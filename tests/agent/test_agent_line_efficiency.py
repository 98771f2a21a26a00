"""How near the line comes to what its wire can carry: under DOSBox against a bare blast; against formulas."""

from __future__ import annotations

import random
import statistics
from pathlib import Path

import pytest

from support.agent_line import MILLISECOND, Faults, LineBench
from support.bare_blast import SIZE, beside_a_bare_blast
from support.line_records import record


def test_records_at_the_pace_of_a_bare_blast(tmp_path: Path) -> None:
    """64 KB of records at 115,200 under DOSBox: at least 0.97 of the octets on the line are theirs.

    And at most 1.08 times what a bare, polled blast of the records' octets alone takes. The median counts: on a busy
    machine a host answers late now and then.
    """
    rounds = beside_a_bare_blast(tmp_path, 3)
    for each in rounds:
        share = SIZE / each.on_the_line
        print(f"{share:.4f} of the line; bare {each.bare:.2f} s, sent {each.sent:.2f} s: {each.ratio:.3f}")
    assert len(rounds) == 3
    assert all(SIZE / each.on_the_line >= 0.97 for each in rounds)
    assert statistics.median(each.ratio for each in rounds) <= 1.08


def selective_repeat(payload: float, frame: float, errors: float) -> float:
    """Textbook: (D / N) (1 - P), P = 1 - (1 - p)^(10 N); N in octets on the line, p for each bit."""
    return payload / frame * (1 - errors) ** (10 * frame)


def best_repeat(errors: float) -> float:
    """The best that selective repeat comes to with any of the lengths that the agent uses, 21 octets around each."""
    return max(selective_repeat(size, size + 21, errors) for size in (64, 128, 256, 512, 1024))


@pytest.mark.parametrize("errors", [1e-5, 1e-4])
def test_throughput_against_the_formula_of_selective_repeat(errors: float) -> None:
    """At least 0.9 of the formula for the frame length in use; at 1e-4 above what any sender of 1,024 can come to.

    The wire flips bits one way, as the formula has it. Octets are counted, so that no clock matters; the length in use
    is the mean of what was sent.
    """
    sent = payload = frames = 0
    for seed in range(3):
        octets = record(1, 60_000, seed)
        line = LineBench({"A.RDO": octets}, seed=seed, to_host=Faults(flip=1 - (1 - errors) ** 8))
        line.uart.skip_to = None
        assert line.offer() == 0
        data = [piece for piece in bytes(line.from_agent).split(b"\x7e") if piece[:1] == b"\x05"]
        sent += sum(len(piece) + 2 for piece in data)
        frames += len(data)
        payload += len(octets)
    size = sent / frames - 21
    formula = selective_repeat(size, size + 21, errors)
    print(f"{errors}: {payload / sent:.3f} of the line, mean piece {size:.0f}: formula {formula:.3f}")
    assert payload / sent >= 0.9 * formula
    if errors == 1e-4:
        assert payload / sent > selective_repeat(1024, 1024 + 21, errors)
        assert payload / sent >= 0.8 * best_repeat(errors)


def test_one_way_delay_of_16_ms_costs_under_5_per_cent() -> None:
    """Of the time from the first octet of a record to kept; what the port's rate takes to agree on comes once."""
    seconds = []
    for delay in (0, 16 * MILLISECOND):
        wire = Faults(delay=delay)
        line = LineBench({"A.RDO": record(1, 64_000)}, to_host=wire, to_agent=wire)
        assert line.offer() == 0
        seconds.append(line.seconds)
    print(f"delay: {seconds[1] / seconds[0]:.4f}")
    assert seconds[1] < 1.05 * seconds[0]


def test_random_octets_too() -> None:
    """Noise, with an escape in each 128 octets, leaves just as much room: 64 KB, all frames counted."""
    octets = record(1, 28)[:-4] + random.Random(9).randbytes(SIZE - 24)
    line = LineBench({"A.RDO": octets})
    assert line.offer() == 0
    print(f"{len(octets) / line.octets_to_host:.4f} of the line")
    assert len(octets) / line.octets_to_host >= 0.967
