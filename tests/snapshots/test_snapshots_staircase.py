"""Levels of a memory staircase, on sweeps of which the truth is known, and against a series from outside."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.snapshots import Fact, Snapshot, agreed, difference, same_label
from readoff.snapshots.staircase import change_points, noise_of, staircase
from support.staircases import count, count_direct_mapped, false_alarms

POWERS = [1024.0 * 2 ** (k / 4) for k in range(41)]  # 1 KiB to 1 MiB


def test_levels_and_intervals_on_synthetic_sweeps():
    # The bounds are those of our own simulations (python -m support.staircases prints larger ones).
    counts = count(3)
    assert counts.sweeps == 240
    assert counts.levels / counts.sweeps >= 0.987
    assert counts.holding / counts.levels >= 0.983


def test_direct_mapped_caches_in_the_sizes_that_the_agent_reads():
    counts = count_direct_mapped(15)
    assert counts.levels / counts.sweeps >= 0.987
    assert counts.holding / counts.levels >= 0.983


def test_a_flat_line_has_one_level():
    wrong, lines = false_alarms(5)
    assert wrong / lines <= 0.01


def test_the_nile_changes_once():
    # Cobb 1978: flow of the Nile at Aswan, 1871 to 1970; statsmodels carries it. One change, after 28 years.
    nile = pytest.importorskip("statsmodels.datasets.nile")
    flow = list(nile.load_pandas().data["volume"])
    assert [*change_points(flow, noise_of(flow)), len(flow)] == [28, 100]


def test_two_sharp_steps():
    found = staircase(POWERS, [50.0 if each <= 8192 else 90.0 if each <= 65536 else 200.0 for each in POWERS])
    assert [round(level.ns) for level in found.levels] == [50, 90, 200]
    assert [(step.low, round(step.high)) for step in found.steps] == [(8192, 9742), (65536, 77936)]
    assert not found.unended


def test_what_changes_at_the_very_end_is_no_level():
    found = staircase(POWERS, [50.0 if each <= 700_000 else 120.0 for each in POWERS])
    assert len(found.levels) == 1
    assert found.unended


def test_plateaus_under_15_per_cent_apart_are_one():
    found = staircase(POWERS, [100.0 if each <= 16384 else 112.0 for each in POWERS])
    assert len(found.levels) == 1


@given(st.lists(st.floats(1, 1e6), max_size=60))
@settings(max_examples=60, deadline=None)
def test_any_times_give_levels_in_order(times):
    sizes = [1024.0 * 1.2**at for at in range(len(times))]
    found = staircase(sizes, times)
    assert len(found.steps) == max(0, len(found.levels) - 1)
    assert all(one.last < two.first for one, two in zip(found.levels, found.levels[1:], strict=False))
    assert all(step.low < step.high for step in found.steps)


def test_no_sweep_is_refused():
    with pytest.raises(ValueError, match="rising sizes"):
        staircase([1024, 1024], [1, 1])
    with pytest.raises(ValueError, match="rising sizes"):
        staircase([1024, 2048], [1, 0])


def shot(ident, *facts):
    return Snapshot(ident, "base", ident, {fact.name: fact for fact in facts})


def measured(name, value):
    return Fact(name, value, "KiB", measured=True)


def test_measured_sizes_agree_while_their_bounds_overlap():
    one, two = shot("1", measured("s", "8 to 9.5")), shot("2", measured("s", "8 to 11.5"))
    three, none = shot("3", measured("s", "9.5 to 11.5")), shot("4")
    far = shot("5", measured("s", "16 to 19"))
    assert same_label([one, two, none]) == []
    assert agreed([none, one, two]) == {"s": measured("s", "8 to 9.5")}
    assert [each.name for each in same_label([one, two, three, far])] == ["s"]
    assert difference(agreed([one]), agreed([three])) == []
    assert difference(agreed([one]), agreed([none])) == []
    (found,) = difference(agreed([one]), agreed([far]))
    assert found.sentence() == "s: 8 to 9.5 KiB → 16 to 19 KiB"


def test_tables_of_configurations_say_the_same():
    from readoff.page.configurations import _rows
    from readoff.reports.tables import side_by_side

    near = [[shot("1", measured("s", "8 to 9.5"))], [shot("2", measured("s", "8 to 11.5"))], [shot("3")]]
    apart = [*near, [shot("4", measured("s", "16 to 19"))]]
    for shots, differ in ((near, 0), (apart, 1)):
        assert len(_rows([agreed(each) for each in shots], set())[0]) == differ
        assert len(side_by_side(shots)[0]) == differ
