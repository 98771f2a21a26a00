"""A number in a line, and what stands beside it: where it goes on, or began earlier, it is held.

A sign, a bound or further digits beside the characters taken, or characters that were not written together, make
another number of it.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache

from readoff.readings.kinds import Seen
from readoff.readings.numbers import BLANK_UNSAID, Number, Style, Unread, read_number
from readoff.readings.shown import Line

# A metric found more often than this in one capture is held: a mistake, or an attack on the reader's time.
MOST_OCCURRENCES = 1000

_REMEMBERED = 512  # numbers in their lines; a line has 4096 characters at most

# What follows a number that is longer than the characters taken; 0x only after a lone 0.
_GOES_ON = re.compile(r"[0-9½¼²ⁿ]|[.,:'][0-9]|[eEdD][+-]?[0-9]")
_HEX_GOES_ON = re.compile(r"[xX][0-9A-Fa-f]")
# What stands before a number that began earlier: digits, a mark after a digit, a leading point (not dot leaders or
# an abbreviation's), a sign (not a hyphen between words; with blanks behind it only after : or =, as it may else be a
# dash), a bound (not an arrow), an exponent, a hex prefix.
_BEGAN_BEFORE = re.compile(
    r"(?:[0-9]|[0-9][.,:']|(?:^|[^.A-Za-z0-9])\.|(?:^|[^0-9A-Za-z)\]])[+-]|[:=]\s*[+-]\s+|(?:[<≤≥]|(?<![-=])>)\s*"
    r"|0[xX][0-9A-Fa-f]*|[0-9][eEdD][+-]?)$"
)

# A blank that may stand between thousands: three digits behind it, a lone number of one to three before it.
_GROUPS = r"[1-9][0-9]{0,2}(?: [0-9]{3})*"
_MAY_GO_ON = re.compile(rf"[+-]?{_GROUPS}")
_FURTHER_GROUP = re.compile(r" [0-9]{3}(?![0-9])")
_MAY_HAVE_BEGUN = re.compile(r"[0-9]{3}(?: [0-9]{3})*(?:[.,][0-9]+)?")
_EARLIER_GROUPS = re.compile(rf"(?:^|[^0-9A-Za-z.,:'/]){_GROUPS} $")


def number_in_line(line: Line, first: int, last: int, style: Style) -> Seen:
    """The characters first..last of a line as one number, exactly or not at all."""
    number = _as_written(line.text, first, last, style)
    if not isinstance(number, Unread) and (flaw := _torn(line, first, last)):
        number = Unread(flaw)
    return Seen(number, *line.span(first, last), line.text)


def number_and_unit(line: Line, first: int, last: int, style: Style) -> Seen:
    """The characters first..last of a line as a number and, behind blanks, its unit."""
    words = line.text[first:last].split()
    if len(words) != 2:
        reason = (
            "no unit stands beside the number" if len(words) == 1 else "a number and a unit were expected"
        )
        return Seen(Unread(f"{line.text[first:last]!r}: {reason}"), *line.span(first, last), line.text)
    return replace(number_in_line(line, first, first + len(words[0]), style), unit=words[1])


@lru_cache(_REMEMBERED)
def _as_written(text: str, first: int, last: int, style: Style) -> Number | Unread:
    """The same by the text alone. What a program prints is often on the screen too, so it is read once."""
    number, taken = read_number(text[first:last], style), text[first:last]
    if isinstance(number, Unread):
        return number
    if _GOES_ON.match(text, last) or (taken == "0" and _HEX_GOES_ON.match(text, last)):
        return Unread(f"{taken!r} is taken, but the number goes on: {text[first : last + 8]!r}")
    before = text[max(0, first - 24) : first]
    if _BEGAN_BEFORE.search(before):
        told = (before + taken)[-24:]
        return Unread(f"{taken!r} is taken, but what stands before belongs to it: {told!r}")
    if style.blank != "apart" and (whole := whole_with_blanks(text, first, last)):
        if style.blank:
            return Unread(f"{taken!r} is taken, but the number is {whole!r}")
        return Unread(f"{taken!r} of {whole!r}: {BLANK_UNSAID}")
    return number


def whole_with_blanks(text: str, first: int, last: int) -> str:
    """The number of which the characters first..last may be a part, if a blank can stand between thousands; or ""."""
    on = _MAY_GO_ON.fullmatch(text, first, last) and _FURTHER_GROUP.match(text, last)
    begun = _MAY_HAVE_BEGUN.fullmatch(text, first, last) and _EARLIER_GROUPS.search(
        text[max(0, first - 24) : first]
    )
    if not (on or begun):
        return ""
    return text[first - len(begun[0].lstrip()) if begun else first : on.end() if on else last]


def _torn(line: Line, first: int, last: int) -> str:
    """Why the characters first..last were not written as one number, or ""."""
    taken = line.text[first:last]
    if not line.in_one_piece(first, last):
        return f"{taken!r} was put together on the screen from texts written at different times"
    if not line.in_one_row(first, last):
        return f"{taken!r} lies across the edge of the screen: one number or two?"
    return ""
