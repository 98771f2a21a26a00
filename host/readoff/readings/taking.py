"""Takes from one capture whatever one schema reads in it: for each metric its readings and holds in order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from readoff.readings.formula import Amount, Formula, Unreckoned, amount_of
from readoff.readings.kinds import Seen
from readoff.readings.numbers import Number, Unread
from readoff.readings.reading import Hold, Reading
from readoff.readings.schema import Metric, Schema
from readoff.readings.units import UNITS, converted, factor_between, unit_named
from readoff.readings.view import View

_NOISE = Decimal("1e-20")

Entry = Reading | Hold


class Taker:
    """One capture read by one schema: for each metric its readings and holds, in order."""

    def __init__(self, view: View, schema: Schema) -> None:
        self.view, self.schema = view, schema
        self.entries: dict[str, list[Entry]] = {}
        self._fill({})
        if broken := self._broken_rules():
            self._fill(broken)

    def holds(self) -> list[Hold]:
        """What of the capture as a whole was not read."""
        too_long = self.view.shown.too_long if self.schema.kind == "text" else ()
        return [
            Hold("the line is too long to be read", begin, end, self.schema.name, self.view.index)
            for begin, end in too_long
        ]

    def _fill(self, broken: Mapping[tuple[str, int], str]) -> None:
        """All entries. broken: the readings (metric, occurrence) that are held for a rule, and its reason."""
        for metric in self.schema.metrics:
            formula = metric.formula
            entries = self._derived(metric, formula) if formula else self._seen(metric)
            self.entries[metric.name] = [
                self._implausible(metric, entry, broken.get((metric.name, entry.occurrence), ""))
                for entry in entries
            ]

    def _implausible(self, metric: Metric, entry: Entry, reason: str) -> Entry:
        if not reason or isinstance(entry, Hold):
            return entry
        return self._hold(metric, reason, entry.begin, entry.end, entry.line, entry.occurrence)

    def _broken_rules(self) -> dict[tuple[str, int], str]:
        """Why each reading that a broken rule names is held; the first such rule speaks."""
        broken: dict[tuple[str, int], str] = {}
        for rule in (each for whole in self.schema.rules for each in (whole, *whole.links())):
            for row in self._rows(rule.names) or ():
                readings = [entry for entry in row if isinstance(entry, Reading)]
                if len(readings) == len(row) and rule.broken(_amounts(readings)):
                    told = ", ".join(f"{entry.metric} {shortly(entry)}" for entry in readings)
                    for entry in readings:
                        reason = f"not plausible by the rule {rule.text}: {told}"
                        broken.setdefault((entry.metric, entry.occurrence), reason)
        return broken

    def _hold(
        self, metric: Metric, reason: str, begin: int, end: int, line: str = "", occurrence: int = 0
    ) -> Hold:
        return Hold(reason, begin, end, self.schema.name, self.view.index, metric.name, line, occurrence)

    def _seen(self, metric: Metric) -> list[Entry]:
        return [
            self._entry(metric, seen, number if seen.occurrence is None else seen.occurrence)
            for number, seen in enumerate(self.schema.way.take(metric, self.view))
        ]

    def _entry(self, metric: Metric, seen: Seen, occurrence: int) -> Entry:
        number = in_unit(metric, seen)
        if isinstance(number, Unread):
            return self._hold(metric, number.reason, seen.begin, seen.end, seen.line, occurrence)
        return Reading(
            metric=metric.name,
            value=number.value,
            unit=metric.unit,
            better=metric.better,
            decimals=number.decimals,
            quantum=Decimal(0) if metric.exact else number.quantum,
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
        """One result for each occurrence of the inputs."""
        rows = self._rows(formula.names)
        if rows is not None:
            return [self._reckon(metric, formula, row) for row in rows]
        told = ", ".join(f"{name} {len(self.entries[name])}" for name in formula.names)
        every = [entry for name in formula.names for entry in self.entries[name]]
        return [self._hold(metric, f"its inputs occur unequally often: {told}", *_around(every))]

    def _rows(self, names: Sequence[str]) -> list[tuple[Entry, ...]] | None:
        """The entries of these metrics that belong together; None where there is no telling which do.

        Repeats of one section (a block, a table) belong together by their occurrence, and what occurs once outside of
        it belongs to each of them. Otherwise all must occur equally often.
        """
        inputs = [self.entries[name] for name in names]
        if not all(inputs):
            return []  # the missing input is told where it is missed
        metrics = [self.schema.metric(name) for name in names]
        sections = {metric.section for metric in metrics if metric.section}
        alone = [
            metric.once and not metric.section and len(self.entries[metric.name]) == 1 for metric in metrics
        ]
        if len(sections) == 1 and all(
            metric.section or one for metric, one in zip(metrics, alone, strict=True)
        ):
            by_number = [{entry.occurrence: entry for entry in entries} for entries in inputs]
            repeats = [set(each) for each, one in zip(by_number, alone, strict=True) if not one]
            return [
                tuple(each[0 if one else number] for each, one in zip(by_number, alone, strict=True))
                for number in sorted(set.intersection(*repeats))
            ]
        if len({len(entries) for entries in inputs}) > 1:
            return None
        return list(zip(*inputs, strict=True))

    def _reckon(self, metric: Metric, formula: Formula, row: Sequence[Entry]) -> Entry:
        begin, end = _around(row)
        occurrence = max(entry.occurrence for entry in row)
        line = " / ".join(dict.fromkeys(entry.line for entry in row))
        readings = [entry for entry in row if isinstance(entry, Reading)]
        if len(readings) < len(row):
            names = ", ".join(entry.metric for entry in row if isinstance(entry, Hold))
            return self._hold(metric, f"its input is held: {names}", begin, end, line, occurrence)
        try:
            amount = formula.reckon(_amounts(readings))
        except Unreckoned as reason:
            return self._hold(metric, f"{formula.text}: {reason}", begin, end, line, occurrence)
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


def in_unit(metric: Metric, seen: Seen) -> Number | Unread:
    """What was seen, in the unit of its metric; or why it cannot be had exactly."""
    if isinstance(seen.number, Unread):
        return seen.number
    shown: str | None = metric.shown_in or metric.unit
    if seen.unit:
        shown = unit_named(seen.unit, metric.spelled, UNITS)
        if shown is None:
            return Unread(
                f"{seen.unit!r} beside the number is no known unit; the schema may say which (spelled)"
            )
    factor = factor_between(shown or "", metric.unit, metric.kilo)
    return Unread(factor) if isinstance(factor, str) else converted(seen.number, factor)


def shortly(reading: Reading) -> str:
    """A reading's number for a sentence."""
    return f"{reading.value:.{reading.decimals}f}"


def _amounts(readings: Sequence[Reading]) -> dict[str, Amount]:
    return {entry.metric: amount_of(entry.value, entry.quantum) for entry in readings}


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
