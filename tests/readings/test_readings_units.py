"""Units turned into one another: by exact published factors, digits kept, or not at all."""

from decimal import Decimal
from fractions import Fraction

import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from readoff.errors import SchemaError
from readoff.readings import read_run
from readoff.readings.numbers import Style, read_number
from readoff.readings.units import SPELLED, UNITS, converted, factor_between
from support.reading_texts import console, load, metric, schema_text


@pytest.mark.parametrize(
    ("shown", "wanted", "factor"),
    [
        # NIST SP 811 (2008), table 6: minute, hour, day (from memory; the constants of scipy agree, below).
        ("min", "s", "60"),
        ("h", "s", "3600"),
        ("d", "s", "86400"),
        ("h", "min", "60"),
        # NIST SP 811, table 5, and the BIPM's SI brochure (9th ed.), table 7: prefixes.
        ("ms", "s", "0.001"),
        ("us", "ms", "0.001"),
        ("ns", "s", "0.000000001"),
        ("s", "us", "1000000"),
        ("MHz", "Hz", "1000000"),
        ("kHz", "MHz", "0.001"),
        ("Mflops", "kflops", "1000"),
        # NIST SP 811, 7.10.2: % is 0.01.
        ("%", "", "0.01"),
        ("", "%", "100"),
        # NIST, "Prefixes for binary multiples" (physics.nist.gov/cuu/Units/binary.html): Ki, Mi; 1 MB = 10^6 B.
        ("KiB", "octets", "1024"),
        ("MiB", "octets", "1048576"),
        ("MiB", "KiB", "1024"),
        ("kB", "octets", "1000"),
        ("KiB", "kB", "1.024"),
        # IEC 80000-13: an octet (there also "byte") is 8 bits.
        ("octets", "bits", "8"),
        ("bits", "octets", "0.125"),
        # Rates.
        ("KiB/s", "octets/s", "1024"),
        ("frames/min", "frames/s", None),
        ("octets/ms", "kB/s", "1"),
        ("frames/s", "frames/s", "1"),
    ],
)
def test_factors(shown, wanted, factor):
    got = factor_between(shown, wanted)
    if factor is None:
        assert isinstance(got, str)
        assert "without end" in got  # one in 60
    else:
        assert got == Decimal(factor)


@pytest.mark.parametrize(
    ("shown", "wanted", "constant"),
    [
        ("min", "s", scipy.constants.minute),
        ("h", "s", scipy.constants.hour),
        ("d", "s", scipy.constants.day),
        ("KiB", "octets", scipy.constants.kibi),
        ("MiB", "octets", scipy.constants.mebi),
        ("GiB", "octets", scipy.constants.gibi),
        ("kB", "octets", scipy.constants.kilo),
        ("GHz", "Hz", scipy.constants.giga),
        ("ms", "s", scipy.constants.milli),
        ("ns", "s", scipy.constants.nano),
    ],
)
def test_factors_against_scipy(shown, wanted, constant):
    assert factor_between(shown, wanted) == Decimal(str(constant))


def test_a_k_means_nothing_until_it_is_said():
    assert "1000 or 1024" in factor_between("KB", "octets")
    assert "1000 or 1024" in factor_between("kB/s", "MB/s")
    assert factor_between("KB", "octets", 1024) == 1024
    assert factor_between("KB", "octets", 1000) == 1000
    assert factor_between("MB/s", "octets/s", 1024) == 1048576
    assert factor_between("MB", "kB", 1000) == 1000
    assert factor_between("KB", "KB") == 1


@pytest.mark.parametrize(
    ("shown", "wanted"),
    [
        ("s", "KB"),
        ("frames", "passes"),
        ("KB/s", "KB"),
        ("s", "Hz"),
        ("frames/s", "ticks/s"),
        ("", "s"),
        ("%", "s"),
    ],
)
def test_other_sorts_are_not_turned_into_one_another(shown, wanted):
    assert "cannot be turned into" in factor_between(shown, wanted)


@given(st.sampled_from(sorted(UNITS)), st.sampled_from(sorted(UNITS)), st.sampled_from([0, 1000, 1024]))
def test_a_factor_and_its_inverse_make_one(shown, wanted, kilo):
    there, back = factor_between(shown, wanted, kilo), factor_between(wanted, shown, kilo)
    if isinstance(there, Decimal) and isinstance(back, Decimal):
        assert Fraction(there) * Fraction(back) == 1


@given(st.decimals(-(10**9), 10**9, places=4), st.sampled_from(["us", "ms", "s", "min", "h"]))
def test_conversion_is_exact(value, unit):
    number = read_number(str(value), Style())
    factor = factor_between(unit, "us")
    there = converted(number, factor)
    assert Fraction(there.value) == Fraction(value) * Fraction(factor)
    assert Fraction(there.quantum) == Fraction(1, 10**4) * Fraction(factor)


def test_digits_are_kept():
    """50.0 ms is 0.0500 s, not 0.05 s."""
    number = converted(read_number("50.0", Style()), factor_between("ms", "s"))
    assert (str(number.value), number.decimals, number.quantum) == ("0.0500", 4, Decimal("0.0001"))
    number = converted(read_number("2", Style()), factor_between("min", "s"))
    assert (number.value, number.decimals, number.quantum) == (120, 0, 60)


def test_every_spelling_means_a_unit():
    assert set(SPELLED.values()) <= UNITS
    assert not set(SPELLED) & UNITS


def read(text, more="", *, unit="ms", pattern=r"^Score: *(?P<number>\S+) *(?P<unit>\S*)"):
    (schema,) = load(schema_text(metric("score", more, unit=unit, pattern=pattern)))
    readout = read_run([console(b"Mill\r\n" + text)], [schema])
    return [f"{r.value} {r.unit}" for r in readout.readings], [hold.reason for hold in readout.holds]


@pytest.mark.parametrize(
    ("text", "more", "got"),
    [
        (b"Score: 12.50 ms", "", "12.50 ms"),
        (b"Score: 12.50 s", "", "12500.00 ms"),
        (b"Score: 850 usec", "", "0.850 ms"),
        (b"Score: 3 \xe6s", "", "0.003 ms"),
        (b"Score: 2 minutes", "", "120000 ms"),
        (b"Score: 7 beats", 'spelled = { beats = "s" }', "7000 ms"),
        (b"Score: 1.5", 'shown_in = "s"', "1500.0 ms"),
        (b"Score: 12:34.5", 'shown_in = "s"', "754500.0 ms"),
    ],
)
def test_units_read_and_stated(text, more, got):
    assert read(text, more) == ([got], [])


@pytest.mark.parametrize(
    ("text", "more", "told"),
    [
        (b"Score: 12.50 KB", "", "KB cannot be turned into ms"),
        (b"Score: 12.50 frames", "", "frames cannot be turned into ms"),
        (b"Score: 12.50 beats", "", "'beats' beside the number is no known unit"),
        (b"Score: 12.50 mS", "", "'mS' beside the number is no known unit"),
        (b"Score: 12.50", "", "no unit stands beside the number"),
        (b"Score: **** ms", "", "did not fit"),
    ],
)
def test_near_misses(text, more, told):
    got, (reason,) = read(text, more)
    assert got == []
    assert told in reason


@pytest.mark.parametrize(
    ("more", "unit", "told"),
    [
        ('shown_in = "KB"', "octets", "1000 or 1024"),
        ('shown_in = "s"', "h", "without end"),
        ('shown_in = "sec"', "s", "'sec' is not known"),
        ('shown_in = "frames"', "s", "cannot be turned into"),
        ("kilo = 1023", "KB", "right would be 1000 or 1024"),
        ("kilo = 0", "KB", "right would be 1000 or 1024"),
        ('spelled = { x = "secs" }', "s", "'secs' is not known"),
    ],
)
def test_faults(more, unit, told):
    with pytest.raises(SchemaError) as error:
        load(schema_text(metric("score", more, unit=unit)))
    assert any(told in fault for fault in error.value.faults)
