"""Means, t tests, outliers, drift and ratios against the NIST handbook, StRD, and Fieller's worked example."""

import math
import tomllib
from pathlib import Path

import pytest
from scipy import stats

from readoff.errors import JudgeRefusal
from readoff.judge import Summary, drift, effective_count, farthest, fieller, lag1, summarise, t_test

STRD = tomllib.loads((Path(__file__).parent / "strd_univariate.toml").read_text())


# NIST StRD, univariate: certified mean, standard deviation and lag-1 autocorrelation.
@pytest.mark.parametrize("name", list(STRD))
def test_strd_univariate_sets(name):
    certified = STRD[name]
    found = summarise(certified["data"])
    assert found.count == {"Lew": 200, "Lottery": 218, "Mavro": 50, "NumAcc1": 3}[name]
    assert found.mean == pytest.approx(certified["mean"], rel=1e-12)
    assert found.sd == pytest.approx(certified["sd"], rel=1e-11)
    assert lag1(certified["data"]) == pytest.approx(certified["lag1"], rel=1e-11)


# StRD Mavro: fifty readings in a row that are worth one and a half, and drift.
def test_mavro_drifts():
    data = STRD["Mavro"]["data"]
    assert effective_count(50, lag1(data)) == pytest.approx(1.6, abs=0.05)
    found = drift([("a", value) for value in data])
    assert found.seen and found.slope > 0
    # Outside check of the slope's test: scipy's linear regression over the same order.
    line = stats.linregress(range(50), [math.log(value) for value in data])
    assert (found.slope, found.error, found.p) == pytest.approx((line.slope, line.stderr, line.pvalue))


# StRD Lottery is drawn at random: nothing drifts there.
def test_lottery_does_not_drift():
    found = drift([("a", value) for value in STRD["Lottery"]["data"]])
    assert not found.seen


# NIST/SEMATECH e-Handbook 1.3.5.3: AUTO83B, US against Japanese cars, equal variances assumed.
def test_handbook_two_sample_t():
    found = t_test(Summary(20.14458, 6.41470, 249), Summary(30.48101, 6.10771, 79), pooled=True)
    assert found.t == pytest.approx(-12.62059, abs=0.00002)
    assert found.freedom == 326


# Outside check: scipy's Welch test from summaries.
def test_welch_against_scipy():
    one, two = Summary(10.0, 1.5, 4), Summary(12.0, 0.3, 7)
    found = t_test(one, two)
    theirs = stats.ttest_ind_from_stats(10.0, 1.5, 4, 12.0, 0.3, 7, equal_var=False)
    assert (found.t, found.p) == pytest.approx((theirs.statistic, theirs.pvalue))


# NIST/SEMATECH e-Handbook 1.3.5.17.1: Grubbs's test for the largest value.
def test_handbook_grubbs():
    data = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    found = farthest(data, two_sided=False)
    assert found.place == 7
    assert found.g == pytest.approx(2.468765, abs=5e-7)
    assert found.critical == pytest.approx(2.0317, abs=0.0005)
    assert found.stands_out


def test_grubbs_is_refused_on_three_boots():
    with pytest.raises(JudgeRefusal, match="none can be told to stand out"):
        farthest([100.0, 100.1, 145.0])


# Fieller's interval, worked example: means 14 and 7, SD 3 and 2, six of each.
@pytest.mark.parametrize(("confidence", "low", "high"), [(0.95, 1.46, 2.83), (0.90, 1.54, 2.64)])
def test_fieller(confidence, low, high):
    found = fieller(Summary(14, 3, 6), Summary(7, 2, 6), confidence=confidence)
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.005)


def test_fieller_refuses_a_denominator_that_may_be_zero():
    with pytest.raises(JudgeRefusal, match="cannot be told from zero"):
        fieller(Summary(14, 3, 6), Summary(1, 2, 6))
