"""Findings against facts of the trade, published tables, and statsmodels and scipy on the same numbers."""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import TTestIndPower
from statsmodels.stats.weightstats import ttost_ind

from readoff.judge import (
    Better,
    Extent,
    Metric,
    Sample,
    Verdict,
    boots_to_detect,
    compare,
    geometric_mean,
    holm,
    overall,
    smallest_detectable,
    weighted_harmonic_mean,
)

SCORE = Metric("score", "points", Better.HIGHER)
RATE = Metric("rate", "frames/s", Better.HIGHER)


def boots(values, mark, quantum=0.0):
    return [Sample(f"{mark}{n}", value, quantum, f"{mark}{n}") for n, value in enumerate(values)]


def judged(base, other, *, metric=RATE, quantum=0.0, **more):
    sides = boots(base, "a", quantum), boots(other, "b", quantum)
    return compare(metric, *sides, base_label="base", other_label="other", **more)


# Common practice, no source: these per cents, and what is too small to matter.
@pytest.mark.parametrize(
    ("base", "other", "shown", "extent"),
    [
        (1023, 1056, "3.2 % higher", Extent.BEYOND),
        (1056, 1059, "0.28 % higher", Extent.WITHIN),
        (25, 29, "16.0 % higher", Extent.BEYOND),
    ],
)
def test_per_cents_of_the_trade(base, other, shown, extent):
    finding = judged([base] * 3, [other] * 3, metric=SCORE, quantum=1)
    assert finding.ratio == pytest.approx(other / base)
    assert finding.verdict is Verdict.FASTER
    assert finding.extent is extent
    assert shown in finding.sentence


# Common practice, no source: 0.05 to 2.5 % between two configurations is within one machine's own spread.
@pytest.mark.parametrize("change", [1.0005, 1.01, 1.025])
def test_small_changes_drown_in_the_machine_s_own_spread(change):
    base = [1000, 1025, 980]
    finding = judged(base, [value * change for value in base], metric=SCORE)
    assert finding.verdict is Verdict.UNDECIDED


# Common practice, no source: 10 -> 12 read to the unit is +20 % by arithmetic, +9.5 to +31.6 % by rounding.
def test_ten_to_twelve_frames():
    finding = judged([10] * 3, [12] * 3, quantum=1)
    assert finding.rounding is not None
    assert (finding.rounding.low, finding.rounding.high) == pytest.approx((11.5 / 10.5, 12.5 / 9.5))
    assert "Rounding alone allows +9.5 % to +31.6 %" in finding.sentence
    assert "20.0 % higher" in finding.sentence
    assert finding.interval95.low <= 11.5 / 10.5
    assert finding.interval95.high >= 12.5 / 9.5


# Regression fixture of our own, recomputed with scipy: log t with equal spread.
FIXTURE = [101.3, 100.6, 101.0], [98.9, 99.5, 98.9]


def test_regression_fixture():
    finding = judged(*FIXTURE, equal_spread=True)
    assert finding.ratio == pytest.approx(0.98151, abs=5e-6)
    assert (finding.interval95.low, finding.interval95.high) == pytest.approx((0.97379, 0.98930), abs=5e-6)
    assert finding.contrast.difference / finding.contrast.error == pytest.approx(-6.557, abs=0.0005)
    assert finding.freedom == 4
    assert finding.p == pytest.approx(0.00280, abs=5e-6)
    assert finding.verdict is Verdict.SLOWER


# Outside check: scipy's Welch test and interval on the logs of the same boots.
@pytest.mark.parametrize("other", [FIXTURE[1], [98.9, 99.5, 97.0, 98.2, 99.9], [101.2, 100.9]])
def test_welch_finding_against_scipy(other):
    finding = judged(FIXTURE[0], other)
    theirs = stats.ttest_ind(np.log(other), np.log(FIXTURE[0]), equal_var=False)
    interval = theirs.confidence_interval(0.95)
    assert finding.p == pytest.approx(theirs.pvalue)
    assert finding.freedom == pytest.approx(theirs.df)
    assert (finding.interval95.low, finding.interval95.high) == pytest.approx(
        (math.exp(interval.low), math.exp(interval.high))
    )


# Outside check: statsmodels' two one-sided tests in logs; the 90 % interval says the same.
@pytest.mark.parametrize("shift", [1.0, 1.004, 1.012, 1.03])
@pytest.mark.parametrize("usevar", ["pooled", "unequal"])
def test_equivalence_against_statsmodels(shift, usevar):
    base, other = [100.0, 100.9, 99.6, 100.3], [shift * value for value in (100.2, 99.5, 100.6)]
    p, _, _ = ttost_ind(np.array(other), np.array(base), 1 / 1.02, 1.02, usevar=usevar, transform=np.log)
    finding = judged(base, other, equal_spread=usevar == "pooled")
    assert finding.contrast.p_clear(math.log(1.02)) == pytest.approx(p)
    within = finding.interval90.low >= 1 / 1.02 and finding.interval90.high <= 1.02
    assert within == (p < 0.05)
    if not finding.changed:
        assert (finding.verdict is Verdict.NO_DIFFERENCE) == (p < 0.05)


# Smallest detectable change at 80 %, in boot SDs (recomputed with statsmodels TTestIndPower).
TABLE = {2: 5.65, 3: 3.07, 4: 2.38, 5: 2.02, 6: 1.80, 8: 1.51, 10: 1.33}  # 10 boots: 1.325


@pytest.mark.parametrize(("number", "shift"), TABLE.items())
def test_power_table(number, shift):
    found = smallest_detectable(number, 1.0)
    assert found == pytest.approx(shift, abs=0.0055)
    theirs = TTestIndPower().solve_power(None, nobs1=number, alpha=0.05, power=0.8)
    assert found == pytest.approx(theirs, rel=1e-5)


# Cohen 1988: d = 0.5 at 80 % takes 64 a group.
def test_cohen():
    assert boots_to_detect(0.5, 1.0) == 64


# Benjamini & Hochberg, JRSS-B 57, 1995: fifteen p values; Holm rejects 3, their procedure 4, unadjusted 9.
BH_SMALL = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459]
BH_1995 = [*BH_SMALL, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0]


def test_holm():
    ours = holm(BH_1995)
    assert ours == pytest.approx(multipletests(BH_1995, method="holm")[1])
    assert sum(p < 0.05 for p in ours) == 3
    assert sum(p < 0.05 for p in stats.false_discovery_control(BH_1995)) == 4
    assert sum(p < 0.05 for p in BH_1995) == 9
    assert holm(BH_1995[::-1]) == pytest.approx(ours[::-1])


# Fleming & Wallace, CACM 29(3), 1986: times of five benchmarks on three machines (one cell, I/M, from memory).
TIMES = {"R": [417, 83, 66, 39449, 772], "M": [244, 70, 153, 33527, 368], "Z": [134, 70, 135, 66000, 369]}


def normalised(machine, base):
    return [mine / its for mine, its in zip(TIMES[machine], TIMES[base], strict=True)]


def test_fleming_and_wallace():
    arithmetic = {m: sum(normalised(m, "R")) / 5 for m in TIMES}
    assert list(arithmetic.values()) == pytest.approx([1, 1.0147, 1.0722], abs=0.01)
    geometric = {m: geometric_mean(normalised(m, "R")) for m in TIMES}
    assert list(geometric.values()) == pytest.approx([1, 0.8574, 0.8498], abs=0.01)
    orders = set()
    for base in TIMES:
        means = {m: sum(normalised(m, base)) / 5 for m in TIMES}
        assert min(means, key=means.__getitem__) == base  # each machine wins at home
        geometric = {m: geometric_mean(normalised(m, base)) for m in TIMES}
        orders.add(tuple(sorted(TIMES, key=geometric.__getitem__)))
    assert orders == {("Z", "M", "R")}


def test_fleming_and_wallace_as_an_overall_finding():
    metrics = [Metric(name, "s", Better.LOWER) for name in "EFHIK"]

    def machine(name):
        return {
            metric.name: boots([value * factor for factor in (0.999, 1.0, 1.001)], name)
            for metric, value in zip(metrics, TIMES[name], strict=True)
        }

    there = overall(metrics, machine("R"), machine("M"), base_label="R", other_label="M")
    back = overall(metrics, machine("M"), machine("R"), base_label="M", other_label="R")
    assert 1 / there.ratio == pytest.approx(0.8574, abs=0.01)
    assert there.verdict is Verdict.FASTER and back.verdict is Verdict.SLOWER
    assert there.ratio * back.ratio == pytest.approx(1)


# Smith, CACM 31(10), 1988: the mean of rates is total work over total time, so times weigh.
def test_harmonic_mean_is_total_work_over_total_time():
    work, times = [100.0, 100.0], [10.0, 1.0]
    rates = [(w / t, "Mflop/s") for w, t in zip(work, times, strict=True)]
    assert weighted_harmonic_mean(rates, work) == pytest.approx(sum(work) / sum(times))
