"""Takes from one capture whatever one schema reads in it: for each metric its readings and holds in order.

A pattern may be careless (`[0-9]+` against "72.9"). So the text beside a match is looked at too: where a number
goes on, or a sign or a bound stands before it, or its characters were not written together, it is held.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from itertools import islice

from readoff.readings.formula import Formula, Unreckoned, amount_of
from readoff.readings.numbers import Unread, read_number
from readoff.readings.reading import Hold, Reading
from readoff.readings.schema import Metric, Schema
from readoff.readings.shown import Line, Shown

# A metric found more often than this in one capture is held: a mistake, or an attack on the reader's time.
MOST_OCCURRENCES = 1000
_NOISE = Decimal("1e-20")

Entry = Reading | Hold
# What follows a number that is longer than the pattern took; 0x only after a lone 0.
_GOES_ON = re.compile(r"[0-9½¼²ⁿ]|[.,:'][0-9]|[eEdD][+-]?[0-9]")
_HEX_GOES_ON = re.compile(r"[xX][0-9A-Fa-f]")
# What stands before a number that began earlier: digits, a mark after a digit, a leading point (not dot leaders or
# an abbreviation's), a sign (not a hyphen between words), a bound, an exponent, a hex prefix.
_BEGAN_BEFORE = re.compile(
    r"(?:[0-9]|[0-9][.,:']|(?:^|[^.A-Za-z0-9])\.|(?:^|[^0-9A-Za-z)\]])[+-]|[<>≤≥]\s*"
    r"|0[xX][0-9A-Fa-f]*|[0-9][eEdD][+-]?)$"
)


class Taker:
    """One capture read by one schema."""

    def __init__(self, shown: Shown, schema: Schema, capture: int, length: int) -> None:
        self.shown, self.schema, self.capture, self.length = shown, schema, capture, length
        self.entries: dict[str, list[Entry]] = {}
        for metric in schema.metrics:
            self.entries[metric.name] = (
                self._derived(metric, metric.formula) if metric.formula else self._seen(metric)
            )

    def holds(self) -> list[Hold]:
        """What of the capture as a whole was not read."""
        return [
            Hold("the line is too long to be read", begin, end, self.schema.name, self.capture)
            for begin, end in self.shown.too_long
        ]

    def _hold(self, metric: Metric, reason: str, begin: int, end: int, line: str = "") -> Hold:
        return Hold(reason, begin, end, self.schema.name, self.capture, metric.name, line)

    def _seen(self, metric: Metric) -> list[Entry]:
        assert metric.pattern  # a metric has a pattern or a formula
        found = metric.pattern.compiled.finditer(self.shown.utf8)
        spans = [match.span(metric.pattern.group) for match in islice(found, MOST_OCCURRENCES + 1)]
        if len(spans) > MOST_OCCURRENCES:
            return [self._hold(metric, f"found more than {MOST_OCCURRENCES} times", 0, self.length)]
        return [self._take(metric, begin, end, number) for number, (begin, end) in enumerate(spans)]

    def _take(self, metric: Metric, begin: int, end: int, occurrence: int) -> Entry:
        """The number at begin..end of the text (UTF-8), exactly or not at all."""
        if begin < 0 or begin == end:
            place = self.shown.octets_of(begin, end) if begin >= 0 else (0, self.length)
            return self._hold(metric, "the pattern matches, but with nothing in its group", *place)
        line, first, last = self.shown.locate(begin, end)
        text = line.text[first:last]
        first += len(text) - len(text.lstrip(" "))
        last = first + len(text.strip(" "))
        if first >= last:
            place = self.shown.octets_of(begin, end)
            return self._hold(metric, "there is nothing where the number should be", *place, line.text)
        place = line.span(first, last)
        flaw = _flaw(line, first, last)
        number = read_number(line.text[first:last], metric.style)
        if isinstance(number, Unread) or flaw:
            reason = number.reason if isinstance(number, Unread) else flaw
            return self._hold(metric, reason, *place, line.text)
        quantum = Decimal(0) if metric.exact else number.quantum
        return Reading(
            metric=metric.name,
            value=number.value,
            unit=metric.unit,
            better=metric.better,
            decimals=number.decimals,
            quantum=quantum,
            schema=self.schema.name,
            schema_digest=self.schema.digest,
            begin=place[0],
            end=place[1],
            line=line.text,
            derived=False,
            occurrence=occurrence,
            capture=self.capture,
        )

    def _derived(self, metric: Metric, formula: Formula) -> list[Entry]:
        """One result for each occurrence of the inputs; they must occur equally often."""
        inputs = {name: self.entries[name] for name in formula.names}
        counts = {name: len(entries) for name, entries in inputs.items()}
        if not all(counts.values()):
            return []  # the missing input is told where it is missed
        if len(set(counts.values())) > 1:
            told = ", ".join(f"{name} {count}" for name, count in counts.items())
            every = [entry for entries in inputs.values() for entry in entries]
            return [self._hold(metric, f"its inputs occur unequally often: {told}", *_around(every))]
        return [
            self._reckon(metric, formula, row, number)
            for number, row in enumerate(zip(*inputs.values(), strict=True))
        ]

    def _reckon(self, metric: Metric, formula: Formula, row: Sequence[Entry], occurrence: int) -> Entry:
        begin, end = _around(row)
        line = " / ".join(dict.fromkeys(entry.line for entry in row))
        readings = [entry for entry in row if isinstance(entry, Reading)]
        if len(readings) < len(row):
            names = ", ".join(entry.metric for entry in row if isinstance(entry, Hold))
            return self._hold(metric, f"its input is held: {names}", begin, end, line)
        try:
            amount = formula.reckon(
                {entry.metric: amount_of(entry.value, entry.quantum) for entry in readings}
            )
        except Unreckoned as reason:
            return self._hold(metric, f"{formula.text}: {reason}", begin, end, line)
        return Reading(
            metric=metric.name,
            value=amount.value,
            unit=metric.unit,
            better=metric.better,
            decimals=_decimals(amount.value, amount.quantum),
            quantum=amount.quantum,
            schema=self.schema.name,
            schema_digest=self.schema.digest,
            begin=begin,
            end=end,
            line=line,
            derived=True,
            occurrence=occurrence,
            capture=self.capture,
        )


def _flaw(line: Line, first: int, last: int) -> str:
    """Why the characters first..last are not a whole number as it was shown, or ""."""
    taken = line.text[first:last]
    if _GOES_ON.match(line.text, last) or (taken == "0" and _HEX_GOES_ON.match(line.text, last)):
        return f"the pattern takes {taken!r}, but the number goes on: {line.text[first : last + 8]!r}"
    before = line.text[max(0, first - 24) : first]
    if _BEGAN_BEFORE.search(before):
        return (
            f"the pattern takes {taken!r}, but what stands before belongs to it: {(before + taken)[-24:]!r}"
        )
    if not line.in_one_piece(first, last):
        return f"{taken!r} was put together on the screen from texts written at different times"
    if not line.in_one_row(first, last):
        return f"{taken!r} lies across the edge of the screen: one number or two?"
    return ""


def _around(entries: Sequence[Entry]) -> tuple[int, int]:
    return min(entry.begin for entry in entries), max(entry.end for entry in entries)


def _decimals(value: Decimal, quantum: Decimal) -> int:
    """Places worth showing: to the quantum's own order and one more; of an exact value all, six at most.

    A quantum below 1e-20 of the value is the noise of 34-digit arithmetic.
    """
    if quantum > abs(value) * _NOISE:
        return max(0, 1 - quantum.adjusted())
    exponent = value.normalize().as_tuple().exponent
    return min(6, max(0, -exponent)) if isinstance(exponent, int) else 0
