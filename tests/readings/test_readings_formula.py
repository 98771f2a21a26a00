"""Formulas do arithmetic, carry the rounding of their inputs, and can do nothing else."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.errors import SchemaError
from readoff.readings.formula import Unreckoned, amount_of, parse_formula

D = Decimal


def reckon(text, **inputs):
    return parse_formula(text).reckon({name: amount_of(D(v), D(q)) for name, (v, q) in inputs.items()})


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1 + 2 * 3", "7"),
        ("(1 + 2) * 3", "9"),
        ("10 - 4 - 3", "3"),
        ("100 / 10 / 5", "2"),
        ("-2^2", "-4"),
        ("(-2)^2", "4"),
        ("2^0", "1"),
        ("--3", "3"),
        ("2 * -3", "-6"),
        ("1.5e2 + 0.5", "150.5"),
        ("7", "7"),
    ],
)
def test_grammar(text, value):
    assert reckon(text).value == D(value)


def test_names_in_order_and_once():
    assert parse_formula("b * a / b + 1").names == ("b", "a")


@pytest.mark.parametrize(
    "text",
    [
        "9^9^9^9",
        "2^10",
        "2^a",
        "2^(1+1)",
        "2^-1",
        "2^1.5",
        "2**3",
        "2//3",
        "__import__('os')",
        "a.b",
        "a[0]",
        "f(1)",
        "lambda: 1",
        "a if b else c",
        "a and b",
        "a, b",
        "a = 1",
        "a; b",
        "'a' * 9",
        "1 2",
        "2n",
        "",
        "   ",
        "(",
        "1)",
        "1 +",
        "* 1",
        "0x1F",
        "1_000",
        "é",
        "A",
        "\x00",
        "(" * 21 + "1" + ")" * 21,
        "1+" * 300 + "1",
    ],
)
def test_anything_else_is_refused(text):
    with pytest.raises(SchemaError) as told:
        parse_formula(text)
    assert told.value.next_step


def test_a_refusal_names_the_column():
    with pytest.raises(SchemaError, match=r"column 4.*no second \^"):
        parse_formula("9^9^9^9")
    with pytest.raises(SchemaError, match="column 9"):
        parse_formula("frames +/ 2")


def test_the_longest_formulas_are_reckoned():
    assert reckon("+".join(["1"] * 250)).value == 250
    assert reckon("-" * 499 + "1").value == -1
    assert reckon("(" * 20 + "1" + ")" * 20).value == 1


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("1 / 0", "division by zero"),
        ("1 / (a - a)", "division by zero"),
        ("1 / b", "may be zero"),
        ("((((9^9)^9)^9)^9)^9", "beyond"),
        ("1e200 * 1e200", "beyond"),
        ("1e-200 * 1e-200", "beyond"),
    ],
)
def test_what_has_no_value_says_why(text, told):
    with pytest.raises(Unreckoned, match=told):
        reckon(text, a=("5", "1"), b=("0.3", "1"))


def test_exact_inputs_give_an_exact_result():
    amount = reckon("a * b + 2", a=("3", "0"), b=("4", "0"))
    assert (amount.value, amount.quantum) == (14, 0)


def test_a_factor_scales_the_quantum():
    assert reckon("a * 100", a=("2.5", "0.1")).quantum == 10
    assert reckon("a + b", a=("1", "1"), b=("1", "0.5")).quantum == D("1.5")


numbers = st.decimals(-10000, 10000, places=3)
positive = st.decimals(1, 10000, places=3)
quanta = st.sampled_from([D(0), D("0.001"), D("0.1"), D(1)])


shown = st.tuples(numbers, quanta, st.integers(-8, 8))


@given(shown, st.tuples(positive, quanta, st.integers(-8, 8)), shown)
def test_the_interval_holds_every_value_that_rounding_allows(one, two, three):
    """Any inputs within half their quanta, reckoned in exact fractions, fall within value ± quantum/2."""
    amount = parse_formula("a * c / (b + 1) - c^2 + a").reckon(
        {
            name: amount_of(value, quantum)
            for name, (value, quantum, _) in zip("abc", (one, two, three), strict=True)
        }
    )
    # Each input moved by up to half its quantum, in sixteenths.
    x, y, z = (Fraction(v) + Fraction(q) * shift / 16 for v, q, shift in (one, two, three))
    true = x * z / (y + 1) - z**2 + x
    assert Fraction(amount.low) <= true <= Fraction(amount.high)
    assert abs(true - Fraction(amount.value)) <= Fraction(amount.quantum) / 2


@given(st.text("ab12+-*/^(). e", max_size=30))
def test_any_text_parses_or_is_refused(text):
    try:
        formula = parse_formula(text)
        formula.reckon({name: amount_of(D(2), D("0.5")) for name in formula.names})
    except (SchemaError, Unreckoned):
        return
    assert all(name in text for name in formula.names)
