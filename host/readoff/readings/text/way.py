"""How a text schema takes its numbers: by a pattern with a group around each, or by the heading of a column.

A pattern may be careless (`[0-9]+` against "72.9"). So the text beside a match is looked at too (beside.py).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice

from readoff.readings.beside import MOST_OCCURRENCES, number_in_line
from readoff.readings.kinds import Kind, Seen, Told
from readoff.readings.numbers import Unread
from readoff.readings.schema import Metric, Pattern, compile_pattern
from readoff.readings.shown import TEXT_KINDS
from readoff.readings.table import Table
from readoff.readings.text.blocks import Block, known_block, load_blocks
from readoff.readings.text.tables import Column, load_column, load_tables
from readoff.readings.view import View


@dataclass(frozen=True)
class Found:
    """A metric found by a pattern: anywhere, or once in each repeat of a block."""

    pattern: Pattern
    block: Block | None = None

    def take(self, metric: Metric, view: View) -> list[Seen]:
        """One number for each match, or for each repeat of the block."""
        return self._everywhere(metric, view) if self.block is None else self._in(self.block, metric, view)

    def _everywhere(self, metric: Metric, view: View) -> list[Seen]:
        found = self.pattern.compiled.finditer(view.shown.utf8)
        matches = list(islice(found, MOST_OCCURRENCES + 1))
        if len(matches) > MOST_OCCURRENCES:
            return [_too_often(view)]
        return [self._at(view, metric, match, 0) for match in matches]

    def _in(self, block: Block, metric: Metric, view: View) -> list[Seen]:
        spans = block.spans(view.shown)
        if spans is None:
            return [_too_often(view)]
        seen: list[Seen] = []
        for repeat, (first, last) in enumerate(spans):
            begin, end = view.shown.utf8_of(first, last)
            matches = list(islice(self.pattern.compiled.finditer(view.shown.utf8[begin:end]), 2))
            if len(matches) == 1:
                seen.append(replace(self._at(view, metric, matches[0], begin), occurrence=repeat))
            elif matches or not metric.optional:
                what = "found more than once" if matches else f"{metric.name} was not found"
                reason = Unread(f"{what} in the block that begins in line {first + 1}")
                line = view.shown.lines[first]
                place = line.span(0, len(line.text))
                seen.append(Seen(reason, *place, line.text, occurrence=repeat))
        return seen

    def _at(self, view: View, metric: Metric, match: object, offset: int) -> Seen:
        """The number in the match's group, exactly or not at all; offset: where the text begins that was searched."""
        begin, end = match.span(self.pattern.group)  # type: ignore[attr-defined]
        if begin < 0 or begin == end:
            place = (0, len(view.capture.octets))
            if begin >= 0:
                place = view.shown.octets_of(begin + offset, end + offset)
            return Seen(Unread("the pattern matches, but with nothing in its group"), *place)
        begin, end = begin + offset, end + offset
        line, first, last = view.shown.locate(begin, end)
        text = line.text[first:last]
        first += len(text) - len(text.lstrip(" "))
        last = first + len(text.strip(" "))
        if first >= last:
            nothing = Unread("there is nothing where the number should be")
            return Seen(nothing, *view.shown.octets_of(begin, end), line.text)
        seen = number_in_line(line, first, last, metric.style)
        if self.pattern.unit:
            unit = (match.group(self.pattern.unit) or b"").decode("utf-8")  # type: ignore[attr-defined]
            seen = replace(seen, unit=unit)
            if not (unit or metric.shown_in):
                seen = replace(seen, number=Unread("no unit stands beside the number"))
        return seen


@dataclass(frozen=True)
class TextWay:
    """Where each of a schema's shown metrics stands."""

    places: Mapping[str, Found | Column]
    hints: tuple[Pattern, ...] = ()

    def further(self, view: View) -> Iterator[Told]:
        """No conditions beside the patterns that all kinds share."""
        return iter(())

    def take(self, metric: Metric, view: View) -> list[Seen]:
        """The metric's numbers, in order."""
        place = self.places[metric.name]
        if isinstance(place, Column):
            return place.take(view.shown, metric.style)
        return place.take(metric, view)


def _too_often(view: View) -> Seen:
    return Seen(Unread(f"found more than {MOST_OCCURRENCES} times"), 0, len(view.capture.octets))


def _load(top: Table, recognise: Table, metrics: Mapping[str, Table]) -> TextWay:
    blocks, tables = load_blocks(top), load_tables(top)
    places: dict[str, Found | Column] = {}
    for name, table in metrics.items():
        place: Found | Column | None
        if "table" in table.data:
            for key in ("pattern", "block"):
                if key in table.data:
                    table.fault(key, "beside a table", "either a pattern or a table and its column")
            place = load_column(table, tables, known_block(table, tables, "table"))
        else:
            for key in ("column", "row", "unit_beside"):
                if key in table.data:
                    right = (
                        "a pattern with the group (?P<unit>\\S+)"
                        if "unit" in key
                        else 'its table: table = "…"'
                    )
                    table.fault(key, "without a table", right)
            block = known_block(table, blocks, "block")
            text = table.text("pattern")
            pattern = compile_pattern(text, named_group=True) if text else None
            if isinstance(pattern, tuple):
                table.fault("pattern", *pattern)
            place = Found(pattern, blocks.get(block)) if isinstance(pattern, Pattern) else None
        if place:
            places[name] = place
    return TextWay(places)


TEXT = Kind(
    "text",
    TEXT_KINDS,
    _load,
    top=("blocks", "tables"),
    shown=("pattern", "block", "table", "column", "row", "unit_beside"),
    patterns=True,
    sections=("block", "table"),
)
