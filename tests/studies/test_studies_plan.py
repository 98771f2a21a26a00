"""The order of the boots, and what a plan can show; figures beside their sources."""

import math
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.judge import Better, Metric, Sample, took_turns, two_levels
from readoff.studies import (
    ChangeBack,
    Configuration,
    Program,
    Study,
    Wanted,
    boots_in_order,
    in_short,
    make_plan,
    noise_of,
)

RATE = Metric("rate of replay", "frames/s", Better.HIGHER)


def a_study(*others, wanted=1, **more):
    """A study whose other configurations are settings, or fittings where the label begins with f."""
    configurations = [Configuration("base", "as it was")] + [
        Configuration(
            label,
            "changed",
            ChangeBack.FITTING if label.startswith("f") else ChangeBack.SETTING,
            minutes=5.0 if label.startswith("f") else 0.0,
        )
        for label in others
    ]
    metrics = tuple(Wanted("replay", f"rate{number}", 0.02) for number in range(wanted))
    return Study("s", "m", tuple(configurations), (Program("replay", "R.COM", "", 0.5),), metrics, **more)


def plan_of(study):
    return make_plan(study, {each: noise_of(study, each, RATE, {}) for each in study.wanted})


def order(study):
    return [boot.label for boot in boots_in_order(study)]


@given(
    st.lists(st.sampled_from(["s1", "s2", "f1", "f2", "f3"]), min_size=1, max_size=4, unique=True),
    st.integers(1, 9),
    st.integers(0, 99),
)
def test_every_order(others, count, seed):
    study = a_study(*others, boots=count, seed=seed)
    labels = order(study)
    assert labels == order(study)
    assert Counter(labels) == dict.fromkeys(study.labels, count)
    assert [boot.number for boot in boots_in_order(study)] == list(range(1, len(labels) + 1))
    for label in others:
        if label.startswith("f"):
            first = labels.index(label)
            assert labels[first : first + count] == [label] * count  # fitted once
            if count > 1:
                assert "base" in labels[:first] and "base" in labels[first + count :]
                assert took_turns(labels, "base", label)
        elif count > 1:
            assert took_turns(labels, "base", label)


def test_settings_take_turns_round_by_round():
    labels = order(a_study("s1", "s2", boots=4))
    for start in range(0, 12, 3):
        assert set(labels[start : start + 3]) == {"base", "s1", "s2"}
    assert len({tuple(order(a_study("s1", "s2", boots=4, seed=seed))) for seed in range(20)}) > 10


def test_a_fitted_part_stands_between_two_halves_of_the_base():
    assert in_short(order(a_study("f1", boots=4))) == "base ×2, f1 ×4, base ×2"
    assert in_short(order(a_study("f1", boots=3))) == "base ×2, f1 ×3, base"


def test_another_machine_gets_no_boots():
    study = a_study("s1")
    beside = Configuration("other", "another", machine="attic")
    assert "other" not in order(Study(**{**vars(study), "configurations": (*study.configurations, beside)}))


def test_the_time():
    plan = plan_of(a_study("f1", boots=3, repeats=2, minutes_a_boot=4.0))
    # 6 boots of 4 minutes and 2 runs of half a minute; the part is fitted once, 5 minutes.
    assert plan.minutes == pytest.approx(6 * (4 + 1) + 5)
    assert plan.runs == 12
    # Warm boots: the machine is switched on three times (begin, part in, part out), each then reset once more.
    warm = plan_of(a_study("f1", boots=3, repeats=2, minutes_a_boot=4.0, cold=False))
    assert warm.minutes == pytest.approx(plan.minutes + 3 * 4)


@pytest.mark.parametrize(("boots", "others"), [(2, 1), (3, 1), (3, 3), (6, 2)])
def test_what_it_will_detect_is_detected_four_times_in_five(boots, others):
    """Outside check: Welch's test of scipy.stats on simulated boots, seeded; 20,000 studies, error under 1 %."""
    import numpy as np
    from scipy import stats

    study = a_study(*(f"s{n}" for n in range(others)), boots=boots, noise=0.01)
    [one] = plan_of(study).detectable
    draw = np.random.default_rng(boots)
    for change, level in ((one.alone, 0.05), (one.together, 0.05 / study.comparisons)):
        base = draw.normal(0, 0.01, (20_000, boots))
        other = draw.normal(math.log1p(change), 0.01, (20_000, boots))
        found = stats.ttest_ind(base, other, axis=1, equal_var=False).pvalue < level
        assert found.mean() == pytest.approx(0.8, abs=0.012)


def test_it_promises_no_more_than_boots_of_equal_spread_would_show():
    """Smallest change in boot SDs by TTestIndPower of statsmodels, 3 boots a side: 3.07; 10 a side: 1.33."""
    for boots, least in ((3, 3.07), (10, 1.33)):
        [one] = plan_of(a_study("s1", boots=boots, noise=0.01)).detectable
        in_sd = math.log1p(one.alone) / 0.01
        assert least < in_sd + 0.005 and in_sd < least * 1.2


def test_more_comparisons_see_less():
    [alone] = plan_of(a_study("s1")).detectable
    many = plan_of(a_study("s1", "s2", wanted=3)).detectable
    assert a_study("s1", "s2", wanted=3).comparisons == 9  # 3 pairs, 3 metrics
    assert all(each.together > each.alone == alone.alone for each in many)
    assert many[0].boots_needed > alone.boots_needed


def test_one_boot_shows_nothing_and_two_never_no_difference():
    one, two = plan_of(a_study("s1", boots=1)), plan_of(a_study("s1", boots=2))
    assert (one.detectable[0].alone, one.detectable[0].together) == (None, None)
    assert any("one boot of each shows nothing" in line for line in one.cannot)
    assert any("two boots of each never show that" in line for line in two.cannot)
    assert not any("never show" in line for line in plan_of(a_study("s1")).cannot)


def test_what_it_could_not_conclude():
    told = " ".join(plan_of(a_study("f1", "f2")).cannot)
    assert "f1 and f2" in told and "do not take turns" in told
    assert "base and f1" not in told
    assert told.count("one does not stand for all") == 2
    assert "6 boots of each would find them" in " ".join(plan_of(a_study("s1")).cannot)
    assert "cold boots" in " ".join(plan_of(a_study("s1", cold=False)).cannot)
    beside = Configuration("other", "another", machine="attic")
    study = a_study("s1")
    told = plan_of(Study(**{**vars(study), "configurations": (*study.configurations, beside)})).cannot
    assert any("a ratio of machines is not a finding about a part" in line for line in told)


def test_a_fine_plan_has_nothing_to_confess():
    assert plan_of(a_study("s1", boots=10, noise=0.005)).cannot == ()


def test_noise_comes_from_the_boots_so_far():
    study = a_study("s1", noise=0.03)
    wanted = study.wanted[0]
    side = [Sample(f"b{n}", value) for n, value in enumerate((99.0, 100.0, 101.0))]
    seen = noise_of(study, wanted, RATE, {"base": side, "s1": [Sample("x", 50.0)]})
    assert seen.known and seen.sd == pytest.approx(0.01, rel=1e-3)
    assert "3 boots of base" in seen.words
    attic = Configuration("attic", "another", machine="attic")
    beside = Study(**{**vars(study), "configurations": (*study.configurations, attic)})
    wild = [Sample(f"a{n}", value) for n, value in enumerate((50.0, 100.0, 150.0))]
    assert noise_of(beside, wanted, RATE, {"base": side, "attic": wild}) == seen
    for useless in (
        {},
        {"base": side[:1]},
        {"base": [Sample("a", 0.0), Sample("b", 1.0)]},
        {"base": side[:1] * 2},
    ):
        assumed = noise_of(study, wanted, RATE, useless)
        assert not assumed.known and assumed.sd == 0.03


def test_best_repeats_of_a_boot():
    """ceil(sqrt(c2/c1 T1^2/T2^2)), Kalibera & Jones, ISMM 2013; boots of 3 minutes and runs of half a minute."""
    logs = [[4.60, 4.62], [4.66, 4.61], [4.58, 4.60]]
    samples = [Sample(f"b{at}", math.exp(value)) for at, boot in enumerate(logs) for value in boot]
    study = a_study("s1", minutes_a_boot=3.0)
    levels = two_levels(logs)
    by_hand = math.ceil(math.sqrt(3.0 / 0.5 * levels.within / levels.boot_variance))
    assert noise_of(study, study.wanted[0], RATE, {"base": samples}).best_repeats == by_hand > 1


def test_configurations_far_apart_say_nothing_of_how_boots_differ():
    """The same boots in two configurations, one a quarter faster: what is between them is no boot's doing."""
    logs = [[4.60, 4.62], [4.66, 4.61], [4.58, 4.60]]

    def side(mark, off):
        boots = enumerate(logs)
        return [Sample(f"{mark}{at}", math.exp(value + off)) for at, boot in boots for value in boot]

    study = a_study("s1", minutes_a_boot=3.0)
    one = noise_of(study, study.wanted[0], RATE, {"base": side("a", 0.0)})
    two = noise_of(study, study.wanted[0], RATE, {"base": side("a", 0.0), "s1": side("b", 0.22)})
    assert (two.best_repeats, two.within) == (one.best_repeats, pytest.approx(one.within))
    assert two.sd == pytest.approx(one.sd)
