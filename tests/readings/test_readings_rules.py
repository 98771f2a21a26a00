"""Rules of plausibility: what breaks one for certain is held with all that the rule names; nothing is changed."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.errors import SchemaError
from readoff.readings import as_shown, read_run
from readoff.readings.formula import amount_of
from readoff.readings.rules import parse_rule
from support.reading_texts import console, derived, file, load, metric, schema_text


def amounts(**shown):
    """Each as shown, so with half its last digit either way; a number that ends in ! is exact."""
    made = {}
    for name, text in shown.items():
        value = Decimal(text.rstrip("!"))
        quantum = Decimal(0) if text.endswith("!") else Decimal((0, (1,), value.as_tuple().exponent))
        made[name] = amount_of(value, quantum)
    return made


@pytest.mark.parametrize(
    ("rule", "numbers", "broken"),
    [
        ("rate > 0", {"rate": "0.1"}, False),
        ("rate > 0", {"rate": "0.0"}, False),  # it may be 0.04
        ("rate > 0", {"rate": "-0.0"}, False),
        ("rate > 0", {"rate": "-0.1"}, True),
        ("rate > 0", {"rate": "0!"}, True),
        ("rate >= 0", {"rate": "0!"}, False),
        ("rate >= 0.1", {"rate": "0.0"}, True),
        ("low <= mean", {"low": "2.51", "mean": "2.5"}, False),  # 2.5 may be 2.54
        ("low <= mean", {"low": "2.56", "mean": "2.5"}, True),
        ("low <= mean <= high", {"low": "1", "mean": "5", "high": "9"}, False),
        ("low <= mean <= high", {"low": "1", "mean": "5", "high": "3"}, True),
        ("low <= mean <= high", {"low": "7", "mean": "5", "high": "9"}, True),
        ("frames == 100", {"frames": "100!"}, False),
        ("frames == 100", {"frames": "101!"}, True),
        ("frames == 100", {"frames": "100.4"}, True),
        ("frames == 100.4", {"frames": "100"}, False),
        ("frames != 0", {"frames": "0!"}, True),
        ("frames != 0", {"frames": "0"}, False),
        ("frames < 5", {"frames": "5!"}, True),
        ("frames < 5", {"frames": "4.999"}, False),
        # 2,134 frames in 1,024 ticks at 35 a second are 72.939 (arithmetic).
        ("abs(f * 35 / t - r) <= 0.1", {"f": "2134!", "t": "1024", "r": "72.9"}, False),
        ("abs(f * 35 / t - r) <= 0.1", {"f": "2134!", "t": "1024", "r": "27.9"}, True),
        ("abs(f * 35 / t - r) <= 0.1", {"f": "2134!", "t": "1024", "r": "73.3"}, True),
        ("abs(f * 35 / t - r) <= 0.1", {"f": "2134!", "t": "0", "r": "73.3"}, False),  # there is no telling
        ("abs(a) == a", {"a": "-3"}, True),
        ("abs(a) == 3", {"a": "-3"}, False),
        ("abs(abs) > 1", {"abs": "0.2"}, True),
        ("-a^2 < (1 + 1) * b", {"a": "3!", "b": "-5!"}, True),
    ],
)
def test_rules(rule, numbers, broken):
    assert parse_rule(rule).broken(amounts(**numbers)) is broken


@given(
    st.decimals(-999, 999, places=1),
    st.decimals(-999, 999, places=2),
    st.sampled_from("< <= > >= == !=".split()),
)
def test_a_rule_that_the_numbers_themselves_keep_is_never_broken(a, b, comparison):
    holds = {"<": a < b, "<=": a <= b, ">": a > b, ">=": a >= b, "==": a == b, "!=": a != b}[comparison]
    rule = parse_rule(f"a {comparison} b")
    assert not (holds and rule.broken(amounts(a=str(a), b=str(b))))
    if comparison != "!=":
        assert rule.broken(amounts(a=f"{a}!", b=f"{b}!")) is not holds


@pytest.mark.parametrize(
    ("rule", "told"),
    [
        ("rate", "the end at column 5"),
        ("rate >", "the end at column 7"),
        ("rate > 0 rate", "'rate' at column 10"),
        ("rate = 0", "'=' at column 6"),
        ("rate => 0", "'=' at column 6"),
        ("rate < > 0", "'>' at column 8"),
        ("min(rate, 2) > 1", "'(' at column 4"),
        ("rate > 0 and rate < 5", "'and' at column 10"),
        ("__import__('os') > 0", "'_' at column 1"),
        ("rate ** 2 > 0", "'*' at column 7"),
        ("x" * 501, "501 characters"),
        ("(" * 30 + "rate > 0", "'(' at column"),
        ("abs(" * 30 + "rate > 0", "'(' at column"),
        ("(rate > 0)", "'>' at column 7"),
    ],
)
def test_faults(rule, told):
    with pytest.raises(SchemaError) as error:
        parse_rule(rule)
    assert told in error.value.what


def test_comparisons_are_not_part_of_a_formula():
    with pytest.raises(SchemaError) as error:
        load(schema_text(metric("score") + derived("twice", "2 * score > 1")))
    assert any("'>' at column 11" in fault for fault in error.value.faults)


def mill(*rules, more=""):
    text = schema_text(metric("low") + metric("mean") + metric("high") + more)
    listed = ", ".join(f'"{rule}"' for rule in rules)
    return load(text.replace("[recognise]", f"rules = [{listed}]\n[recognise]"))


def read(schemas, *captures):
    readout = read_run(captures, schemas)
    return [(r.metric, r.occurrence, as_shown(r)) for r in readout.readings], readout.holds


TEXT = b"Mill\r\nLow: 1.0\r\nMean: 9.0\r\nHigh: 5.0\r\n"


def test_a_broken_rule_holds_what_it_names_and_nothing_else():
    got, holds = read(mill("mean <= high"), console(TEXT))
    assert got == [("low", 0, "1.0 points")]
    assert [(hold.metric, hold.reason) for hold in holds] == [
        ("mean", "not plausible by the rule mean <= high: mean 9.0, high 5.0"),
        ("high", "not plausible by the rule mean <= high: mean 9.0, high 5.0"),
    ]
    assert [TEXT[hold.begin : hold.end] for hold in holds] == [b"9.0", b"5.0"]
    assert [hold.line for hold in holds] == ["Mean: 9.0", "High: 5.0"]


def test_a_kept_rule_changes_nothing():
    plain = read_run([console(TEXT)], mill())
    ruled = read_run([console(TEXT)], mill("low <= mean", "low < high"))
    assert [(r.metric, r.value, r.quantum, r.begin) for r in plain.readings] == [
        (r.metric, r.value, r.quantum, r.begin) for r in ruled.readings
    ]
    assert ruled.holds == ()


def test_what_is_derived_from_a_held_reading_is_held():
    more = derived("span", "high - low") + derived("twice", "2 * mean")
    got, holds = read(mill("high > 5.5", more=more), console(TEXT))
    assert [metric for metric, _, _ in got] == ["low", "mean", "twice"]
    assert {hold.metric: hold.reason for hold in holds}["span"] == "its input is held: high"


def test_a_rule_may_name_what_is_derived():
    more = derived("span", "high - low")
    got, holds = read(mill("span > 10", more=more), console(TEXT))
    assert [metric for metric, _, _ in got] == ["low", "mean", "high"]
    assert [hold.metric for hold in holds] == ["span"]


def test_each_occurrence_is_judged_for_itself():
    twice = TEXT + b"Low: 1.0\r\nMean: 3.0\r\nHigh: 5.0\r\n"
    got, holds = read(mill("mean <= high"), console(twice))
    assert [entry[:2] for entry in got] == [("low", 0), ("low", 1), ("mean", 1), ("high", 1)]
    assert [(hold.metric, hold.occurrence) for hold in holds] == [("mean", 0), ("high", 0)]


def test_what_is_held_or_missing_breaks_no_rule():
    got, holds = read(mill("mean <= high"), console(TEXT.replace(b"5.0", b"****")))
    assert [metric for metric, _, _ in got] == ["low", "mean"]
    assert [hold.metric for hold in holds] == ["high"]


@pytest.mark.parametrize(("high", "missing"), [(b"High: ****", ["high"]), (b"", [])])
def test_a_comparison_of_a_chain_is_broken_where_another_has_no_number(high, missing):
    more = metric("high", "optional = true")
    below = TEXT.replace(b"9.0", b"0.5").replace(b"High: 5.0", high)
    schemas = load(
        schema_text(metric("low") + metric("mean") + more).replace(
            "[recognise]", 'rules = ["low <= mean <= high"]\n[recognise]'
        )
    )
    got, holds = read(schemas, console(below))
    assert got == []
    assert sorted(hold.metric for hold in holds) == sorted(["low", "mean", *missing])
    told = "not plausible by the rule low <= mean <= high: low 1.0, mean 0.5"
    assert [hold.reason for hold in holds if hold.metric != "high"] == [told, told]


def test_readings_that_cannot_be_paired_are_not_judged_and_derived_ones_are_held():
    got, holds = read(mill("mean <= high", more=derived("d", "high - mean")), console(TEXT + b"Mean: 99\r\n"))
    assert [metric for metric, _, _ in got] == ["low", "mean", "mean", "high"]
    assert "unequally often" in holds[0].reason


def test_a_witness_that_breaks_a_rule_is_told_too():
    _, holds = read(mill("mean <= high"), console(TEXT.replace(b"9.0", b"4.0")), file(TEXT))
    assert any("9.0 points" in hold.reason or "not plausible" in hold.reason for hold in holds)


@pytest.mark.parametrize(
    ("rule", "told"),
    [("mea > 0", "right would be 'mean'"), ("1 > 0", "names no metric"), ("mean", "the end at column 5")],
)
def test_faults_of_rules_in_a_schema(rule, told):
    with pytest.raises(SchemaError) as error:
        mill(rule)
    assert told in error.value.faults[0]
    assert "line 4, rules" in error.value.faults[0]
