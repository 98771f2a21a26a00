"""Derived readings against published formulas and reference arithmetic; each source stands beside its check."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.readings import read_run
from readoff.readings.formula import amount_of, parse_formula
from readoff.readings.shown import show
from support.reading_texts import console, screen, shipped

SCHEMAS = shipped()


def readings(text):
    return {reading.metric: reading for reading in read_run([console(text.encode())], SCHEMAS).readings}


def test_replay():
    # Arithmetic; the tick-rate convention is common practice, no source: 2,134 frames in 1,024 ticks at 35/s -> 72.939.
    rate = readings("Replay: 2134 frames in 1024 ticks (35 ticks/s)\nRate: 72.9 frames/s")[
        "frames_per_second"
    ]
    assert Fraction(rate.value) == Fraction(2134 * 35, 1024)
    assert f"{rate.value:.3f}" == "72.939"


@pytest.mark.parametrize(("rate", "dmips"), [("1757.0", "1.000"), ("3514.0", "2.000"), ("5847.9", "3.328")])
def test_dmips(rate, dmips):
    # Weicker 1984, 1988: DMIPS = Dhrystones/s / 1757.
    text = f"Integer loop: 20000 passes in 3.42 seconds\nSpeed: {rate} passes/s"
    assert f"{readings(text)['dmips'].value:.3f}" == dmips


@pytest.mark.parametrize(
    ("loop", "ii", "seconds", "kwips"),
    [(10, 1, "2.50", 400), (1000, 1, "100.00", 1000), (10, 10, "4.00", 2500)],
)
def test_kwips(loop, ii, seconds, kwips):
    # Curnow & Wichmann 1976: KWIPS = 100 * LOOP * II / seconds. 1,000 loops in 100 s -> 1,000 KWIPS by that formula.
    text = f"Mixed loop: LOOP {loop}, II {ii}, {seconds} seconds\nSpeed: 1.0 KWIPS"
    assert readings(text)["kwips"].value == kwips


@pytest.mark.parametrize(("order", "flop"), [(100, "686666.7"), (1, "2.7"), (1000, "668666666.7")])
def test_operations(order, flop):
    # Dongarra, CS-89-85: 2n^3/3 + 2n^2 operations; n = 100 -> 686,666.7.
    found = readings(f"Linear system: order {order}, 12.50 seconds\nSpeed: 1.0 kflops")
    assert f"{found['operations'].value:.1f}" == flop
    exact = Fraction(2 * order**3, 3) + 2 * order**2
    assert abs(Fraction(found["operations"].value) - exact) < Fraction(1, 10**20)
    assert abs(Fraction(found["kflops"].value) - exact / Fraction("12.5") / 1000) < Fraction(1, 10**20)


def test_rounding_of_a_shown_rate():
    # A rate shown to the unit from 10 to 12: +20 % by arithmetic, +9.5 to +31.6 % by rounding alone
    # (11.5/10.5 to 12.5/9.5; common practice, no source).
    ratio = parse_formula("new / old").reckon(
        {"new": amount_of(Decimal(12), Decimal(1)), "old": amount_of(Decimal(10), Decimal(1))}
    )
    assert (f"{ratio.value:.3f}", f"{ratio.low:.3f}", f"{ratio.high:.3f}") == ("1.200", "1.095", "1.316")


amounts = st.decimals(Decimal("0.001"), 10**6, places=3)


@given(amounts, amounts, amounts, st.integers(0, 9))
def test_arithmetic_agrees_with_exact_fractions(a, b, c, power):
    # Outside reference: Python's fractions, exact rational arithmetic.
    amount = parse_formula(f"(a - b) * c / (b + 2.5) - b^{power} / a").reckon(
        {name: amount_of(value, Decimal(0)) for name, value in zip("abc", (a, b, c), strict=True)}
    )
    x, y, z = map(Fraction, (a, b, c))
    exact = (x - y) * z / (y + Fraction("2.5")) - y**power / x
    assert Fraction(amount.low) <= exact <= Fraction(amount.high)
    assert abs(Fraction(amount.value) - exact) <= Fraction(1, 10**25) * (
        1 + abs(exact) + y**power / x + x * z
    )


def test_code_page_437_and_its_glyphs():
    # Python's cp437 equals the Unicode consortium's CP437.TXT; the glyphs of 01h-1Fh and 7Fh by the published table.
    glyphs = (
        "263A 263B 2665 2666 2663 2660 2022 25D8 25CB 25D9 2642 2640 266A 266B 263C 25BA "
        "25C4 2195 203C 00B6 00A7 25AC 21A8 2191 2193 2192 2190 221F 2194 25B2 25BC"
    )
    low = "".join(chr(int(code, 16)) for code in glyphs.split())
    rows = [bytes(range(at, at + 16)) for at in range(0, 256, 16)]
    lines = [line.text for line in show(screen(*rows, columns=17)).lines]
    assert lines[0] + lines[1] == " " + low
    assert lines[7] == bytes(range(0x70, 0x7F)).decode("cp437") + "\u2302"
    for number in (2, 3, 4, 5, 6, 8, 9, 10, 11, 12, 13, 14):
        assert lines[number] == rows[number].decode("cp437")
    assert lines[15] == rows[15].decode("cp437").removesuffix("\xa0")
