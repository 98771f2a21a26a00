"""Targets, prices, drift, outliers, repeats, power: the judge's smaller answers and their refusals."""

import math

import pytest
from scipy import stats

from readoff.errors import JudgeRefusal
from readoff.judge import (
    Better,
    Metric,
    Offer,
    Sample,
    against_target,
    boots_to_clear,
    boots_to_detect,
    drift,
    effective_count,
    farthest,
    geometric_mean,
    smallest_detectable,
    took_turns,
    two_levels,
    weigh,
    weighted_harmonic_mean,
)
from readoff.judge.power import chance_outside

RATE = Metric("rate", "frames/s", Better.HIGHER)
TIME = Metric("time", "s", Better.LOWER)
SIZE = Metric("size", "KB", Better.NEITHER)


def boots(values, mark="a", quantum=0.0):
    return [Sample(f"{mark}{n}", value, quantum, f"{mark}{n}") for n, value in enumerate(values)]


def test_a_target_reached_missed_and_not_certain():
    assert against_target(RATE, "a", boots([22, 22.2, 21.9]), 20).crossed is True
    assert against_target(RATE, "a", boots([18, 18.2, 17.9]), 20).crossed is False
    unsure = against_target(RATE, "a", boots([19, 21, 20.5]), 20)
    assert unsure.crossed is None
    assert "not certain whether a reaches 20 frames/s or more" in unsure.sentence


def test_the_chance_is_that_of_student_s_t():
    values = [20.5, 21.5, 20.1]
    found = against_target(RATE, "a", boots(values), 20)
    logs = [math.log(v) for v in values]
    one_sided = stats.ttest_1samp(logs, math.log(20), alternative="greater")
    assert found.chance == pytest.approx(1 - one_sided.pvalue)
    assert found.chance_next_boot < found.chance


def test_for_times_less_is_better():
    found = against_target(TIME, "a", boots([5, 5.1, 4.9]), 6)
    assert found.crossed is True
    assert "6 s or less" in found.sentence


def test_a_target_within_the_rounding_is_never_certain():
    found = against_target(RATE, "a", boots([20] * 30, quantum=1), 20.49)
    assert found.chance < 0.05  # by the standard error alone it would be certain
    assert found.crossed is None


@pytest.mark.parametrize(
    ("metric", "samples", "target", "words"),
    [
        (RATE, boots([20]), 20, "one boot"),
        (RATE, boots([20, 20]), 20, "step of the display is not known"),
        (RATE, boots([20, 21]), 0, "above zero"),
        (RATE, boots([20, 21]), math.nan, "above zero"),
        (SIZE, boots([20, 21]), 20, "one way is better"),
        (RATE, [], 20, "no reading"),
    ],
)
def test_targets_refused(metric, samples, target, words):
    with pytest.raises(JudgeRefusal, match=words):
        against_target(metric, "a", samples, target)


BASE = [100, 100.3, 99.8]


def test_price_of_a_per_cent_and_who_dominates_whom():
    offers = [
        Offer("cheap", 10, boots([110, 110.2, 109.8], "c")),
        Offer("dear", 40, boots([110.1, 109.9, 110.0], "d")),
        Offer("big", 100, boots([150, 150.4, 149.7], "e")),
        Offer("idle", 5, boots([100.1, 100.2, 99.7], "f")),
    ]
    cheap, dear, big, idle = weigh(RATE, "base", boots(BASE), offers)
    assert cheap.per_cent_price == pytest.approx(1.0, abs=0.05)
    assert cheap.cheapest < cheap.per_cent_price < cheap.dearest
    assert cheap.dominated_by == ()
    assert dear.dominated_by == ("cheap",)
    assert big.dominated_by == ()
    assert idle.per_cent_price is None
    assert idle.dominated_by == ("",)
    assert "buys no gain that was found; a better buy: leaving all as it is" in idle.sentence
    assert "each per cent gained" in dear.sentence and "better buy: cheap" in dear.sentence


def test_prices_carry_their_currency_where_one_was_said():
    offers = [
        Offer("good", 10, boots([110, 110.2, 109.8], "c")),
        Offer("idle", 5, boots([100.1, 100.2, 99.7], "e")),
    ]
    good, idle = weigh(RATE, "base", boots(BASE), offers, currency="EUR")
    low, high = (f"{price:.4g}" for price in (good.cheapest, good.dearest))
    assert f"good costs {good.per_cent_price:.4g} EUR for each per cent gained" in good.sentence
    assert f"[95 % interval {low} to {high} EUR; " in good.sentence
    assert idle.sentence.startswith("For 5 EUR, idle buys no gain")
    (bare,) = weigh(RATE, "base", boots(BASE), offers[:1])
    assert "EUR" not in bare.sentence and f"interval {low} to {high}; " in bare.sentence


def test_each_declared_look_asks_more_of_an_offer_too():
    offers = [Offer("x", 10, boots([102.2, 102.5, 101.7], "c"))]
    (once,) = weigh(RATE, "base", boots(BASE), offers)
    (often,) = weigh(RATE, "base", boots(BASE), offers, looks=20)
    assert once.finding.looks == 1 and often.finding.looks == 20
    assert often.finding.p_adjusted == pytest.approx(20 * once.finding.p_adjusted)
    assert once.per_cent_price is not None and often.per_cent_price is None
    assert "no gain that was found" in often.sentence


def test_a_faster_offer_at_the_same_price_dominates():
    offers = [
        Offer("x", 10, boots([8, 8.02, 7.99], "c")),
        Offer("y", 10, boots([7, 7.02, 6.99], "d")),
    ]
    slow, fast = weigh(TIME, "base", boots([10, 10.02, 9.99]), offers)
    assert slow.dominated_by == ("y",)
    assert fast.dominated_by == ()
    assert slow.gain == pytest.approx((10 / 8 - 1) * 100, abs=0.2)


def test_what_costs_nothing_has_no_price_of_a_per_cent():
    free = Offer("setting", 0.0, boots([110, 110.3, 109.8], "s"))
    [worth] = weigh(RATE, "base", boots([100, 100.2, 99.9], "b"), [free])
    assert worth.sentence == "setting costs nothing, and gains 10 %."


def test_worth_refused():
    good = Offer("x", 10, boots([8, 8.1], "c"))
    for metric, offers in (
        (SIZE, [good]),
        (RATE, []),
        (RATE, [good, good]),
        (RATE, [Offer("x", -1, good.samples)]),
        (RATE, [Offer("x", math.nan, good.samples)]),
        (RATE, [Offer("x", 1, good.samples[:1])]),
    ):
        with pytest.raises(JudgeRefusal):
            weigh(metric, "base", boots(BASE), offers)


def test_drift_is_seen_across_configurations_that_take_turns():
    session = [("a", 100.0), ("b", 110.1), ("a", 101.0), ("b", 111.2), ("a", 102.1), ("b", 112.0)]
    found = drift(session)
    assert found.seen
    assert found.over_session == pytest.approx(1.026, abs=0.004)
    assert "rose over the session" in found.sentence
    quiet = drift([("a", 100.0), ("b", 110.1), ("a", 100.1), ("b", 109.9), ("a", 100.0), ("b", 110.0)])
    assert not quiet.seen
    assert "No drift" in quiet.sentence


def test_drift_of_equal_boots_and_of_a_perfect_line():
    assert drift([("a", 5.0)] * 4).p == 1.0
    assert drift([("a", math.exp(n / 100)) for n in range(5)]).p < 1e-9


def test_drift_refused():
    with pytest.raises(JudgeRefusal, match="too few"):
        drift([("a", 1.0), ("b", 2.0), ("a", 1.1)])
    with pytest.raises(JudgeRefusal, match="above zero"):
        drift([("a", 1.0), ("a", 0.0), ("a", 1.1)])


@pytest.mark.parametrize(
    ("order", "fair"), [("aaabbb", False), ("ababab", True), ("aabbaa", True), ("ab", False)]
)
def test_taking_turns(order, fair):
    assert took_turns(list(order), "a", "b") is fair


def test_effective_count_never_exceeds_the_count():
    assert effective_count(10, -0.5) == 10


def test_a_boot_that_stands_out():
    found = farthest([100, 100.1, 99.9, 100.05, 99.95, 120])
    assert found.stands_out and found.place == 5
    assert not farthest([100, 101, 99, 100.5, 99.6]).stands_out
    with pytest.raises(JudgeRefusal, match="all values are equal"):
        farthest([1.0] * 5)


def test_best_repeats_by_kalibera_and_jones():
    # T1^2 = 2 (pairs two apart), S2^2 = 5.333, T2^2 = 4.333; ceil(sqrt(120/10 x 2/4.333)) = 3.
    found = two_levels([[9, 11], [11, 13], [13, 15], [9, 11]])
    assert found.within == pytest.approx(2)
    expected = math.ceil(math.sqrt(120 / 10 * found.within / found.boot_variance))
    assert found.best_repeats(120, 10) == expected == 3
    assert found.best_repeats(1, 1000) == 1
    with pytest.raises(ValueError, match="cost some time"):
        found.best_repeats(0, 1)


def test_unequal_repeats_have_an_effective_number_between():
    found = two_levels([[1.0, 1.2], [2.0, 2.1, 2.2, 2.4], [3.0]])
    assert 1 < found.repeats < 4
    assert found.f == pytest.approx(stats.f_oneway([1.0, 1.2], [2.0, 2.1, 2.2, 2.4], [3.0]).statistic)


@pytest.mark.parametrize(
    "readings", [[], [[1.0, 2.0]], [[1.0], [2.0]], [[1.0, 2.0], []], [[1.0, math.nan], [2.0]]]
)
def test_two_levels_refused(readings):
    with pytest.raises(JudgeRefusal):
        two_levels(readings)


def test_planning_figures_agree_with_each_other():
    number = boots_to_detect(0.03, 0.01)
    assert smallest_detectable(number, 0.01) <= 0.03 < smallest_detectable(number - 1, 0.01)
    assert boots_to_detect(1e-9, 1.0) is None
    assert boots_to_clear(0.02, 0.005) == 3
    assert boots_to_clear(0.02, 0.02) > boots_to_clear(0.02, 0.01) > 3
    with pytest.raises(ValueError, match="detects nothing"):
        smallest_detectable(1, 0.01)


@pytest.mark.parametrize(
    ("centre", "spread", "same", "changed", "chance"),
    [
        (0.0, 1.0, 2.0, 1.0, 1.0),  # the two verdicts overlap: one of them is certain
        (0.0, 1.0, -1.0, 1.96, 0.05),
        (0.0, 1.0, 1.0, 1.96, 0.05 + 0.6827),
        (3.0, 0.0, 1.0, 2.0, 1.0),
        (1.5, 0.0, 1.0, 2.0, 0.0),
    ],
)
def test_chance_of_a_verdict(centre, spread, same, changed, chance):
    # 5 % beyond 1.96 and 68.27 % within 1: the normal distribution's own figures.
    assert chance_outside(centre, spread, same, changed) == pytest.approx(chance, abs=1e-4)


def test_means_refused():
    with pytest.raises(JudgeRefusal, match="different units"):
        weighted_harmonic_mean([(10.0, "frames/s"), (3.0, "kflops")], [1, 1])
    for rates, weights in (([], []), ([(0.0, "u")], [1]), ([(1.0, "u")], [1, 2]), ([(1.0, "u")], [0])):
        with pytest.raises(JudgeRefusal):
            weighted_harmonic_mean(rates, weights)
    for values in ([], [0.0, 1.0], [1.0, -1.0], [math.inf]):
        with pytest.raises(JudgeRefusal):
            geometric_mean(values)
