"""How a text schema takes its numbers: by a pattern with a group around each.

A pattern may be careless (`[0-9]+` against "72.9"). So the text beside a match is looked at too (beside.py).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice

from readoff.readings.beside import MOST_OCCURRENCES, number_in_line
from readoff.readings.kinds import Kind, Seen, Told
from readoff.readings.numbers import Unread
from readoff.readings.schema import Metric, Pattern, compile_pattern
from readoff.readings.shown import CaptureKind
from readoff.readings.table import Table
from readoff.readings.view import View


@dataclass(frozen=True)
class TextWay:
    """The patterns of a schema's shown metrics."""

    patterns: Mapping[str, Pattern]
    hints: tuple[Pattern, ...] = ()

    def further(self, view: View) -> Iterator[Told]:
        """No conditions beside the patterns that all kinds share."""
        return iter(())

    def take(self, metric: Metric, view: View) -> list[Seen]:
        """One number for each match of the metric's pattern."""
        pattern = self.patterns[metric.name]
        found = pattern.compiled.finditer(view.shown.utf8)
        spans = [match.span(pattern.group) for match in islice(found, MOST_OCCURRENCES + 1)]
        if len(spans) > MOST_OCCURRENCES:
            return [
                Seen(Unread(f"found more than {MOST_OCCURRENCES} times"), 0, len(view.capture.octets)),
            ]
        return [_at(view, metric, begin, end) for begin, end in spans]


def _at(view: View, metric: Metric, begin: int, end: int) -> Seen:
    """The number at begin..end of the text (UTF-8), exactly or not at all."""
    if begin < 0 or begin == end:
        place = view.shown.octets_of(begin, end) if begin >= 0 else (0, len(view.capture.octets))
        return Seen(Unread("the pattern matches, but with nothing in its group"), *place)
    line, first, last = view.shown.locate(begin, end)
    text = line.text[first:last]
    first += len(text) - len(text.lstrip(" "))
    last = first + len(text.strip(" "))
    if first >= last:
        nothing = Unread("there is nothing where the number should be")
        return Seen(nothing, *view.shown.octets_of(begin, end), line.text)
    return number_in_line(line, first, last, metric.style)


def _load(top: Table, recognise: Table, metrics: Mapping[str, Table]) -> TextWay:
    patterns: dict[str, Pattern] = {}
    for name, table in metrics.items():
        text = table.text("pattern")
        pattern = compile_pattern(text, named_group=True) if text else None
        if isinstance(pattern, tuple):
            table.fault("pattern", *pattern)
        elif pattern:
            patterns[name] = pattern
    return TextWay(patterns)


TEXT = Kind("text", tuple(CaptureKind), _load, shown=("pattern",), patterns=True)
