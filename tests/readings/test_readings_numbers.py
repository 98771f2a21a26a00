"""Numbers are read to the last digit, in every form that old programs use, or not at all."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.readings.numbers import Number, Style, Unread, read_number

PLAIN = Style()
SECONDS = Style(time=True)


@pytest.mark.parametrize(
    ("text", "style", "value", "decimals", "quantum"),
    [
        ("50", PLAIN, "50", 0, "1"),
        ("50.0", PLAIN, "50.0", 1, "0.1"),
        ("007", PLAIN, "7", 0, "1"),
        (".5", PLAIN, "0.5", 1, "0.1"),
        ("+3.25", PLAIN, "3.25", 2, "0.01"),
        ("-3.25", PLAIN, "-3.25", 2, "0.01"),
        ("1,234.5", PLAIN, "1234.5", 1, "0.1"),
        ("1,234,567", PLAIN, "1234567", 0, "1"),
        ("1,234", Style(comma="thousands"), "1234", 0, "1"),
        ("12,345.60", Style(comma="thousands"), "12345.60", 2, "0.01"),
        ("1.234,5", Style(comma="decimal"), "1234.5", 1, "0.1"),
        ("1,234", Style(comma="decimal"), "1.234", 3, "0.001"),
        ("1.234", Style(comma="decimal"), "1234", 0, "1"),
        ("72,9", Style(comma="decimal"), "72.9", 1, "0.1"),
        ("1 234", Style(blank="thousands"), "1234", 0, "1"),
        ("-1 234 567.50", Style(blank="thousands"), "-1234567.50", 2, "0.01"),
        ("1 234,5", Style(comma="decimal", blank="thousands"), "1234.5", 1, "0.1"),
        ("72.9", Style(blank="thousands"), "72.9", 1, "0.1"),
        ("1.2E+03", PLAIN, "1.2E+3", 0, "1E+2"),
        ("1.25e-3", PLAIN, "0.00125", 5, "0.00001"),
        ("1.5D2", PLAIN, "1.5E+2", 0, "10"),
        ("0x1F", PLAIN, "31", 0, "1"),
        ("0XffFF", PLAIN, "65535", 0, "1"),
        ("12:34.5", SECONDS, "754.5", 1, "0.1"),
        ("12:34", Style(clock="mm:ss", time=True), "754", 0, "1"),
        ("12:34", Style(clock="hh:mm", time=True), "45240", 0, "60"),
        ("1:02:03", SECONDS, "3723", 0, "1"),
        ("1:02:03.25", SECONDS, "3723.25", 2, "0.01"),
        ("100:00.0", SECONDS, "6000.0", 1, "0.1"),
    ],
)
def test_forms(text, style, value, decimals, quantum):
    number = read_number(text, style)
    assert number == Number(Decimal(value), decimals, Decimal(quantum))
    # Decimal's equality overlooks trailing zeros; the digits must be those shown.
    assert number.value.as_tuple() == Decimal(value).as_tuple()


@pytest.mark.parametrize(
    ("text", "style", "told"),
    [
        ("", PLAIN, "nothing"),
        ("1,234", PLAIN, "thousands or a decimal comma"),
        ("72,9", PLAIN, "no decimal comma is declared"),
        ("0,123", PLAIN, "no decimal comma is declared"),
        ("1,2345", Style(comma="thousands"), "between thousands"),
        ("1234,567", Style(comma="thousands"), "between thousands"),
        ("72.9", Style(comma="decimal"), "decimal comma"),
        ("0.123", Style(comma="decimal"), "decimal comma"),
        ("-0.500", Style(comma="decimal"), "decimal comma"),
        ("012.345,6", Style(comma="decimal"), "decimal comma"),
        ("1.234E+03", Style(comma="decimal"), "decimal comma"),
        ("1,234.5", Style(comma="decimal"), "decimal comma"),
        ("1.234.567", PLAIN, "not a number"),
        ("5.", PLAIN, "cut off"),
        (".", PLAIN, "not a number"),
        ("<0.1", PLAIN, "bound"),
        (">999", PLAIN, "bound"),
        ("****", PLAIN, "did not fit"),
        ("####", PLAIN, "did not fit"),
        ("OVERFLOW", PLAIN, "instead of a number"),
        ("Infinity", PLAIN, "instead of a number"),
        ("NaN", PLAIN, "instead of a number"),
        ("1.#INF", PLAIN, "instead of a number"),
        ("N/A", PLAIN, "instead of a number"),
        ("12O", PLAIN, "not a number"),
        ("l2", PLAIN, "not a number"),
        ("1 234", PLAIN, "thousands or two numbers"),
        ("1 234", Style(blank="apart"), "not a number"),
        ("1 234,5", Style(comma="decimal"), "thousands or two numbers"),
        ("1 234,5", Style(blank="thousands"), "no decimal comma is declared"),
        ("1 234,567", Style(comma="thousands", blank="thousands"), "between thousands"),
        ("1 234.567,8", Style(comma="decimal", blank="thousands"), "decimal comma"),
        ("12 34", Style(blank="thousands"), "not a number"),
        ("1  234", Style(blank="thousands"), "not a number"),
        ("0 234", Style(blank="thousands"), "not a number"),
        ("1234 567", Style(blank="thousands"), "not a number"),
        ("- 5", PLAIN, "not a number"),
        ("--5", PLAIN, "not a number"),
        ("1_000", PLAIN, "not a number"),
        ("٣", PLAIN, "not a number"),
        ("²", PLAIN, "not a number"),
        ("1e", PLAIN, "not a number"),
        ("0x", PLAIN, "not a number"),
        ("0x12G", PLAIN, "not a number"),
        ("1E999", PLAIN, "beyond"),
        ("1E-999", PLAIN, "beyond"),
        ("9" * 61, PLAIN, "too many"),
        ("12:34", SECONDS, "hours and minutes?"),
        ("12:34.5", PLAIN, "not the second"),
        ("12:34.5", Style(clock="hh:mm", time=True), "fraction"),
        ("12:60.0", SECONDS, "not a time"),
        ("12:3", SECONDS, "not a time"),
        ("1:2:3:4", SECONDS, "not a time"),
    ],
)
def test_what_is_not_exact_is_not_read(text, style, told):
    answer = read_number(text, style)
    assert isinstance(answer, Unread)
    assert told in answer.reason


@given(st.text(max_size=70), st.sampled_from([PLAIN, SECONDS, Style("thousands"), Style("decimal")]))
def test_any_text_has_an_answer(text, style):
    answer = read_number(text, style)
    assert isinstance(answer, Unread) or answer.value.is_finite()


@given(st.text("0123456789.,:+-eExX ", max_size=14), st.sampled_from([PLAIN, SECONDS, Style("thousands")]))
def test_what_is_read_has_the_digits_that_are_shown(text, style):
    answer = read_number(text, style)
    if isinstance(answer, Number) and not set(text) & set(":xX"):
        digits = "".join(c for c in text.upper().partition("E")[0] if c.isdigit())
        assert "".join(map(str, answer.value.as_tuple().digits)) == (digits.lstrip("0") or "0")
