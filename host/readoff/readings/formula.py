"""Formulas of derived readings: a small language that can do arithmetic and nothing else.

    sum     = product { ("+" | "-") product }
    product = signed { ("*" | "/") signed }
    signed  = [ "-" | "+" ] signed | power
    power   = atom [ "^" whole ]            whole = a literal from 0 to 9
    atom    = number | name | [ "abs" ] "(" sum ")"

Numbers are decimal literals, names are metrics of the same schema. Reckoned in decimal with 34 digits (the
precision of IEEE 754 decimal128), and at the same time as an interval: a displayed input may be up to half its
quantum off either way. Both ends are rounded outwards (interval arithmetic: Moore, Kearfott & Cloud,
"Introduction to Interval Analysis", 2009, chapter 2; from memory). A name that occurs twice counts as two
independent inputs, which makes the interval too wide, never too narrow.
"""

from __future__ import annotations

import decimal
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from readoff.errors import SchemaError
from readoff.readings.numbers import LARGEST_EXPONENT

LONGEST_FORMULA = 500
DEEPEST_NESTING = 20
LARGEST_POWER = 9
_DIGITS = 34
_EXPONENT = 2 * LARGEST_EXPONENT  # of what is reckoned on the way; a trap ends whatever would grow beyond


def _context(rounding: str) -> decimal.Context:
    traps = [decimal.InvalidOperation, decimal.DivisionByZero, decimal.Overflow, decimal.Underflow]
    return decimal.Context(prec=_DIGITS, rounding=rounding, Emin=-_EXPONENT, Emax=_EXPONENT, traps=traps)


# Used by their methods alone, never as the thread's own: a change of context costs more than the arithmetic.
_EVEN, _DOWN, _UP = map(_context, (decimal.ROUND_HALF_EVEN, decimal.ROUND_FLOOR, decimal.ROUND_CEILING))

_TOKEN = re.compile(
    r"\s*(?:([0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,3})?)|([a-z][a-z0-9_]*)|([-+*/^()]|[<>=!]=|[<>]))"
)


@dataclass(frozen=True)
class Amount:
    """A value and the bounds that it may lie within."""

    value: Decimal
    low: Decimal
    high: Decimal

    @property
    def quantum(self) -> Decimal:
        """Twice the farthest that the true value may lie away: value ± quantum/2 holds the interval."""
        above, below = _UP.subtract(self.high, self.value), _UP.subtract(self.value, self.low)
        return _UP.multiply(Decimal(2), max(above, below))


class Unreckoned(Exception):  # noqa: N818 - an outcome that becomes a hold, not a mistake of ours
    """The formula has no value for these inputs; str() says why."""


Reckon = Callable[[Mapping[str, Amount]], Amount]


@dataclass(frozen=True)
class Formula:
    """A parsed formula: its text, the metrics it names (each once, in order), and how to reckon it."""

    text: str
    names: tuple[str, ...]
    _reckon: Reckon

    def reckon(self, inputs: Mapping[str, Amount]) -> Amount:
        """Value and bounds for these inputs. Raises Unreckoned (division by zero, out of range)."""
        try:
            amount = self._reckon(inputs)
        except decimal.DecimalException as error:
            raise Unreckoned("the result is beyond what can be reckoned") from error
        if any(
            part and abs(part.adjusted()) > LARGEST_EXPONENT
            for part in (amount.value, amount.low, amount.high)
        ):
            raise Unreckoned(f"the result is beyond 10^{LARGEST_EXPONENT} or its inverse")
        return amount


def amount_of(value: Decimal, quantum: Decimal) -> Amount:
    """A displayed number: it stands for anything within half its quantum."""
    two = Decimal(2)
    return Amount(
        value,
        _DOWN.subtract(value, _DOWN.divide(quantum, two)),
        _UP.add(value, _UP.divide(quantum, two)),
    )


def parse_formula(text: str) -> Formula:
    """Parse a formula. Raises SchemaError with the column and what would be right."""
    if len(text) > LONGEST_FORMULA:
        raise SchemaError(
            f"a formula of {len(text)} characters",
            next_step=f"There should be at most {LONGEST_FORMULA}.",
        )
    parser = Parser(text)
    reckon = parser.whole()
    return Formula(text, tuple(dict.fromkeys(parser.names)), reckon)


class Parser:
    """Recursive descent over the grammar above; each method returns a function that reckons its part.

    Rules (rules.py) are sums with comparisons between them, read by the same parser.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.names: list[str] = []
        self.at = 0  # where the current token begins
        self.depth = 0
        self.token = self.kind = ""
        self._end = 0
        self.advance()

    def advance(self) -> None:
        """Go to the next token."""
        found = _TOKEN.match(self.text, self._end)
        if found:
            self.token = found.group(found.lastindex or 0)
            self.kind = ("number", "name", "sign")[(found.lastindex or 1) - 1]
            self.at, self._end = found.start(found.lastindex or 0), found.end()
            return
        rest = self.text[self._end :]
        self.at = self._end + len(rest) - len(rest.lstrip())
        self.token = self.text[self.at : self.at + 1]
        self.kind = "stranger" if self.token else "end"

    def fail(self, wanted: str) -> SchemaError:
        """What is wrong at the current token, where `wanted` should be."""
        found = repr(self.token) if self.token else "the end"
        if self.text[self.at : self.at + 2] == "**" or self.text[self.at - 1 : self.at + 1] == "**":
            wanted = "^ for a power"
        return SchemaError(
            f"a formula with {found} at column {self.at + 1}",
            next_step=f"There should be {wanted}; formulas know + - * / ^ ( ) abs( ), numbers and names of metrics.",
        )

    def whole(self) -> Reckon:
        """A sum that goes on to the end."""
        reckon = self.sum()
        if self.kind != "end":
            raise self.fail("an operator or the end")
        return reckon

    def sum(self) -> Reckon:
        """Products with + and - between."""
        left = self.product()
        while self.token in ("+", "-") and self.kind == "sign":
            operate = _add if self.token == "+" else _subtract
            self.advance()
            left = _joined(operate, left, self.product())
        return left

    def product(self) -> Reckon:
        """Signed parts with * and / between."""
        left = self.signed()
        while self.token in ("*", "/") and self.kind == "sign":
            operate = _multiply if self.token == "*" else _divide
            self.advance()
            left = _joined(operate, left, self.signed())
        return left

    def signed(self) -> Reckon:
        """A power with any signs before it."""
        negative = False
        while self.token in ("+", "-") and self.kind == "sign":
            negative ^= self.token == "-"
            self.advance()
        part = self.power()
        return (lambda inputs: _negate(part(inputs))) if negative else part

    def power(self) -> Reckon:
        """An atom, or one raised to a small whole number."""
        base = self.atom()
        if self.token != "^":
            return base
        self.advance()
        if self.kind != "number" or not self.token.isdecimal() or int(self.token) > LARGEST_POWER:
            raise self.fail(f"a whole number from 0 to {LARGEST_POWER} after ^")
        exponent = int(self.token)
        self.advance()
        if self.token == "^":
            raise self.fail("no second ^ (use parentheses)")
        return lambda inputs: _power(base(inputs), exponent)

    def atom(self) -> Reckon:
        """A number, a name or something in parentheses."""
        token = self.token
        if self.kind == "number":
            self.advance()
            value = Decimal(token)
            return lambda inputs: Amount(value, value, value)
        if self.kind == "name":
            self.advance()
            if token == "abs" and self.token == "(":
                inner = self.bracketed()
                return lambda inputs: _absolute(inner(inputs))
            self.names.append(token)
            return lambda inputs: inputs[token]
        if token != "(":
            raise self.fail("a number, a metric or '('")
        return self.bracketed()

    def bracketed(self) -> Reckon:
        """A sum in parentheses."""
        self.depth += 1
        if self.depth > DEEPEST_NESTING:
            raise self.fail(f"at most {DEEPEST_NESTING} nested parentheses")
        self.advance()
        inner = self.sum()
        if self.token != ")":
            raise self.fail(")")
        self.advance()
        self.depth -= 1
        return inner


def _joined(operate: Callable[[Amount, Amount], Amount], left: Reckon, right: Reckon) -> Reckon:
    return lambda inputs: operate(left(inputs), right(inputs))


def _negate(a: Amount) -> Amount:
    return Amount(a.value.copy_negate(), a.high.copy_negate(), a.low.copy_negate())


def _absolute(a: Amount) -> Amount:
    if a.low >= 0:
        return a
    if a.high <= 0:
        return _negate(a)
    return Amount(a.value.copy_abs(), Decimal(0), max(a.high, a.low.copy_negate()))


def _add(a: Amount, b: Amount) -> Amount:
    return Amount(_EVEN.add(a.value, b.value), _DOWN.add(a.low, b.low), _UP.add(a.high, b.high))


def _subtract(a: Amount, b: Amount) -> Amount:
    return _add(a, _negate(b))


def _multiply(a: Amount, b: Amount) -> Amount:
    if a.low >= 0 and b.low >= 0:  # as nearly always: the ends are known beforehand
        low, high = _DOWN.multiply(a.low, b.low), _UP.multiply(a.high, b.high)
        return Amount(_EVEN.multiply(a.value, b.value), low, high)
    ends = [(x, y) for x in (a.low, a.high) for y in (b.low, b.high)]
    low, high = min(_DOWN.multiply(*each) for each in ends), max(_UP.multiply(*each) for each in ends)
    return Amount(_EVEN.multiply(a.value, b.value), low, high)


def _divide(a: Amount, b: Amount) -> Amount:
    if b.value == 0:
        raise Unreckoned("division by zero")
    if b.low <= 0 <= b.high:
        raise Unreckoned("the divisor is so small that it may be zero within its rounding")
    if a.low >= 0 and b.low > 0:
        low, high = _DOWN.divide(a.low, b.high), _UP.divide(a.high, b.low)
        return Amount(_EVEN.divide(a.value, b.value), low, high)
    ends = [(x, y) for x in (a.low, a.high) for y in (b.low, b.high)]
    low, high = min(_DOWN.divide(*each) for each in ends), max(_UP.divide(*each) for each in ends)
    return Amount(_EVEN.divide(a.value, b.value), low, high)


def _power(a: Amount, exponent: int) -> Amount:
    """By repeated multiplication, so that every step is rounded outwards."""
    one = Decimal(1)
    result = Amount(one, one, one)
    for _ in range(exponent):
        result = _multiply(result, a)
    return result
