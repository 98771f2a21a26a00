"""A number against its neighbours: those of other runs of the same series. Slips of hand and eye are named, not mended.

What is looked for: a decimal point lost or out of place, a digit too many, two neighbouring digits swapped, a sign. A
doubt is a question to a person; it changes nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from statistics import median_low

# How far a number may lie outside its neighbours' range before it is looked at: as far as that range is wide, and
# never less than this share of their median. Our choice.
NEAR = Decimal("0.02")
# Neighbours farther from their median than this factor are not believed themselves; and a number that far from all
# of them is pointed out even where no slip explains it. Our choice.
FAR = 3
_LONGEST_SHIFT = 3  # places that a decimal point is moved, at most
_PLAIN = re.compile(r"([+-]?)([0-9]*)(?:\.([0-9]+))?")
_TIMES = {
    1: "ten times",
    2: "a hundred times",
    3: "a thousand times",
    -1: "a tenth of",
    -2: "a hundredth of",
    -3: "a thousandth of",
}


class Slip(StrEnum):
    """What may have gone wrong."""

    LOST_POINT = "a lost decimal point"
    EXTRA_DIGIT = "a digit too many"
    SWAPPED = "two digits swapped"
    MOVED_POINT = "a decimal point out of place"
    SIGN = "another sign"


@dataclass(frozen=True)
class Meant:
    """A number that would fit, and the slip that makes the shown one of it."""

    slip: Slip
    text: str
    shift: int = 0  # places that the point was moved, for the sentence


@dataclass(frozen=True)
class Doubt:
    """Why a number is looked at. low, high: of its neighbours. meant: what would fit, likeliest first, or none."""

    shown: str
    low: Decimal
    high: Decimal
    meant: tuple[Meant, ...]

    @property
    def sentence(self) -> str:
        """In one sentence, as a question where something would fit."""
        span = f"{self.low:f}" if self.low == self.high else f"{self.low:f} to {self.high:f}"
        shift = self.meant[0].shift if self.meant else 0
        where = f"{_TIMES[shift]} its neighbours" if shift else "far from its neighbours"
        told = " or ".join(f"{each.text} ({each.slip})" for each in self.meant[:3])
        return f"{self.shown}: {where} ({span})" + (f", did you mean {told}?" if told else "")


def doubt(shown: str, neighbours: Sequence[Decimal]) -> Doubt | None:
    """Holds a number as shown, in plain digits, against its neighbours; None where nothing is to be said.

    None, too, without neighbours, or where the text is not plain digits with at most one point. Never raises.
    """
    found = _PLAIN.fullmatch(shown)
    if not neighbours or not found or not (found[2] or found[3]):
        return None
    value, believed = Decimal(shown), _believed(neighbours)
    low, high, middle = min(believed), max(believed), median_low(believed)
    room = max(high - low, NEAR * abs(middle))
    if low - room <= value <= high + room:
        return None
    sign, whole, part = found[1], found[2], found[3] or ""
    meant: dict[str, Meant] = {}
    fewest = min(_decimals(each) for each in believed)
    for each in _slips(sign, whole, part):
        if each.slip is Slip.EXTRA_DIGIT and _decimals(Decimal(each.text)) < fewest:
            continue  # the program shows more decimals than that
        if low - room <= Decimal(each.text) <= high + room:
            meant.setdefault(each.text, each)
    if not meant and not _far(value, middle):
        return None
    ordered = sorted(meant.values(), key=lambda each: abs(Decimal(each.text) - middle))
    ordered.sort(key=lambda each: list(Slip).index(each.slip))
    return Doubt(shown, low, high, tuple(ordered))


def _decimals(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _believed(neighbours: Sequence[Decimal]) -> list[Decimal]:
    """The neighbours without those that are far from most of them: one of them may be the slip."""
    middle = median_low(neighbours)
    return [each for each in neighbours if not _far(each, middle)] or [middle]


def _far(value: Decimal, middle: Decimal) -> bool:
    if not value or not middle or (value < 0) != (middle < 0):
        return value != middle
    return max(abs(value), abs(middle)) > FAR * min(abs(value), abs(middle))


def _slips(sign: str, whole: str, part: str) -> Iterator[Meant]:
    """Everything that the number would be without one slip."""
    digits, at = whole + part, len(whole)
    for shift in range(-_LONGEST_SHIFT, _LONGEST_SHIFT + 1):
        if shift:
            slip = Slip.LOST_POINT if shift > 0 and not part else Slip.MOVED_POINT
            yield Meant(slip, sign + _pointed(digits, at - shift), shift)
    for place in range(at if at > 1 else 0):
        yield Meant(Slip.EXTRA_DIGIT, sign + _pointed(digits[:place] + digits[place + 1 :], at - 1))
    for place in range(len(digits) - 1):
        one, two = digits[place], digits[place + 1]
        if one != two:
            yield Meant(Slip.SWAPPED, sign + _pointed(digits[:place] + two + one + digits[place + 2 :], at))
    yield Meant(Slip.SIGN, ("" if sign == "-" else "-") + _pointed(digits, at))


def _pointed(digits: str, at: int) -> str:
    """Digits with the point before the digit `at`, zeros put where there are none; without needless ones in front."""
    digits = digits.rjust(len(digits) - at, "0") if at < 0 else digits.ljust(at, "0")
    at = max(at, 0)
    whole, part = digits[:at].lstrip("0") or "0", digits[at:]
    return f"{whole}.{part}" if part else whole
