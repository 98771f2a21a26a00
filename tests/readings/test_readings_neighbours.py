"""The guard over numbers: each kind of slip is named with what was meant, and honest numbers are left alone."""

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from readoff.readings.neighbours import FAR, Slip, doubt

AROUND_85 = [Decimal(each) for each in ("84.5", "84.9", "84.6")]


@pytest.mark.parametrize(
    ("shown", "sentence"),
    [
        ("847", "847: ten times its neighbours (84.5 to 84.9), did you mean 84.7 (a lost decimal point)?"),
        (
            "8.47",
            "8.47: a tenth of its neighbours (84.5 to 84.9), did you mean 84.7 (a decimal point out of place)?",
        ),
        (
            "84600",
            "84600: a thousand times its neighbours (84.5 to 84.9), did you mean 84.600 (a lost decimal point)?",
        ),
        ("884.7", "884.7: far from its neighbours (84.5 to 84.9), did you mean 84.7 (a digit too many)?"),
        ("48.7", "48.7: far from its neighbours (84.5 to 84.9), did you mean 84.7 (two digits swapped)?"),
        ("-84.7", "-84.7: far from its neighbours (84.5 to 84.9), did you mean 84.7 (another sign)?"),
        ("500", "500: far from its neighbours (84.5 to 84.9)"),
    ],
)
def test_slips_are_named_with_what_was_meant(shown, sentence):
    assert doubt(shown, AROUND_85).sentence == sentence


@pytest.mark.parametrize(
    "shown", ["84.7", "84.45", "85.8", "82.9", "95.3", "60", "", "12O", "1,234", "1E3", ".", "0x1F"]
)
def test_honest_numbers_and_what_is_no_plain_number_are_left_alone(shown):
    assert doubt(shown, AROUND_85) is None


def test_without_neighbours_nothing_is_said():
    assert doubt("847", []) is None


def test_a_neighbour_that_is_itself_a_slip_is_not_believed():
    neighbours = [*AROUND_85, Decimal(847)]
    assert doubt("847", neighbours).meant[0].text == "84.7"
    assert doubt("84.7", neighbours) is None


def test_zeros():
    assert doubt("0", [Decimal(0), Decimal("0.0")]) is None
    assert doubt("5", [Decimal(0)]).meant == ()
    assert doubt("0", AROUND_85).meant == ()


@st.composite
def series(draw):
    """A number as shown, with as many decimals as it likes, and neighbours within one per cent of it."""
    decimals = draw(st.integers(0, 3))
    units = draw(st.integers(10 ** (decimals + 1), 10 ** (decimals + 4)))
    honest = Decimal(units).scaleb(-decimals)
    apart = st.integers(-10, 10).map(
        lambda thousandth: (honest * (1000 + thousandth) / 1000).quantize(Decimal(1).scaleb(-decimals))
    )
    return f"{honest:f}", draw(st.lists(apart, min_size=1, max_size=6))


@given(series(), st.data())
def test_what_was_meant_is_always_among_the_answers(given_series, data):
    honest, neighbours = given_series
    assert doubt(honest, neighbours) is None
    digits = [at for at, char in enumerate(honest) if char.isdigit()]
    whole = len(honest.partition(".")[0])
    slip = data.draw(st.sampled_from(["lost", "extra", "swapped"]))
    if slip == "lost":
        assume("." in honest)
        wrong = honest.replace(".", "")
    elif slip == "extra":
        at = data.draw(st.integers(0, whole))
        wrong = (
            honest[:at] + data.draw(st.sampled_from("123456789" if at == 0 else "0123456789")) + honest[at:]
        )
    else:
        first = data.draw(st.integers(0, len(digits) - 2))
        one, two = digits[first], digits[first + 1]
        assume(honest[one] != honest[two])
        swapped = list(honest)
        swapped[one], swapped[two] = honest[two], honest[one]
        wrong = "".join(swapped)
    found = doubt(wrong, neighbours)
    if found is None:  # only where the slip makes no difference that could be seen
        assert slip == "swapped"
        assert abs(Decimal(wrong) - Decimal(honest)) <= Decimal("0.06") * Decimal(honest)
    else:
        assert Decimal(honest) in [Decimal(each.text) for each in found.meant]
        assert found.shown == wrong


@given(st.lists(st.decimals(-9999, 9999, allow_nan=False, places=2), min_size=1, max_size=8), st.data())
def test_a_number_among_believed_neighbours_is_never_doubted(neighbours, data):
    value = data.draw(st.sampled_from(neighbours))
    found = doubt(f"{value:f}", neighbours)
    if found is not None:
        assert not found.low <= value <= found.high
        assert value == 0 or any(
            abs(each) > FAR * abs(value) or FAR * abs(each) < abs(value) or (each < 0) != (value < 0)
            for each in neighbours
        )


@given(st.text(max_size=12), st.lists(st.decimals(allow_nan=False, allow_infinity=False), max_size=4))
def test_no_text_breaks_it(text, neighbours):
    doubt(text, neighbours)


def test_slips_are_told_in_the_order_of_their_likelihood():
    found = doubt("8477", [Decimal(847), Decimal(848)])
    assert [(each.slip, each.text) for each in found.meant] == [
        (Slip.LOST_POINT, "847.7"),
        (Slip.EXTRA_DIGIT, "847"),
    ]
