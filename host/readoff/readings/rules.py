"""Rules that a program's numbers must keep to be plausible: sums of the formula language with comparisons between.

    rule       = sum comparison sum { comparison sum }
    comparison = "<" | "<=" | ">" | ">=" | "==" | "!="

A shown number stands for whatever lies within half a unit of its last digit. So a rule is broken only where no values
that the display allows would keep it: "0.0" may be 0.04, and keeps `rate > 0`; "-0.1" breaks it. Where the interval of
a sum is wider than it need be (formula.py says when), a rule may be kept that is not; never the other way round.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from readoff.errors import SchemaError
from readoff.readings.formula import LONGEST_FORMULA, Amount, Formula, Parser, Unreckoned

# Whether a comparison is false for all values that both sides may have.
_BROKEN: Mapping[str, Callable[[Amount, Amount], bool]] = {
    "<": lambda a, b: a.low >= b.high,
    "<=": lambda a, b: a.low > b.high,
    ">": lambda a, b: a.high <= b.low,
    ">=": lambda a, b: a.high < b.low,
    "==": lambda a, b: a.high < b.low or a.low > b.high,
    "!=": lambda a, b: a.low == a.high == b.low == b.high,
}


@dataclass(frozen=True)
class Rule:
    """A parsed rule: its text, its sums and what stands between."""

    text: str
    sums: tuple[Formula, ...]
    comparisons: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The metrics that it names, each once, in order."""
        return tuple(dict.fromkeys(name for each in self.sums for name in each.names))

    def links(self) -> tuple[Rule, ...]:
        """Its comparisons as rules of their own: each can be broken where a number of another is missing."""
        pairs = zip(self.comparisons, pairwise(self.sums), strict=True)
        return tuple(Rule(self.text, pair, (comparison,)) for comparison, pair in pairs)

    def broken(self, inputs: Mapping[str, Amount]) -> bool:
        """Whether these numbers break it for sure. A rule that has no value for them (x / 0) is not broken."""
        try:
            amounts = [each.reckon(inputs) for each in self.sums]
        except Unreckoned:
            return False
        pairs = zip(self.comparisons, pairwise(amounts), strict=True)
        return any(_BROKEN[comparison](*pair) for comparison, pair in pairs)


def parse_rule(text: str) -> Rule:
    """Parse a rule. Raises SchemaError with the column and what would be right."""
    if len(text) > LONGEST_FORMULA:
        raise SchemaError(
            f"a rule of {len(text)} characters", next_step=f"There should be at most {LONGEST_FORMULA}."
        )
    parser = Parser(text)
    sums = [_sum(parser)]
    comparisons = []
    while parser.token in _BROKEN:
        comparisons.append(parser.token)
        parser.advance()
        sums.append(_sum(parser))
    if parser.kind != "end":
        raise parser.fail("a comparison or the end")
    if not comparisons:
        raise parser.fail("a comparison (" + " ".join(_BROKEN) + ")")
    return Rule(text, tuple(sums), tuple(comparisons))


def _sum(parser: Parser) -> Formula:
    begin, named = parser.at, len(parser.names)
    reckon = parser.sum()
    return Formula(parser.text[begin : parser.at].strip(), tuple(parser.names[named:]), reckon)
