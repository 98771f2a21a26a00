"""The verdict never fails and never says "nan", whatever the readings are; and says what it must."""

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readoff.cli.common import plain
from readoff.judge import Better, Metric, Sample, Verdict
from readoff.studies import (
    BootSeen,
    ChangeBack,
    Configuration,
    Done,
    Excluded,
    Gathered,
    Note,
    Notice,
    Program,
    RunSeen,
    Study,
    Target,
    Wanted,
    finding_name,
    judge,
)

LABELS = ("base", "mid", "fast")
PROGRAM = Program("replay", "R.COM")


def a_study(wanted=1, **more):
    configurations = (
        Configuration("base", "as it was"),
        Configuration("mid", "a card", ChangeBack.FITTING, price=10.0, specimen="green"),
        Configuration("fast", "another", price=30.0),
    )
    metrics = tuple(Wanted("replay", f"rate{n}", 0.02) for n in range(wanted))
    return Study("s", "m", configurations, (PROGRAM,), metrics, **more)


def evidence(study, values, better=Better.HIGHER, step=0.0):
    """(Done, Gathered) of boots in turns: label -> one value a boot, the same for each metric."""
    boots, samples = [], {}
    for at in range(max(map(len, values.values()), default=0)):
        for label, column in values.items():
            if at < len(column):
                name = f"11223344-{len(boots):08X}"
                boots.append(
                    BootSeen(name, label, False, 1, False, (RunSeen(len(boots), name, "replay", True),))
                )
                samples.setdefault(label, []).append(Sample(name, column[at], step, len(boots)))
    kept = {label: tuple(s for s in each if not study.exclusion(s.boot)) for label, each in samples.items()}
    out = {label: tuple(s for s in each if study.exclusion(s.boot)) for label, each in samples.items()}
    out = {label: each for label, each in out.items() if each}
    gathered = [Gathered(each, Metric(each.title, "frames/s", better), kept, out) for each in study.wanted]
    return Done(tuple(boots)), gathered


STEPS = {"base": [100, 100.3, 99.8], "mid": [104, 104.2, 103.7], "fast": [104.1, 104.0, 103.9]}


def verdicts(study, values, notices=(), notes=(), **more):
    done, gathered = evidence(study, values, **more)
    return judge(study, Done(done.boots, notes), gathered, notices)


def test_each_against_the_base_and_against_the_one_before_it():
    found = verdicts(a_study(2), STEPS)
    assert [each.name for each in found.judged[:3]] == [
        "base~mid:replay:rate0",
        "base~fast:replay:rate0",
        "mid~fast:replay:rate0",
    ]
    assert [each.given.verdict for each in found.judged[:3]] == [
        Verdict.FASTER,
        Verdict.FASTER,
        Verdict.NO_DIFFERENCE,
    ]
    assert found.family == 6
    assert [each.name for each in found.overall] == ["base~mid:overall", "base~fast:overall"]
    assert found.overall[0].given.ratio == pytest.approx(104 / 100, abs=0.002)


def test_declared_looks_count_for_the_overall_figure_and_for_what_it_is_worth():
    small = {"base": [100, 100.3, 99.8], "mid": [102.2, 102.5, 101.7], "fast": [104.1, 104.0, 103.9]}
    once, often = verdicts(a_study(2), small), verdicts(a_study(2, looks=20), small)
    for one, many in zip(once.overall, often.overall, strict=True):
        assert many.finding.looks == 20
        assert many.finding.p_adjusted == pytest.approx(min(1, 20 * one.finding.p_adjusted))
    assert any("mid costs" in line for line in once.worth)
    assert any("mid buys no gain that was found" in line for line in often.worth)


def test_a_cheaper_buy_that_is_no_slower_dominates():
    worth = verdicts(a_study(), STEPS).worth
    assert "mid costs 2.5" in worth[0] and "a better buy" not in worth[0]
    assert "fast costs" in worth[1] and "a better buy: mid" in worth[1]


def test_a_specimen_is_spoken_of():
    assert any("one specimen (green)" in remark for remark in verdicts(a_study(), STEPS).judged[0].remarks)


def test_a_notice_withholds_what_it_touches_and_nothing_else():
    found = verdicts(a_study(2), STEPS, [Notice("mid:warm", "mid", "Mid was warm.")])
    given_now = {each.name: each.given is not None for each in (*found.judged, *found.overall)}
    assert given_now == {name: "mid" not in name for name in given_now}
    assert "faster" not in found.judged[0].sentence and "mid:warm" in found.judged[0].sentence
    assert any("mid is not weighed" in line for line in found.worth)
    explained = verdicts(a_study(2), STEPS, [Notice("mid:warm", "mid", "Mid was warm.", "on purpose")])
    assert all(each.given for each in explained.judged)


def test_a_failure_stands_in_the_place_of_a_missing_side():
    notes = (Note(1, "", "fast", "", True, "does not start"), Note(2, "", "base", "", False, "hums"))
    found = verdicts(a_study(), {"base": STEPS["base"], "mid": STEPS["mid"]}, notes=notes)
    said = {each.name: each.sentence for each in found.judged}
    assert said["base~fast:replay:rate0"] == "A failure is the result here: fast: does not start."
    assert "is faster than base" in said["base~mid:replay:rate0"]
    assert [each.text for each in found.failures] == ["does not start"]
    assert [each.text for each in found.remarks] == ["hums"]


def test_an_excluded_boot_is_shown_both_ways():
    values = {**STEPS, "mid": [*STEPS["mid"], 60.0]}
    done, _ = evidence(a_study(), values)
    odd = done.boots[-1].boot
    study = a_study(excluded=(Excluded(odd, "a loose cable"),))
    one = verdicts(study, values).judged[0]
    assert one.given.other_boots == 3
    assert f"excluded: {odd}: a loose cable" in " ".join(one.remarks)


def test_an_overall_figure_is_shown_both_ways_too():
    values = {**STEPS, "mid": [*STEPS["mid"], 60.0]}
    done, _ = evidence(a_study(), values)
    odd = done.boots[-1].boot
    [one, _] = verdicts(a_study(2, excluded=(Excluded(odd, "a loose cable"),)), values).overall
    assert one.given.other_boots == 3
    [remark] = [each for each in one.remarks if "excluded" in each]
    assert remark.startswith("With the excluded boots it would be undecided")


def test_an_overall_figure_says_what_its_parts_say():
    """A ratio of machines, turns that were not taken, one specimen, failures: all of it holds for the mean as well."""
    study = a_study(2)
    attic = Configuration("fast", "the one in the attic", machine="attic-386", price=1.0)
    beside = Study(**{**vars(study), "configurations": (*study.configurations[:2], attic)})
    of_part, of_machines = verdicts(beside, STEPS).overall
    assert any("one specimen (green)" in remark for remark in of_part.remarks)
    assert any("ratio of machines (attic-386 to m)" in remark for remark in of_machines.remarks)
    assert any(
        "fast is not weighed, for it is another machine" in line for line in verdicts(beside, STEPS).worth
    )
    notes = (Note(1, "", "fast", "", True, "does not start"),)
    found = verdicts(study, {"base": STEPS["base"], "mid": STEPS["mid"]}, notes=notes)
    assert found.overall[1].sentence == "A failure is the result here: fast: does not start."


def test_what_is_not_in_an_overall_figure_is_said():
    study = a_study(3)
    done, gathered = evidence(study, STEPS)
    gathered[2] = Gathered(gathered[2].wanted, Metric("rate2 of replay", "", Better.NEITHER), {}, {})
    found = judge(study, done, gathered, ())
    assert any("Not in it, for want of readings" in each for each in found.overall[0].remarks)
    assert "rate2 of replay" in found.overall[0].remarks[-1]


def test_a_failure_stands_where_a_target_or_a_worth_would():
    notes = (Note(1, "", "fast", "", True, "does not start"), Note(2, "", "mid", "", True, "hums once"))
    study = a_study(targets=(Target("replay", "rate0", 102.0),))
    found = verdicts(study, {"base": STEPS["base"], "mid": STEPS["mid"]}, notes=notes)
    assert found.targets[2] == "rate0 of replay: A failure is the result here: fast: does not start."
    assert "mid: hums once. mid reaches 102 frames/s" in found.targets[1]
    worth = {each.label: each.sentence for each in found.weighings}
    assert "fast: does not start." in worth["fast"] and "mid: hums once. mid costs" in worth["mid"]


def test_drift_is_not_looked_for_over_several_units():
    study = a_study()
    done, gathered = evidence(study, STEPS)
    odd = replace(gathered[0].samples["base"][1], unit="s")
    samples = {**gathered[0].samples, "base": (*gathered[0].samples["base"], odd)}
    [(_, found, said)] = judge(study, done, [replace(gathered[0], samples=samples)], ()).drifts
    assert found is None and "is in 's' and the metric in 'frames/s'" in said


def test_drift_is_of_one_machine():
    study = a_study()
    attic = Configuration("fast", "the one in the attic", machine="attic-386")
    beside = Study(**{**vars(study), "configurations": (*study.configurations[:2], attic)})
    [(_, found, _)] = verdicts(beside, STEPS).drifts
    assert found.boots == 6


def test_a_look_before_the_plan_is_done_is_told():
    runs = {label: values[:2] for label, values in STEPS.items()}
    study = a_study(repeats=1)
    assert verdicts(study, STEPS).early == ""
    assert verdicts(study, {}).early == ""
    assert verdicts(study, runs).early.startswith("The plan is not done: 6 of 9 boots.")


def test_targets_are_held_against_every_configuration():
    study = a_study(targets=(Target("replay", "rate0", 102.0, "smooth"),))
    said = verdicts(study, STEPS).targets
    assert [line.split(": ")[1].split(" [")[0] for line in said] == [
        "base does not reach 102 frames/s or more.",
        "mid reaches 102 frames/s or more.",
        "fast reaches 102 frames/s or more.",
    ]


def test_a_name_tells_its_parts():
    assert finding_name("a", "b", "p", "m") == "a~b:p:m"


hard = st.sampled_from([0.0, -1.0, 1e-300, 1e300, math.nan, math.inf, 5e-324, 1.0]) | st.floats(90, 110)
columns = st.lists(hard, max_size=4) | st.lists(st.floats(99, 101), min_size=2, max_size=4)


@settings(max_examples=150, deadline=None)
@given(
    st.dictionaries(st.sampled_from(LABELS), columns),
    st.sampled_from(Better),
    st.sampled_from([0.0, 0.1, 1.0, 500.0]),
    st.integers(1, 2),
)
def test_any_readings_end_in_sentences(values, better, step, wanted):
    study = a_study(wanted, targets=(Target("replay", "rate0", 100.0),))
    found = verdicts(study, values, better=better, step=step)
    assert len(found.judged) == 3 * wanted
    told = [each.sentence for each in (*found.judged, *found.overall)]
    told += [said for _, _, said in found.drifts] + [*found.order, *found.targets, *found.worth]
    assert all(told)
    for sentence in told:
        assert not {"nan", "inf", "-inf"} & set(sentence.replace(",", " ").replace("(", " ").split()), (
            sentence
        )
    for finding in found.findings:
        json.dumps(plain(finding.as_dict()), allow_nan=False)
