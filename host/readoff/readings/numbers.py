"""Numbers as old programs show them, read exactly or not at all.

A number keeps what was shown: "50.0" has one decimal and a quantum of 0.1, "50" none and a quantum of 1.
Whatever has two readings ("1,234": thousands or a decimal comma?) or none ("OVERFLOW") is not read: the reason
is given instead. Arithmetic is decimal throughout.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

# Beyond these a "number" is a mistake; they also bound whatever is reckoned or printed from it later.
LONGEST_NUMBER = 60
LARGEST_EXPONENT = 300

_POINT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eEdD][+-]?[0-9]{1,4})?")
_COMMA = re.compile(r"[+-]?[0-9]+(?:,[0-9]+)?(?:[eEdD][+-]?[0-9]{1,4})?")
# Thousands begin with a digit that counts: "0.123" is no number of thousands, whatever the schema says of commas.
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]+)?")
_COMMA_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:\.[0-9]{3})+(?:,[0-9]+)?")
# The same with blanks, whatever its decimal mark is.
_BLANK_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2}(?: [0-9]{3})+(?:[.,][0-9]+)?")
BLANK_UNSAID = "thousands or two numbers? The schema must say which (blank = …)"
_HEX = re.compile(r"0[xX][0-9A-Fa-f]{1,16}")
_CLOCK = re.compile(r"([0-9]{1,4}):([0-5][0-9])(?::([0-5][0-9]))?(\.[0-9]+)?")
_SHAPES = re.compile(r"[*#?]+")
_NOT_A_NUMBER = re.compile(r"(?i)[-+]?(?:over\W*flow|under\W*flow|err(?:or)?|inf(?:inity)?|nan|n/?a|1\.#.*)")


@dataclass(frozen=True)
class Style:
    """What a schema says of a metric's numbers.

    comma: "thousands", "decimal", or "" where the schema says nothing. clock: "mm:ss" or "hh:mm" for a shown
    "12:34", or "". time: the metric's unit is the second, so that clock times have a meaning. blank: what one before
    three digits is: "thousands", "apart" for two numbers, or "".
    """

    comma: str = ""
    clock: str = ""
    time: bool = False
    blank: str = ""


@dataclass(frozen=True)
class Number:
    """A number as shown: its value, its places after the decimal point, and the step of its last digit."""

    value: Decimal
    decimals: int
    quantum: Decimal


@dataclass(frozen=True)
class Unread:
    """Why some text is not a number that can be read exactly."""

    reason: str


def read_number(text: str, style: Style) -> Number | Unread:
    """Read text as one number in one of the forms that style allows."""
    flaw = _no_number(text)
    if flaw:
        return Unread(flaw)
    if style.blank != "apart" and _BLANK_GROUPED.fullmatch(text):
        if not style.blank:
            return Unread(f"{text!r}: {BLANK_UNSAID}")
        text = text.replace(" ", "")
    if _HEX.fullmatch(text):
        return _number(Decimal(int(text, 16)))
    if ":" in text:
        return _clock(text, style)
    if style.comma == "decimal":
        if not (_COMMA.fullmatch(text) or _COMMA_GROUPED.fullmatch(text)):
            return Unread(f"{text!r} is not a number with a decimal comma, as the schema says")
        return _written(text.replace(".", "").replace(",", "."))
    return _with_point(text, style)


def _no_number(text: str) -> str:
    """Why text cannot be a number in any form; "" when it may be one."""
    if not text:
        return "there is nothing where the number should be"
    if len(text) > LONGEST_NUMBER:
        return f"{len(text)} characters are too many for a number"
    if text[0] in "<>≤≥":
        return f"{text!r} is a bound, not a number"
    if _SHAPES.fullmatch(text):
        return f"{text!r}: the number did not fit its field"
    if _NOT_A_NUMBER.fullmatch(text):
        return f"the program shows {text!r} instead of a number"
    return ""


def _with_point(text: str, style: Style) -> Number | Unread:
    if _POINT.fullmatch(text):
        return _written(text)
    if "," in text:
        return _with_commas(text, style)
    if text.endswith(".") and _POINT.fullmatch(text[:-1]):
        return Unread(f"{text!r} ends in its decimal point: digits may be cut off")
    return Unread(f"{text!r} is not a number")


def _with_commas(text: str, style: Style) -> Number | Unread:
    if not _GROUPED.fullmatch(text):
        return Unread(
            f"the commas in {text!r} do not stand between thousands, and no decimal comma is declared"
        )
    if not style.comma and text.count(",") == 1 and "." not in text:
        return Unread(f"{text!r}: thousands or a decimal comma? The schema must say which (comma = …)")
    return _written(text.replace(",", ""))


def _clock(text: str, style: Style) -> Number | Unread:
    found = _CLOCK.fullmatch(text)
    if not found:
        return Unread(f"{text!r} is not a time on a clock")
    if not style.time:
        return Unread(f"{text!r} is a time, but the metric's unit is not the second")
    first, second, third, fraction = found.groups(default="")
    if third:
        return _written(f"{int(first) * 3600 + int(second) * 60 + int(third)}{fraction}")
    if style.clock == "hh:mm" and not fraction:
        return Number(Decimal(int(first) * 3600 + int(second) * 60), 0, Decimal(60))
    if style.clock == "mm:ss" or (fraction and not style.clock):
        return _written(f"{int(first) * 60 + int(second)}{fraction}")
    if fraction:
        return Unread(f"{text!r} has a fraction, which hours and minutes have not")
    return Unread(
        f"{text!r}: minutes and seconds, or hours and minutes? The schema must say which (clock = …)"
    )


def _written(text: str) -> Number | Unread:
    number = Decimal(text.upper().replace("D", "E"))
    if abs(number.adjusted()) > LARGEST_EXPONENT:
        return Unread(f"{text!r} is beyond 10^{LARGEST_EXPONENT} or its inverse")
    return _number(number)


def _number(number: Decimal) -> Number:
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int)  # a finite number: the forms above allow no other
    return Number(number, max(0, -exponent), Decimal((0, (1,), exponent)))
