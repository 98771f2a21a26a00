"""A hundred thousand numbers in every form, printed, captured and read: each equal to the last digit.

Python's decimal is the outside reference. `python -m support.number_forms 1000000`, run in tests/, reads more.
"""

from dataclasses import replace
from decimal import Decimal

from readoff.readings import taking
from support.number_forms import FORMS, check

COUNT = 100_000


def test_every_number_is_read_to_the_last_digit_or_held():
    right, wrong = check(COUNT, seed=1993)
    assert wrong == []
    assert right.total() == COUNT
    assert all(right[form] > COUNT / len(FORMS) * 0.9 for form in FORMS)


def test_the_check_notices_a_lost_zero_and_a_guess(monkeypatch):
    """It is no proof if it cannot fail."""
    plain = taking.converted

    def lost_zero(number, factor):
        number = plain(number, factor)
        shorter = number.value.normalize()
        return replace(number, value=shorter if "E" not in str(shorter) else number.value)

    monkeypatch.setattr(taking, "converted", lost_zero)
    _, wrong = check(2000, seed=7)
    assert 20 < len(wrong) < 1000

    def guessed(number, factor):
        return replace(number, value=number.value + Decimal("1E-6"))

    monkeypatch.setattr(taking, "converted", guessed)
    right, _ = check(2000, seed=7)
    assert [form for form in FORMS if right[form]] == ["none"]
