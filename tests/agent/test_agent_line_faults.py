"""The agent's sender on the bench over a bad line: noise, loss, doubling, delay; nothing told kept is ever lost."""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.contract.record import CHECK_SIZE
from readoff.link.events import Offered
from support.agent_line import MILLISECOND, Faults, LineBench
from support.line_records import check_kept, record, record_id

# ---- faults


FAULTS = {
    "noise 1e-5 a bit": Faults(flip=8e-5),
    "noise 1e-4 a bit": Faults(flip=8e-4),
    "noise 1e-3 a bit": Faults(flip=8e-3),
    "loss": Faults(lose=1e-3),
    "doubling": Faults(double=1e-3),
    "all": Faults(flip=5e-4, lose=3e-4, double=3e-4, delay=16 * MILLISECOND),
}


@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("seed", range(2))
def test_every_record_comes_over_a_bad_line(name: str, seed: int) -> None:
    faults = FAULTS[name]
    records = {f"{n}.RDO": record(n, size, seed) for n, size in enumerate((300, 2000, 6000), 1)}
    line = LineBench(records, seed=seed, to_host=faults, to_agent=faults)
    for _ in range(4):  # at one bit in a thousand a record may be given up; it stays, and goes the next time
        if line.offer() == 0:
            break
        check_kept(line)
    assert line.spool == {}
    assert line.store == {record_id(n): octets for n, octets in enumerate(records.values(), 1)}


@pytest.mark.parametrize("kind", ["8250", "16550a"])
def test_slow_machine_loses_nothing_that_matters(kind: Any) -> None:
    """An 8088's pace: about 0.85 us for an octet of code at 4.77 MHz, four clocks each. 9600 baud."""
    line = LineBench({"A.RDO": record(1, 6000)}, uart_kind=kind, divisor=12, step=840_000)
    assert line.offer() == 0
    assert line.uart.lost == 0


def test_slow_machine_without_fifo_at_the_fastest_rate() -> None:
    """An octet each 87 us is more than an 8088 can look at while it works: it listens when it has nothing to do."""
    records = {f"{n}.RDO": record(n, size) for n, size in enumerate((28, 700, 3000, 9000), 1)}
    line = LineBench(records, uart_kind="8250", divisor=1, step=1_000_000)
    assert line.offer() == 0
    check_kept(line)
    assert line.seconds < 10


def test_delay_alone_costs_little() -> None:
    times = []
    for delay in (0, 16 * MILLISECOND):
        wire = Faults(delay=delay)
        line = LineBench({"A.RDO": record(1, 64_000)}, to_host=wire, to_agent=wire)
        assert line.offer() == 0
        times.append(line.seconds)
    assert times[1] < 1.05 * times[0]


def test_efficiency_without_faults() -> None:
    """Octets of records among the octets on the line, on data that needs few escapes."""
    draw = random.Random(5)
    octets = record(1, 28)[:-4] + bytes(draw.randrange(256) for _ in range(30000))
    line = LineBench({"A.RDO": octets})
    assert line.offer() == 0
    assert len(octets) / line.octets_to_host > 0.965
    # Two ticks before the port goes back, as many before another rate, and the talk before that at 9600.
    assert line.seconds < 1.02 * line.octets_to_host * 10 / 115200 + 0.33


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    sizes=st.lists(st.integers(28, 6000), min_size=1, max_size=3),
    flip=st.sampled_from([0, 1e-4, 2e-3]),
    lose=st.sampled_from([0, 1e-4, 2e-3]),
    double=st.sampled_from([0, 1e-3]),
    delay=st.sampled_from([0, 3, 40]),
    dies=st.one_of(st.none(), st.integers(0, 8000)),
)
def test_nothing_told_kept_is_lost(
    seed: int, sizes: list[int], flip: float, lose: float, double: float, delay: int, dies: int | None
) -> None:
    records = {f"{n}.RDO": record(n, size, seed) for n, size in enumerate(sizes, 1)}
    wire = Faults(flip, lose, double, delay * MILLISECOND)
    line = LineBench(records, seed=seed, to_host=wire, to_agent=wire)
    line.host_lives = lambda: dies is None or line.octets_to_host < dies
    left = line.offer()
    assert left == len(line.spool)
    check_kept(line)


def test_last_octets_are_the_check() -> None:
    octets = record(7, 300)
    line = LineBench({"A.RDO": octets})
    assert line.offer() == 0
    (offered,) = (event for event in line.events if isinstance(event, Offered))
    assert (offered.id, offered.length) == (record_id(7), 300)
    assert offered.check == int.from_bytes(octets[-CHECK_SIZE:], "little")
