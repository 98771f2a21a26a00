"""The judge on random numbers, reckoned once more with scipy and statsmodels from the readings on.

Outside check throughout: scipy.stats (Welch's test, the t distribution) and statsmodels (least squares, Holm, two
one-sided tests). The rule of pooling and of the verdict is that of docs/judging.md, written down here a second time.
"""

from itertools import pairwise

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import ttost_ind

from readoff.judge import (
    Better,
    Metric,
    Sample,
    Verdict,
    against_target,
    drift,
    farthest,
    judge_study,
    largest_g,
    pooled_levels,
    two_levels,
)

RATE = Metric("rate", "frames/s", Better.HIGHER)
TIME = Metric("time", "s", Better.LOWER)
LABELS = ("base", "one", "two", "three")


@st.composite
def studies(draw):
    """Metric name -> label -> logs, one row a boot with its repeats; boots are scattered and unequal in number."""
    generator = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    labels = LABELS[: draw(st.integers(2, 4))]
    counts = {label: draw(st.integers(2, 6)) for label in labels}
    spreads = {label: draw(st.sampled_from([0.009, 0.01, 0.012, 0.05])) for label in labels}
    level = {label: draw(st.sampled_from([0.0, 0.0, 0.004, 0.03, -0.05])) for label in labels}
    repeats = draw(st.integers(1, 3))
    return {
        metric: {
            label: 3
            + level[label]
            + generator.normal(0, spreads[label], (counts[label], 1))
            + generator.normal(0, 0.003, (counts[label], repeats))
            for label in labels
        }
        for metric in ("rate", "time")
    }


def samples(label, logs):
    return [
        Sample(f"{label}{boot}", float(np.exp(value)), 0.0, f"{label}{boot}.{repeat}")
        for boot, row in enumerate(logs)
        for repeat, value in enumerate(row)
    ]


def pooled_by_the_rule(boots):
    """Three configurations, eight degrees of freedom, the largest spread under three times the smallest."""
    spreads = [np.std(each, ddof=1) for each in boots.values()]
    freedom = sum(len(each) - 1 for each in boots.values())
    return len(boots) >= 3 and freedom >= 8 and max(spreads) < 3 * min(spreads)


def by_least_squares(boots, pairs):
    """(p, 95 % interval) of contrasts of two groups in a one-way model: the error pooled over all groups."""
    labels = list(boots)
    groups = np.concatenate([np.full(len(each), labels.index(label)) for label, each in boots.items()])
    design = (groups[:, None] == np.arange(len(labels))).astype(float)
    one_of = dict(zip(labels, np.eye(len(labels)), strict=True))
    tested = (
        sm.OLS(np.concatenate(list(boots.values())), design)
        .fit()
        .t_test(np.array([one_of[other] - one_of[base] for base, other in pairs]))
    )
    return list(zip(tested.pvalue, tested.conf_int(), strict=True))


def by_welch(boots, pairs):
    tested = [stats.ttest_ind(boots[other], boots[base], equal_var=False) for base, other in pairs]
    return [(each.pvalue, tuple(each.confidence_interval(0.95))) for each in tested]


def holm_by_hand(ps):
    """S. Holm 1979 in numpy (statsmodels' own collects garbage at each call, half a second)."""
    order = np.argsort(ps)
    steps = np.sort(ps) * np.arange(len(ps), 0, -1)
    adjusted = np.empty(len(ps))
    adjusted[order] = np.minimum(1, np.maximum.accumulate(steps))
    return adjusted


def test_holm_by_hand_is_that_of_statsmodels():
    ps = np.random.default_rng(7).uniform(0, 1, 40) ** 4
    assert holm_by_hand(ps) == pytest.approx(multipletests(ps, method="holm")[1])


@settings(max_examples=150, deadline=None)
@given(studies())
def test_a_whole_study(logs):
    evidence = {
        metric: {label: samples(label, rows) for label, rows in sides.items()}
        for metric, sides in logs.items()
    }
    labels = list(logs["rate"])
    found = judge_study([RATE, TIME], evidence, labels, margin=0.02)
    findings = {
        (each.metric.name, each.base_label, each.other_label): each
        for each in (*found.against_base, *found.against_next)
    }
    pairs = [(labels[0], each) for each in labels[1:]] + list(pairwise(labels))[1:]
    assert set(findings) == {(metric, *pair) for metric in logs for pair in pairs}
    theirs = {}
    for metric, sides in logs.items():
        boots = {label: rows.mean(axis=1) for label, rows in sides.items()}
        reckon = by_least_squares if pooled_by_the_rule(boots) else by_welch
        theirs |= {(metric, *pair): each for pair, each in zip(pairs, reckon(boots, pairs), strict=True)}
    adjusted_ps = holm_by_hand([p for p, _ in theirs.values()])
    for (key, (p, span)), adjusted in zip(theirs.items(), adjusted_ps, strict=True):
        finding = findings[key]
        assert finding.p == pytest.approx(p, rel=1e-6, abs=1e-12)
        assert finding.p_adjusted == pytest.approx(adjusted, rel=1e-6, abs=1e-12)
        assert np.log([finding.interval95.low, finding.interval95.high]) == pytest.approx(span, abs=1e-9)
        if abs(adjusted - 0.05) > 1e-6:
            assert finding.changed == (adjusted < 0.05)
        better = finding.ratio > 1 if key[0] == "rate" else finding.ratio < 1
        assert finding.verdict is not (Verdict.SLOWER if better else Verdict.FASTER)


@settings(max_examples=60, deadline=None)
@given(studies())
def test_no_difference_that_matters_is_what_two_one_sided_tests_show(logs):
    """Two configurations, so nothing is pooled; statsmodels in logs, at 5 % each, three boots a side."""
    base, other = (logs["rate"][label] for label in list(logs["rate"])[:2])
    evidence = {"rate": {"base": samples("base", base), "one": samples("one", other)}}
    [finding] = judge_study([RATE], evidence, ["base", "one"], margin=0.02).against_base
    geometric = [np.exp(rows.mean(axis=1)) for rows in (other, base)]
    p, _, _ = ttost_ind(*geometric, 1 / 1.02, 1.02, usevar="unequal", transform=np.log)
    three = min(len(base), len(other)) >= 3
    if abs(p - 0.05) > 1e-6 and not finding.changed:
        assert (finding.verdict is Verdict.NO_DIFFERENCE) == (p < 0.05 and three)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(3, 5), st.sampled_from([0.0, 0.002, -0.01]))
def test_drift_is_the_slope_of_least_squares_with_a_level_for_each_configuration(seed, rounds, slope):
    generator = np.random.default_rng(seed)
    labels = [label for _ in range(rounds) for label in generator.permutation(["base", "one", "two"])]
    logs = slope * np.arange(len(labels)) + generator.normal(0, 0.01, len(labels))
    found = drift([(label, float(np.exp(value))) for label, value in zip(labels, logs, strict=True)])
    levels = (np.array(labels)[:, None] == np.array(["base", "one", "two"])).astype(float)
    fit = sm.OLS(logs, np.column_stack([levels, np.arange(len(labels))])).fit()
    assert (found.slope, found.error) == pytest.approx((fit.params[-1], fit.bse[-1]), rel=1e-6)
    assert (found.p, found.freedom) == (pytest.approx(fit.pvalues[-1], rel=1e-6), fit.df_resid)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 8), st.floats(-0.03, 0.03))
def test_the_chance_of_a_target_is_that_of_students_t(seed, count, off):
    generator = np.random.default_rng(seed)
    logs = 3 + generator.normal(0, 0.01, (count, 1))
    target = float(np.exp(3 + off))
    mean, error = logs.mean(), logs.std(ddof=1) / np.sqrt(count)
    for metric, sign in ((RATE, 1), (TIME, -1)):
        found = against_target(metric, "base", samples("base", logs), target)
        room = sign * (mean - np.log(target))
        assert found.chance == pytest.approx(stats.t.cdf(room / error, count - 1), abs=1e-9)
        one_more = np.sqrt(error**2 + logs.var(ddof=1))
        assert found.chance_next_boot == pytest.approx(stats.t.cdf(room / one_more, count - 1), abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(4, 12), st.sampled_from([0.0, 0.03, 0.3]))
def test_a_boot_stands_out_as_its_studentised_residual_does(seed, count, off):
    """G in another form: the largest externally studentised residual of a mean, against t with n - 2 freedom."""
    generator = np.random.default_rng(seed)
    values = generator.normal(0, 0.01, count)
    values[0] += off
    found = farthest(values, level=0.01)
    influence = sm.OLS(values, np.ones(count)).fit().get_influence()
    residuals = np.abs(influence.resid_studentized_external)
    assert found.place == int(np.argmax(residuals))
    p = 2 * count * stats.t.sf(residuals.max(), count - 2)
    if abs(p - 0.01) > 1e-6:
        assert found.stands_out == (p < 0.01)
    assert found.g <= largest_g(count) + 1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 4), st.integers(2, 5), st.integers(2, 3))
def test_spread_of_several_configurations_is_that_of_a_nested_analysis_of_variance(
    seed, sides, boots, repeats
):
    """Boots within configurations, readings within boots: mean squares from least squares of the nested models."""
    generator = np.random.default_rng(seed)
    logs = generator.normal(0, 1, (sides, 1, 1)) + generator.normal(0, 0.01, (sides, boots, 1))
    logs = logs + generator.normal(0, 0.005, (sides, boots, repeats))
    found = pooled_levels([two_levels(side.tolist()) for side in logs])
    flat, side_of = logs.ravel(), np.arange(logs.size) // (boots * repeats)
    boot_of = np.arange(logs.size) // repeats
    coarse, fine = (
        sm.OLS(flat, (of[:, None] == np.arange(of.max() + 1)).astype(float)).fit()
        for of in (side_of, boot_of)
    )
    between = (coarse.ssr - fine.ssr) / (coarse.df_resid - fine.df_resid)
    assert found.within == pytest.approx(fine.mse_resid, rel=1e-6)
    assert found.mean_square_between == pytest.approx(between, rel=1e-6)
    assert (found.boots - 1, found.freedom_within) == (coarse.df_resid - fine.df_resid, fine.df_resid)
