"""What a kind of schema is: the keys that it adds, how it knows a capture, how it takes numbers from it.

All kinds share the rest: names of programs and files, patterns on the lines, units, direction, derived readings,
rules, samples. A kind is one `Kind` in the table of loading.py; each of its schemas is read by a `Way`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, runtime_checkable

from readoff.readings.numbers import Number, Unread
from readoff.readings.shown import CaptureKind, Shown

if TYPE_CHECKING:
    from readoff.readings.schema import Metric, Pattern
    from readoff.readings.table import Table
    from readoff.readings.view import View

# One condition: whether the capture meets it, and the sentence that says so (worked out only when it is wanted).
Told = tuple[bool, Callable[[], str]]


@dataclass(frozen=True)
class Seen:
    """A number found for a metric, or why what stands there is none; the octets that show it, and its line.

    unit: as it was read beside the number, "" where none was. occurrence: which repeat it belongs to, from 0; None
    where it is simply the next.
    """

    number: Number | Unread
    begin: int
    end: int
    line: str = ""
    unit: str = ""
    occurrence: int | None = None


class Way(Protocol):
    """How one schema knows a capture and takes its numbers. Neither method ever raises, whatever the octets."""

    @property
    def hints(self) -> Sequence[Pattern]:
        """Patterns that some line matches in every capture whose further conditions are met; may be empty."""
        ...

    def further(self, view: View) -> Iterator[Told]:
        """The conditions of this kind, beside those that all kinds share; the cheapest first."""
        ...

    def take(self, metric: Metric, view: View) -> list[Seen]:
        """What is found for a shown metric, in order; empty where it is missing."""
        ...


@runtime_checkable
class Doubting(Protocol):
    """A way that can tell what it could not make out in a capture that may be its own."""

    def doubt(self, view: View) -> str:
        """Why a capture that nothing recognises may still be this schema's; "" where it is not."""
        ...


@runtime_checkable
class Showing(Protocol):
    """A way that makes lines of its own out of a capture, where its octets are no text.

    Places in these lines count characters, not octets; no two characters share one.
    """

    def lines(self, view: View) -> Shown | None:
        """The capture as this schema shows it; None where it cannot."""
        ...

    def found(self, metric: Metric, view: View) -> list[Seen]:
        """What `take` gives, with places in these lines; what no line shows is at (0, 0)."""
        ...


@runtime_checkable
class Marked(Protocol):
    """A way whose captures all have the same octets at the same place, so that many can be looked up at once."""

    @property
    def mark(self) -> tuple[int, bytes] | None:
        """The offset and the octets; None where it has no such mark."""
        ...


@dataclass(frozen=True)
class Kind:
    """One kind of schema.

    captures: the kinds of capture that it can read; unasked: those that it reads where a schema names none ("()": all
    of them). top, recognise, shown: its own keys at the top, in [recognise]
    and in the table of a shown metric. patterns: whether [recognise] must have `all`. load: makes the way of one
    schema from its top table, its [recognise] and the tables of its shown metrics; faults go into the tables, and
    where they leave nothing to read with it gives None. own_patterns: whether the way itself judges `all` and `none`,
    which are not about the capture's lines then. sections: those of `shown` that say where a metric's repeats come
    from (a block, a table), so that the repeats of two metrics from the same one belong together. path: the one of
    `shown` that is a path into arrays; what stands in it before [*] is such a section too. also: digest of what else a
    way was made from, beside its schema.
    draw: for samples, the octets of a file that shows a text in the eyes of a way, where its octets are no text; raises
    SchemaError for a text that cannot be shown so.
    """

    name: str
    captures: tuple[CaptureKind, ...]
    load: Callable[[Table, Table, Mapping[str, Table]], Way | None]
    top: tuple[str, ...] = ()
    recognise: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    patterns: bool = False
    own_patterns: bool = False
    sections: tuple[str, ...] = ()
    path: str = ""
    also: Callable[[Way], str] = lambda way: ""
    draw: Callable[[Way, str], bytes] | None = None
    unasked: tuple[CaptureKind, ...] = ()

    def section(self, table: Table) -> str:
        """Where the repeats of a shown metric come from; "" where nothing says so."""
        array, each, _ = str(table.data.get(self.path, "")).partition("[*]")
        if each:
            return f"{self.path} {array}"
        return next((f"{key} {table.data[key]}" for key in self.sections if key in table.data), "")
