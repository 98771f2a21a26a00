"""Whole studies: families under Holm, several configurations, holes with reasons; the overall figure."""

import math

import pytest

from readoff.errors import JudgeRefusal
from readoff.judge import Better, Metric, Sample, Verdict, as_family, compare, judge_study, overall

RATE = Metric("rate", "frames/s", Better.HIGHER)
TIME = Metric("time", "s", Better.LOWER)


def boots(values, mark):
    return [Sample(f"{mark}{n}", value, 0.0, f"{mark}{n}") for n, value in enumerate(values)]


def study(**configurations):
    return {
        "rate": {label: boots(values, label) for label, values in configurations.items()},
        "time": {label: boots([1000 / v for v in values], label) for label, values in configurations.items()},
    }


STEPS = {"slow": [100, 100.3, 99.8], "mid": [104, 104.2, 103.7], "fast": [104.1, 104.0, 103.9]}


def test_each_configuration_against_the_first_and_the_one_before_it():
    found = judge_study([RATE, TIME], study(**STEPS), list(STEPS))
    pairs = [(f.metric.name, f.base_label, f.other_label, f.verdict) for f in found.against_base]
    assert pairs == [
        ("rate", "slow", "mid", Verdict.FASTER),
        ("rate", "slow", "fast", Verdict.FASTER),
        ("time", "slow", "mid", Verdict.FASTER),
        ("time", "slow", "fast", Verdict.FASTER),
    ]
    assert [(f.base_label, f.other_label) for f in found.against_next[:2]] == [
        ("slow", "mid"),
        ("mid", "fast"),
    ]
    assert found.against_next[1].verdict is Verdict.NO_DIFFERENCE
    assert found.family == 6  # three pairs, two metrics; slow-mid counts once
    assert not found.refused


def test_a_family_asks_more_of_each_comparison():
    metric = RATE
    alone = compare(
        metric, boots([100, 101, 102], "a"), boots([103, 104, 105], "b"), base_label="a", other_label="b"
    )
    assert alone.changed
    family = as_family([alone] * 10)
    assert family[0].p_adjusted == pytest.approx(10 * alone.p)
    assert not family[0].changed
    assert "among 10" in family[0].sentence
    assert family[0].smallest_detectable > alone.smallest_detectable


def test_holes_are_listed_with_their_reason():
    evidence = study(**STEPS)
    del evidence["time"]["mid"]
    evidence["rate"]["fast"] = boots([0, 0, 0], "fast")
    found = judge_study([RATE, TIME, Metric("absent", "u", Better.HIGHER)], evidence, list(STEPS))
    reasons = {(r.metric.name, r.base_label, r.other_label): r.reason for r in found.refused}
    assert "no reading of 'time' in configuration 'mid'" in reasons["time", "slow", "mid"]
    assert "is zero" in reasons["rate", "mid", "fast"]
    assert "no reading of 'absent'" in reasons["absent", "slow", "mid"]
    assert len(found.refused) + found.family == 9


def test_configurations_lend_their_spread():
    five = {f"c{n}": [100 + n, 100.5 + n, 99.6 + n] for n in range(5)}
    found = judge_study([RATE], study(**five), list(five))
    assert all(f.pooled for f in found.against_base)
    assert found.against_base[0].freedom == pytest.approx(10)


def test_margins_by_metric():
    found = judge_study([RATE, TIME], study(**STEPS), list(STEPS), margin={"time": 0.1})
    assert {f.metric.name: f.margin for f in found.against_base} == {"rate": 0.02, "time": 0.1}


@pytest.mark.parametrize("labels", [["slow"], ["slow", "slow"], []])
def test_a_study_needs_two_configurations(labels):
    with pytest.raises(JudgeRefusal, match="two configurations"):
        judge_study([RATE], study(**STEPS), labels)


def sides(noise):
    """Two metrics whose boots move together, as one slow boot slows everything."""
    base = {"rate": boots([100 * n for n in noise], "a"), "time": boots([10 / n for n in noise], "a")}
    other = {"rate": boots([110 * n for n in noise], "b"), "time": boots([10 / n for n in noise], "b")}
    return base, other


def test_overall_is_the_geometric_mean_turned_so_that_more_is_better():
    base, other = sides([0.999, 1.0, 1.001])
    found = overall([RATE, TIME], base, other, base_label="a", other_label="b")
    assert found.ratio == pytest.approx(math.sqrt(1.1))
    assert found.verdict is Verdict.FASTER
    assert found.base_value == pytest.approx(1)


def test_overall_counts_what_moves_all_metrics_of_a_boot_once():
    noise = [0.97, 1.0, 1.03]
    base, other = sides(noise)
    found = overall([RATE, TIME], base, other, base_label="a", other_label="b")
    alone = compare(RATE, base["rate"], other["rate"], base_label="a", other_label="b")
    # Two metrics that move together tell no more than one.
    assert found.contrast.error == pytest.approx(alone.contrast.error)


def test_overall_leaves_out_boots_that_lack_a_metric_and_says_so():
    base, other = sides([0.999, 1.0, 1.001])
    other["time"] = other["time"][:2]
    found = overall([RATE, TIME], base, other, base_label="a", other_label="b")
    assert found.other_boots == 2
    assert "1 of the boots of b lack a metric" in found.sentence


def test_overall_carries_the_rounding_of_its_metrics():
    # Relative steps of 1/100 and 1/10 average to 0.055 of a composite, on each side.
    side = {
        "rate": [Sample(f"a{n}", 100.0, 1.0, n) for n in range(3)],
        "time": [Sample(f"a{n}", 10.0, 1.0, n) for n in range(3)],
    }
    other = {
        name: [Sample(f"b{s.run}", s.value, s.quantum, s.run) for s in rows] for name, rows in side.items()
    }
    found = overall([RATE, TIME], side, other, base_label="a", other_label="b")
    assert found.contrast.rounding_error == pytest.approx(0.055 / math.sqrt(12) * math.sqrt(2))
    assert found.below_resolution


def test_overall_refuses_what_has_no_better_way_or_no_readings():
    base, other = sides([0.999, 1.0, 1.001])
    size = Metric("time", "KB", Better.NEITHER)
    with pytest.raises(JudgeRefusal, match="no better way"):
        overall([RATE, size], base, other, base_label="a", other_label="b")
    with pytest.raises(JudgeRefusal, match="no reading of 'time'"):
        overall([RATE, TIME], base, {"rate": other["rate"]}, base_label="a", other_label="b")


def test_another_machine_neither_lends_its_spread_nor_borrows():
    """The rule of the pool: configurations of the same machine (docs/judging.md)."""
    five = {name: [100 + n, 100.4 + n, 99.7 + n] for n, name in enumerate("abcd")}
    beside = {**five, "attic": [50, 50.3, 49.8]}
    machines = dict.fromkeys(five, "desk") | {"attic": "attic"}
    alone = judge_study([RATE], study(**five), list(five)).against_base
    found = judge_study([RATE], study(**beside), list(beside), machines=machines).against_base
    assert all(each.pooled for each in alone)
    assert [each.freedom for each in found[:3]] == [each.freedom for each in alone]
    assert found[3].other_label == "attic" and not found[3].pooled
