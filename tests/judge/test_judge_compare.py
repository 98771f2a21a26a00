"""compare(): verdicts, refusals, rounding, and that nothing ever comes out as a traceback or a NaN."""

import json
import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.errors import JudgeRefusal
from readoff.judge import Better, Extent, Finding, Metric, Sample, Verdict, compare

RATE = Metric("replay.rate", "frames/s", Better.HIGHER)
TIME = Metric("replay.time", "s", Better.LOWER)
SIZE = Metric("memory.free", "KB", Better.NEITHER)


def boots(values, prefix, quantum=0.0, repeats=1):
    return [
        Sample(f"{prefix}{boot}", value, quantum, f"{prefix}{boot}.{repeat}")
        for boot, value in enumerate(values)
        for repeat in range(repeats)
    ]


def judged(base, other, *, metric=RATE, quantum=0.0, repeats=1, **more) -> Finding:
    return compare(
        metric,
        boots(base, "a", quantum, repeats),
        boots(other, "b", quantum, repeats),
        base_label="base",
        other_label="other",
        **more,
    )


def refused(*arguments, **more) -> str:
    with pytest.raises(JudgeRefusal) as caught:
        judged(*arguments, **more)
    return caught.value.sentence()


UP = ([100.0, 100.4, 99.8], [110.1, 109.7, 110.4])


@pytest.mark.parametrize(
    ("metric", "verdict"), [(RATE, Verdict.FASTER), (TIME, Verdict.SLOWER), (SIZE, Verdict.HIGHER)]
)
def test_the_same_rise_means_faster_slower_or_higher_by_the_metric(metric, verdict):
    finding = judged(*UP, metric=metric)
    assert finding.verdict is verdict
    assert finding.ratio == pytest.approx(1.1, abs=0.003)
    assert finding.extent is Extent.BEYOND
    assert f"other {'reads' if metric is SIZE else 'is'} {verdict} than base" in finding.sentence
    assert f"other ÷ base = {finding.ratio:.5g}" in finding.sentence


@pytest.mark.parametrize(
    ("metric", "verdict"), [(RATE, Verdict.SLOWER), (TIME, Verdict.FASTER), (SIZE, Verdict.LOWER)]
)
def test_the_same_fall(metric, verdict):
    finding = judged(UP[1], UP[0], metric=metric)
    assert finding.verdict is verdict
    assert finding.ratio < 1


def test_time_and_rate_of_the_same_work_lead_to_reciprocal_findings():
    rate = judged(*UP)
    time = judged([100 / v for v in UP[0]], [100 / v for v in UP[1]], metric=TIME)
    assert time.ratio == pytest.approx(1 / rate.ratio)
    assert time.p == pytest.approx(rate.p)
    assert time.verdict is rate.verdict is Verdict.FASTER
    assert time.interval95.low == pytest.approx(1 / rate.interval95.high)


def test_repeats_in_a_boot_do_not_stand_in_for_boots():
    once, often = judged(*UP), judged(*UP, repeats=9)
    assert often.p == pytest.approx(once.p)
    assert often.freedom == pytest.approx(once.freedom)
    assert (once.base_boots, len(often.base_runs)) == (3, 27)


def test_a_boot_with_more_repeats_weighs_no_more():
    base = [*boots([100, 102], "a"), *(Sample("a2", 104.0, 0.0, f"a2.{n}") for n in range(50))]
    finding = compare(RATE, base, boots([100, 102, 104], "b"), base_label="base", other_label="other")
    assert finding.ratio == pytest.approx(1.0)


def test_no_difference_that_matters_needs_three_boots_a_side():
    quiet = [100.0, 100.01, 99.99]
    assert judged(quiet, quiet).verdict is Verdict.NO_DIFFERENCE
    two = judged(quiet[:2], quiet[:2])
    assert two.verdict is Verdict.UNDECIDED
    assert two.further_boots == 1
    assert 'Two boots never show "no difference"' in two.sentence
    assert judged(quiet[:2], quiet * 10).verdict is Verdict.UNDECIDED


def test_a_wide_interval_is_undecided_and_says_how_many_boots():
    finding = judged([100, 103, 97], [101, 104.5, 98])
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.further_boots is not None and finding.further_boots >= 3
    assert f"About {finding.further_boots} more boots of each would decide" in finding.sentence


def test_a_change_within_the_margin_is_real_but_too_small():
    finding = judged([100, 100.05, 99.95], [100.5, 100.55, 100.45])
    assert finding.verdict is Verdict.FASTER
    assert finding.extent is Extent.WITHIN
    assert "too small to matter" in finding.sentence


def test_each_declared_look_asks_more():
    once, twice = (
        judged([100, 101, 102], [102.8, 103.8, 104.8]),
        judged([100, 101, 102], [102.8, 103.8, 104.8], looks=2),
    )
    assert twice.p_adjusted == pytest.approx(2 * once.p)
    assert once.changed and not twice.changed
    assert "at one of 2 looks" in twice.sentence
    # Between 5 and 2.5 %, "no difference" is said at one look and not at two.
    near = [100, 101.2, 101.8], [100.1, 101.3, 101.9]
    p = judged(*near).contrast.p_clear(math.log(1.02))
    assert 0.025 < p < 0.05
    assert judged(*near).verdict is Verdict.NO_DIFFERENCE
    assert judged(*near, looks=2).verdict is Verdict.UNDECIDED
    assert "not 0 times" in refused(*UP, looks=0)


def test_two_against_thirty_boots_works():
    thirty = [100 + 0.1 * (n % 7) for n in range(30)]
    finding = judged([120.0, 120.3], thirty)
    assert finding.verdict is Verdict.SLOWER
    assert (finding.base_boots, finding.other_boots) == (2, 30)


@pytest.mark.parametrize(
    ("base", "other", "words"),
    [
        ([100], [110, 111], "one boot of 'base'"),
        ([100, 101], [110], "one boot of 'other'"),
        ([], [110, 111], "no reading of 'replay.rate' in configuration 'base'"),
        ([0, 0, 0], [0, 0, 0], "is zero"),
        ([100, -1, 100], [100, 101, 102], "is negative"),
        ([100, math.nan, 100], [100, 101, 102], "not a number"),
        ([100, 101, 102], [100, math.inf, 102], "not a number"),
        ([100, 100, 100], [100, 100, 100], "below the resolution"),
        ([100, 100, 100], [110, 110, 110], "below the resolution"),
        ([1e-200, 1e-200, 1.1e-200], [1e200, 1e200, 1.1e200], "far beyond what any program measures"),
        ([1e-150, 1e-150, 1.01e-150], [1e150, 1e150, 0.99e150], "more than a ratio can be written for"),
    ],
)
def test_refusals_say_why(base, other, words):
    assert words in refused(base, other)


def test_refusal_of_one_boot_with_many_repeats():
    assert "one boot" in refused([100], [110], repeats=30)


def test_refusal_of_mixed_units():
    with pytest.raises(JudgeRefusal, match="in 's' and the metric in 'frames/s'"):
        compare(
            RATE,
            boots([100, 101], "a"),
            [Sample("b0", 3.0, run=7, unit="s"), Sample("b1", 3.1, run=8, unit="s")],
            base_label="base",
            other_label="other",
        )


def test_refusal_of_a_run_on_both_sides():
    same = boots([100, 101], "a")
    with pytest.raises(JudgeRefusal, match="stands on both sides"):
        compare(RATE, same, same, base_label="base", other_label="other")


def test_refusal_of_a_reading_no_larger_than_its_rounding():
    assert "no larger than what rounding may add or take" in refused([1, 1, 2], [2, 2, 3], quantum=2)


@pytest.mark.parametrize("margin", [0, -0.02, 1, 2, math.nan, math.inf])
def test_refusal_of_a_margin_that_is_none(margin):
    assert "smallest difference that matters" in refused(*UP, margin=margin)


def test_a_boot_on_both_sides_is_named():
    base = [Sample("x", 100.0, run=1), Sample("y", 101.0, run=2)]
    other = [Sample("x", 100.5, run=3), Sample("z", 101.5, run=4)]
    finding = compare(RATE, base, other, base_label="base", other_label="other")
    assert "Boot x counts on both sides" in finding.sentence


def test_equal_readings_are_below_resolution_and_not_without_error():
    finding = judged([12, 12, 12], [12, 12, 12], quantum=1)
    assert finding.below_resolution
    assert finding.margin == pytest.approx(12.5 / 11.5 - 1)
    assert finding.interval95.low <= 11.5 / 12.5
    assert finding.interval95.high >= 12.5 / 11.5
    assert finding.rounding is not None
    assert finding.rounding.low == pytest.approx(11.5 / 12.5)
    assert "below the resolution of 8.7 %" in finding.sentence


def test_one_step_apart_may_be_rounding_alone():
    finding = judged([10, 10, 10], [11, 11, 11], quantum=1)
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.further_boots is None
    assert "longer run or a finer display" in finding.sentence


def test_many_equal_boots_do_not_make_rounding_go_away():
    # Thirty boots make the standard error small; the hard bound of half a step a side stays.
    one_step, two_steps = judged([10] * 30, [11] * 30, quantum=1), judged([10] * 30, [12] * 30, quantum=1)
    assert one_step.p < 0.05
    assert one_step.verdict is Verdict.UNDECIDED
    assert two_steps.interval95.low == pytest.approx(11.5 / 10.5)
    assert two_steps.interval95.high == pytest.approx(12.5 / 9.5)


def test_boots_that_look_equal_still_may_differ_by_rounding():
    finding = judged([1000] * 2, [1003] * 2, quantum=1)
    assert finding.contrast.boot_error == pytest.approx(math.hypot(1 / 1000, 1 / 1003) / math.sqrt(12 * 2))
    assert finding.freedom == pytest.approx(2, abs=0.01)


def test_readings_that_wander_over_many_steps_average_their_rounding_out():
    wander = [95, 103, 108, 99, 101, 97, 105, 92, 100, 104]
    with_step, exact = judged(wander, wander[::-1], quantum=1), judged(wander, wander[::-1])
    assert with_step.resolution == 0
    assert with_step.contrast.error == pytest.approx(exact.contrast.error, rel=0.01)


def test_repeats_of_one_rounding_do_not_average_it_out():
    few, many = judged([72.9] * 3, [74.1] * 3, quantum=0.1), judged([72.9] * 30, [74.1] * 30, quantum=0.1)
    assert many.contrast.resolution_variance == pytest.approx(few.contrast.resolution_variance)
    # JCGM 100:2008 F.2.2.1: q/sqrt(12) a rounding.
    expected = 0.1 / math.sqrt(12) * math.hypot(1 / 72.9, 1 / 74.1)
    assert many.contrast.rounding_error == pytest.approx(expected)


def test_start_and_stop_of_a_timer_round_twice():
    side = [Sample(f"a{n}", 100.0, 1.0, n, roundings=2) for n in range(3)]
    other = [Sample(f"b{n}", 120.0, 1.0, n, roundings=2) for n in range(3)]
    finding = compare(TIME, side, other, base_label="base", other_label="other")
    # JCGM 100:2008 F.2.2.1: q/sqrt(12) a rounding, so q/sqrt(6) for two.
    assert finding.contrast.rounding_error == pytest.approx(math.hypot(1 / 100, 1 / 120) / math.sqrt(6))
    assert finding.rounding is not None
    assert finding.rounding.low == pytest.approx(119 / 101)


STEADY = [[100, 100.6, 99.5], [103, 103.9, 102.5], [99, 99.3, 98.5]]


def test_the_boot_variance_is_pooled_over_three_configurations_only_by_the_rule():
    third = boots(STEADY[2], "c")
    fourth = boots([97, 97.8, 96.9], "d")
    assert not judged(*STEADY[:2], pool=[third]).pooled  # six degrees of freedom are too few
    pooled = judged(*STEADY[:2], pool=[third, fourth])
    assert pooled.pooled and pooled.freedom == pytest.approx(8)
    wild = judged(*STEADY[:2], pool=[third, fourth, boots([90, 100, 110], "e")])
    assert not wild.pooled


def test_a_bad_reading_in_the_pool_is_named_and_left_out():
    finding = judged(*STEADY[:2], pool=[boots([0, 0], "c")])
    assert "could not lend its spread" in finding.sentence


positive = st.floats(min_value=1e-6, max_value=1e9)
side = st.lists(
    st.tuples(st.integers(0, 4), positive, st.sampled_from([0.0, 1e-7, 0.01, 1.0, 10.0])),
    min_size=0,
    max_size=8,
)


@settings(max_examples=150, deadline=None)
@given(side, side, st.sampled_from(list(Better)))
def test_anything_gives_a_finding_without_nan_or_a_refusal(base, other, better):
    metric = Metric("m", "u", better)
    sides = [
        [Sample(f"{mark}{boot}", value, step, f"{mark}{n}") for n, (boot, value, step) in enumerate(rows)]
        for mark, rows in (("a", base), ("b", other))
    ]
    try:
        finding = compare(metric, *sides, base_label="base", other_label="other")
    except JudgeRefusal as refusal:
        assert refusal.what
        return
    assert json.dumps(finding.as_dict(), allow_nan=False)
    assert not {"nan", "inf"} & set(re.findall("[a-z]+", finding.sentence.lower()))
    assert finding.interval95.low <= finding.interval90.low <= finding.ratio * (1 + 1e-9)
    assert finding.ratio * (1 - 1e-9) <= finding.interval90.high <= finding.interval95.high
    assert 0 <= finding.p <= 1


# Whole numbers: two doubles that differ in the last bit count as equal, which another test refuses.
spread_out = st.lists(st.integers(1, 10**6), min_size=2, max_size=5, unique=True)


@settings(max_examples=60, deadline=None)
@given(spread_out, spread_out)
def test_swapping_the_sides_turns_the_finding_round(base, other):
    there, back = judged(base, other), judged(other, base)
    assert there.ratio * back.ratio == pytest.approx(1)
    assert there.p == pytest.approx(back.p)
    assert there.changed == back.changed


# -- boots that stand out ----------------------------------------------------------------------------------------


def test_a_boot_that_stands_out_is_pointed_at_and_counts():
    """The data of the NIST/SEMATECH e-Handbook 1.3.5.17.1, where 245.57 is the outlier, against steady boots."""
    odd = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    finding = judged(odd, [200.1, 200.4, 199.8, 200.2])
    assert finding.standing_out == (("base", "a7"),)
    assert finding.base_boots == 8
    assert "Boot a7 stands out among those of base" in finding.sentence
    assert finding.as_dict()["standing_out"] == [{"label": "base", "boot": "a7"}]


def test_among_three_boots_and_among_equal_ones_none_is_pointed_at():
    assert judged([100, 100.1, 60], [100, 100.2, 100.1]).standing_out == ()
    assert judged([100] * 4, [100] * 5, quantum=1).standing_out == ()


# -- words for what is far off -----------------------------------------------------------------------------------


def test_beyond_a_hundredfold_the_ratio_is_told_and_never_minus_a_hundred_per_cent():
    finding = judged([1, 1000, 30], [2000, 3, 500])
    assert "-100 %" not in finding.sentence
    assert "anything from ×0.0019" in finding.sentence
    assert "its replay.rate is 250.5 times as high" in judged([1, 1.01, 1.02], [250, 252, 257]).sentence
