"""What comes of reading: readings, holds, and why a schema was or was not taken for a capture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class Reading:
    """One number with the exact place that it came from.

    value, unit, better: of the metric. decimals: places after the decimal point as shown; for a derived
    reading as many as its quantum bears, and one more. quantum: step of the last digit shown, 0 for an exact
    count; for a derived reading twice the farthest that the true value may lie away by its inputs' rounding.
    schema, schema_digest: what it was read by. begin, end: octets in the capture (for a derived reading from the
    first to the last of its inputs). line: the line as shown (for a derived reading its inputs' lines, joined by
    " / "). occurrence: 0 for the first in the capture. capture: index in the run's captures.
    """

    metric: str
    value: Decimal
    unit: str
    better: str
    decimals: int
    quantum: Decimal
    schema: str
    schema_digest: str
    begin: int
    end: int
    line: str
    derived: bool
    occurrence: int
    capture: int


@dataclass(frozen=True)
class Hold:
    """Something that could not be read exactly, and where; never a guess in its stead.

    metric: the metric that would have been read there, "" where a whole capture is held. line: as shown, or "".
    occurrence: which of the metric's it would have been.
    """

    reason: str
    begin: int
    end: int
    schema: str
    capture: int
    metric: str = ""
    line: str = ""
    occurrence: int = 0


@dataclass(frozen=True)
class Condition:
    """One condition of a schema and whether a capture meets it."""

    met: bool
    text: str


@dataclass(frozen=True)
class Verdict:
    """Whether a schema recognises a capture, and why: its conditions in the order they were looked at."""

    capture: int
    schema: str
    recognised: bool
    conditions: tuple[Condition, ...]

    def sentence(self) -> str:
        """In one line: what failed, or what held when all did."""
        telling = [condition.text for condition in self.conditions if condition.met == self.recognised]
        return f"{self.schema}: {'recognised' if self.recognised else 'not recognised'}: {'; '.join(telling)}"


@dataclass(frozen=True)
class Readout:
    """All that one run's captures gave.

    recognised: one verdict for every capture and schema, each worked out when it is looked at; a negative one stops
    at the first condition that fails (readings.explain tells all of them).
    """

    readings: tuple[Reading, ...]
    holds: tuple[Hold, ...]
    recognised: Sequence[Verdict]
