"""The units that a schema may give to a metric, and the exact factors between them.

Names are written as a report prints them; "" is a bare number. A schema can declare further units of its own.

Sources of the factors: NIST Special Publication 811 (2008), table 5 (prefixes), table 6 (min, h, d) and 7.10.2 (per
cent); NIST, "Prefixes for binary multiples" (KiB, MiB: IEC 60027-2, now IEC 80000-13). "KB" and "MB" have no factor of
their own: programs mean 1000 by it as often as 1024, so a schema must say which before they are converted.
"""

from __future__ import annotations

import decimal
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from readoff.readings.numbers import Number

_MILLI, _KILO, _KIBI = Fraction(1, 1000), Fraction(1000), Fraction(1024)
# Unit to (dimension, size). Rates are made of these: "KB/s".
_SIZES: dict[str, tuple[str, Fraction]] = {
    "": ("number", Fraction(1)),
    "%": ("number", Fraction(1, 100)),
    "d": ("time", Fraction(86400)),
    "h": ("time", Fraction(3600)),
    "min": ("time", Fraction(60)),
    "s": ("time", Fraction(1)),
    "ms": ("time", _MILLI),
    "us": ("time", _MILLI**2),
    "ns": ("time", _MILLI**3),
    "Hz": ("frequency", Fraction(1)),
    "kHz": ("frequency", _KILO),
    "MHz": ("frequency", _KILO**2),
    "GHz": ("frequency", _KILO**3),
    "bits": ("data", Fraction(1)),
    "kbits": ("data", _KILO),
    "Mbits": ("data", _KILO**2),
    "octets": ("data", Fraction(8)),
    "kB": ("data", 8 * _KILO),
    "KiB": ("data", 8 * _KIBI),
    "MiB": ("data", 8 * _KIBI**2),
    "GiB": ("data", 8 * _KIBI**3),
    "flops": ("flop rate", Fraction(1)),
    "kflops": ("flop rate", _KILO),
    "Mflops": ("flop rate", _KILO**2),
    "KWIPS": ("Whetstone rate", _KILO),
    "MWIPS": ("Whetstone rate", _KILO**2),
}
# The powers of `kilo` that these stand for, once a schema says what it is.
_UNSAID = {"KB": 1, "MB": 2, "GB": 3}
_COUNTED = (
    "ticks frames passes loops operations points sectors characters pixels Dhrystones DMIPS flop".split()
)
_A_SECOND = (
    "ticks frames passes loops operations points bits kbits Mbits octets kB KB KiB MB MiB sectors characters pixels "
    "Dhrystones"
).split()

UNITS = frozenset({*_SIZES, *_UNSAID, *_COUNTED, *(f"{each}/s" for each in _A_SECOND)})

# Other ways of writing these, where a unit is read beside its number. A schema can add its own.
SPELLED = {
    **dict.fromkeys(("sec", "secs", "second", "seconds", "Sec", "Seconds"), "s"),
    **dict.fromkeys(("minute", "minutes"), "min"),
    **dict.fromkeys(("hour", "hours"), "h"),
    **dict.fromkeys(("msec", "msecs", "milliseconds"), "ms"),
    **dict.fromkeys(("usec", "µs", "μs", "microseconds"), "us"),
    **dict.fromkeys(("byte", "bytes", "Bytes"), "octets"),
    **dict.fromkeys(("bytes/s", "Bytes/s", "bytes/sec"), "octets/s"),
    **dict.fromkeys(("KB/sec", "KBytes/s"), "KB/s"),
    **dict.fromkeys(("MB/sec", "MBytes/s"), "MB/s"),
}

_EXACTLY = decimal.Context(
    prec=1000, traps=[decimal.Inexact, decimal.InvalidOperation, decimal.DivisionByZero, decimal.Overflow]
)


def factor_between(shown: str, wanted: str, kilo: int = 0) -> Decimal | str:
    """What a number in the unit `shown` is multiplied by to be in the unit `wanted`; or why there is no such factor.

    kilo: 1000 or 1024, what a K in KB stands for (its square for MB); 0 where nothing is said.
    """
    if shown == wanted:
        return Decimal(1)
    ours, theirs = ([_size(part, kilo) for part in unit.split("/")] for unit in (shown, wanted))
    if [dimension for dimension, _ in ours] != [dimension for dimension, _ in theirs]:
        return f"{shown or 'a bare number'} cannot be turned into {wanted or 'a bare number'}"
    factor = Fraction(1)
    for place, ((_, size), (_, other)) in enumerate(zip(ours, theirs, strict=True)):
        if not size or not other:
            return f"{shown} in {wanted}: is a K 1000 or 1024? The schema must say which (kilo = …)"
        factor *= other / size if place else size / other
    try:
        return _EXACTLY.divide(Decimal(factor.numerator), Decimal(factor.denominator))
    except decimal.Inexact:
        return f"{shown} in {wanted} would be a number without end: read it in {shown}"


def _size(part: str, kilo: int) -> tuple[str, Fraction]:
    """Dimension and size of a unit without "/"; size 0 where it hangs on what a K is. What is counted is its own."""
    if part in _UNSAID:
        return "data", 8 * Fraction(kilo) ** _UNSAID[part]
    return _SIZES.get(part, (part, Fraction(1)))


def unit_named(text: str, spelled: Mapping[str, str], units: frozenset[str]) -> str | None:
    """The unit that a program means by this text: by the schema's own spelling, by name, or by a usual spelling."""
    if text in spelled:
        return spelled[text]
    return text if text in units else SPELLED.get(text)


def converted(number: Number, factor: Decimal) -> Number:
    """A number in another unit: exact, its quantum with it, as many places as the product has."""
    if factor == 1:
        return number
    value = _EXACTLY.multiply(number.value, factor)
    exponent = value.as_tuple().exponent
    assert isinstance(exponent, int)  # finite
    return Number(value, max(0, -exponent), _EXACTLY.multiply(number.quantum, factor))
