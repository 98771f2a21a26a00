"""Numbers through print, capture and reading, against Python's decimal module and the C library's printf forms.

Outside references: ``decimal`` (IEEE 754-2008 / General Decimal Arithmetic) for the value and its exponent;
``format`` for the forms that C's printf has too (ISO C99 7.19.6.1). 12,000 numbers, a fixed seed.
"""

import random
from decimal import Decimal

import pytest

from readoff.readings import CaptureKind, read_run
from support.reading_texts import console, file, load, metric, schema_text, screen

COUNT_A_FORM = 1000
A_CAPTURE = 40


def digits(rng, least, most):
    return "".join(rng.choice("0123456789") for _ in range(rng.randint(least, most)))


def plain(rng):
    text = f"{rng.choice(['', '', '-', '+'])}{digits(rng, 1, 12)}"
    return text + ("." + digits(rng, 1, 9) if rng.random() < 0.6 else "")


def by_decimal(make):
    """A form whose text decimal itself understands."""

    def form(rng):
        text = make(rng)
        return text, Decimal(text)

    return form


def leading_point(rng):
    return f"{rng.choice(['', '-', '+'])}.{digits(rng, 1, 9)}"


def exponent(rng):
    power = f"{rng.choice('eE')}{rng.choice(['', '+', '-'])}{digits(rng, 1, 2)}"
    return f"{rng.choice(['', '-'])}{digits(rng, 1, 3)}.{digits(rng, 1, 6)}{power}"


def fortran_exponent(rng):
    text = f"0.{digits(rng, 1, 8)}D{rng.choice('+-')}{digits(rng, 2, 2)}"
    return text, Decimal(text.replace("D", "E"))


def printf_fixed(rng):
    value, places = rng.uniform(-1e6, 1e6), rng.randint(0, 6)
    text = f"{value:.{places}f}"
    return text, round(Decimal(value), places) if places else Decimal(text)


def printf_exponent(rng):
    text = f"{rng.uniform(-1e9, 1e9):.{rng.randint(1, 8)}E}"
    return text, Decimal(text)


def thousands(rng):
    value = Decimal(
        f"{rng.randint(1_000, 10**12)}.{digits(rng, 1, 4)}"
        if rng.random() < 0.5
        else rng.randint(1000, 10**12)
    )
    return f"{value:,}", value


def decimal_comma(rng):
    value = Decimal(f"{rng.randint(0, 10**9)}.{digits(rng, 1, 5)}")
    return f"{value:,}".translate(str.maketrans(",.", ".,")), value


def hexadecimal(rng):
    value = rng.getrandbits(rng.randint(1, 64))
    return rng.choice(["0x%x", "0x%X", "0X%04X"]) % value, Decimal(value)


def clock(rng):
    minutes, seconds, tenths = rng.randint(0, 999), rng.randint(0, 59), digits(rng, 1, 2)
    return f"{minutes}:{seconds:02}.{tenths}", 60 * minutes + Decimal(f"{seconds}.{tenths}")


def long_clock(rng):
    hours, minutes, seconds = rng.randint(0, 99), rng.randint(0, 59), rng.randint(0, 59)
    return f"{hours}:{minutes:02}:{seconds:02}", Decimal(3600 * hours + 60 * minutes + seconds)


def short_clock(rng):
    minutes, seconds = rng.randint(0, 99), rng.randint(0, 59)
    return f"{minutes}:{seconds:02}", Decimal(60 * minutes + seconds)


FORMS = {
    "plain": (by_decimal(plain), ""),
    "leading point": (by_decimal(leading_point), ""),
    "exponent": (by_decimal(exponent), ""),
    "Fortran exponent": (fortran_exponent, ""),
    "printf fixed": (printf_fixed, ""),
    "printf exponent": (printf_exponent, ""),
    "thousands": (thousands, 'comma = "thousands"'),
    "decimal comma": (decimal_comma, 'comma = "decimal"'),
    "hex": (hexadecimal, ""),
    "mm:ss.t": (clock, ""),
    "hh:mm:ss": (long_clock, ""),
    "mm:ss": (short_clock, 'clock = "mm:ss"'),
}


def captured(kind, texts):
    lines = [f"Score: {text}".encode() for text in texts]
    if kind is CaptureKind.SCREEN:
        return screen(b"Mill", *lines)
    octets = b"Mill\r\n" + b"\r\n".join(lines)
    return console(octets) if kind is CaptureKind.CONSOLE else file(octets)


@pytest.mark.parametrize("form", FORMS)
def test_every_number_is_read_to_its_last_digit(form):
    make, style = FORMS[form]
    unit = "s" if ":" in form else "points"
    schemas = load(schema_text(metric("score", style, unit=unit)))
    rng = random.Random(form)
    for number in range(COUNT_A_FORM // A_CAPTURE):
        made = [make(rng) for _ in range(A_CAPTURE)]
        capture = captured(list(CaptureKind)[number % 3], [text for text, _ in made])
        readout = read_run([capture], schemas)
        assert readout.holds == ()
        assert len(readout.readings) == A_CAPTURE
        step = 2 if capture.kind is CaptureKind.SCREEN else 1
        for reading, (text, value) in zip(readout.readings, made, strict=True):
            assert reading.value.as_tuple() == value.as_tuple()
            exponent_of = value.as_tuple().exponent
            assert reading.quantum == Decimal(1).scaleb(exponent_of)
            assert reading.decimals == max(0, -exponent_of)
            assert capture.octets[reading.begin : reading.end : step] == text.encode()


def test_a_comma_that_could_be_either_is_never_read():
    schemas = load(schema_text())
    rng = random.Random("either")
    texts = [f"{rng.randint(1, 999)},{rng.randint(0, 999):03}" for _ in range(500)]
    readout = read_run([captured(CaptureKind.FILE, texts)], schemas)
    assert readout.readings == ()
    assert len(readout.holds) == 500
