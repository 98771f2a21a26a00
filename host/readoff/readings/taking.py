"""Takes from one capture whatever one schema reads in it: for each metric its readings and holds in order."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from readoff.readings.formula import Formula, Unreckoned, amount_of
from readoff.readings.kinds import Seen
from readoff.readings.numbers import Unread
from readoff.readings.reading import Hold, Reading
from readoff.readings.schema import Metric, Schema
from readoff.readings.view import View

_NOISE = Decimal("1e-20")

Entry = Reading | Hold


class Taker:
    """One capture read by one schema."""

    def __init__(self, view: View, schema: Schema) -> None:
        self.view, self.schema = view, schema
        self.entries: dict[str, list[Entry]] = {}
        for metric in schema.metrics:
            self.entries[metric.name] = (
                self._derived(metric, metric.formula) if metric.formula else self._seen(metric)
            )

    def holds(self) -> list[Hold]:
        """What of the capture as a whole was not read."""
        return [
            Hold("the line is too long to be read", begin, end, self.schema.name, self.view.index)
            for begin, end in self.view.shown.too_long
        ]

    def _hold(self, metric: Metric, reason: str, begin: int, end: int, line: str = "") -> Hold:
        return Hold(reason, begin, end, self.schema.name, self.view.index, metric.name, line)

    def _seen(self, metric: Metric) -> list[Entry]:
        return [
            self._entry(metric, seen, number)
            for number, seen in enumerate(self.schema.way.take(metric, self.view))
        ]

    def _entry(self, metric: Metric, seen: Seen, occurrence: int) -> Entry:
        if isinstance(seen.number, Unread):
            return self._hold(metric, seen.number.reason, seen.begin, seen.end, seen.line)
        return Reading(
            metric=metric.name,
            value=seen.number.value,
            unit=metric.unit,
            better=metric.better,
            decimals=seen.number.decimals,
            quantum=Decimal(0) if metric.exact else seen.number.quantum,
            schema=self.schema.name,
            schema_digest=self.schema.digest,
            begin=seen.begin,
            end=seen.end,
            line=seen.line,
            derived=False,
            occurrence=occurrence,
            capture=self.view.index,
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
            capture=self.view.index,
        )


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
