"""What a schema says, once it has been read and found right: plain data, and the patterns ready to use.

Patterns are RE2: their time grows with the length of the text and no faster, whatever the pattern. None of
them matches across the end of a line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import re2

from readoff.readings.formula import Formula
from readoff.readings.kinds import Way
from readoff.readings.numbers import Style
from readoff.readings.rules import Rule
from readoff.readings.shown import Capture, CaptureKind

LONGEST_PATTERN = 1000
# Instructions of the compiled pattern: bounds the slowest search at about 1000 steps a character.
LARGEST_PROGRAM = 1000


@dataclass(frozen=True)
class Pattern:
    """One RE2 pattern: ^ and $ are the ends of a line.

    group, unit: the numbers of the named groups around the number and around the unit beside it, 0 for none.
    """

    text: str
    compiled: Any  # google-re2 has no types
    group: int = 0
    unit: int = 0

    def __str__(self) -> str:
        """The pattern for a sentence, letter for letter as people write it in a schema."""
        return f"'{self.text}'"


def line_options() -> Any:
    """RE2's options for every pattern of a schema: quiet, and never across the end of a line."""
    options = re2.Options()
    options.log_errors = False
    options.never_nl = True
    return options


def line_pattern(text: str) -> bytes:
    """A pattern as RE2 takes it: ^ and $ are the ends of a line. Raises UnicodeEncodeError for half a character."""
    return b"(?m)" + text.encode("utf-8")


def compile_pattern(text: str, *, named_group: bool) -> Pattern | tuple[str, str]:
    """Compile a pattern, or return (what is wrong, what would be right).

    named_group: whether it must have exactly one named group (a metric's has, a recognising one has none), and may
    have a second one that is called "unit".
    """
    if len(text) > LONGEST_PATTERN:
        return f"a pattern of {len(text)} characters", f"at most {LONGEST_PATTERN} characters"
    try:
        compiled = re2.compile(line_pattern(text), line_options())
    except (re2.error, UnicodeEncodeError) as error:
        cause = (
            error.args[0].decode("utf-8", "replace").replace("(?m)", "", 1)
            if isinstance(error, re2.error)
            else str(error)
        )
        return (
            f"RE2 refuses the pattern: {cause}",
            "a pattern in RE2's syntax (no look-around, no back-references)",
        )
    if compiled.programsize > LARGEST_PROGRAM:
        return (
            f"a pattern of {compiled.programsize} steps",
            f"at most {LARGEST_PROGRAM} steps: smaller repetitions",
        )
    if compiled.search(b"") is not None:
        return "the pattern matches an empty line", "a pattern that needs at least one character"
    groups = {
        name.decode() if isinstance(name, bytes) else name: at for name, at in compiled.groupindex.items()
    }
    if not named_group:
        return Pattern(text, compiled)
    numbers = [group for name, group in groups.items() if name != "unit"]
    if len(numbers) != 1:
        return (
            f"the pattern has {len(groups)} named groups",
            "exactly one, around the number: (?P<number>\\S+); beside it at most (?P<unit>\\S+)",
        )
    return Pattern(text, compiled, numbers[0], groups.get("unit", 0))


@dataclass(frozen=True)
class Metric:
    """One number that a program's output gives, shown (taken by the schema's way) or derived (formula).

    once: more than one match is a hold. optional: it may be absent. exact: a count or a setting that is not
    rounded, so its quantum is 0. style: the forms that its numbers take. shown_in: the unit that is shown, where that
    is not `unit`. kilo: what a K in KB stands for, 0 where that is not said. spelled: units as the program writes them,
    and what it means. section: the block, table or array that its repeats come from, or "".
    """

    name: str
    unit: str
    better: str
    formula: Formula | None = None
    once: bool = False
    optional: bool = False
    exact: bool = False
    style: Style = field(default_factory=Style)
    shown_in: str = ""
    kilo: int = 0
    spelled: Mapping[str, str] = field(default_factory=dict)
    section: str = ""


@dataclass(frozen=True)
class Recognition:
    """How to know a program's output: every pattern of `all`, none of `none`, and what else is said.

    programs, files: DOS names in upper case, files with * and ? as in DOS, empty for any; kinds: which captures.
    """

    all: tuple[Pattern, ...]
    none: tuple[Pattern, ...] = ()
    programs: tuple[str, ...] = ()
    kinds: tuple[CaptureKind, ...] = ()
    files: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sample:
    """Output that a schema carries with it, and what must be read from it.

    readings: metric to its numbers as text ("72.9"), occurrence by occurrence. held: metrics that must be held.
    recognised: False for output that the schema must leave alone. line: where it stands in the schema's file.
    """

    capture: Capture
    readings: tuple[tuple[str, tuple[str, ...]], ...] = ()
    held: tuple[str, ...] = ()
    recognised: bool = True
    program: str = ""
    line: int | None = None


@dataclass(frozen=True)
class Schema:
    """A declared way to read a program's output.

    kind: "text" or another of the kinds (kinds.py). file: the name it was loaded under. digest: SHA-256 of its text.
    metrics: in an order in which every
    derived one comes after its inputs. headline: the metrics that a study asks for. way: how its kind of schema
    knows a capture and takes the shown metrics. rules: what its numbers must keep; those that break one are held.
    """

    name: str
    title: str
    file: str
    digest: str
    recognise: Recognition
    metrics: tuple[Metric, ...]
    headline: tuple[str, ...]
    way: Way
    samples: tuple[Sample, ...] = ()
    rules: tuple[Rule, ...] = ()
    kind: str = "text"

    def metric(self, name: str) -> Metric:
        """The metric of that name. Raises KeyError."""
        for metric in self.metrics:
            if metric.name == name:
                return metric
        raise KeyError(name)

    def depend_on(self, names: Sequence[str]) -> set[str]:
        """The derived metrics that use any of these, at one remove or more."""
        tainted = set(names)
        for metric in self.metrics:
            if metric.formula and tainted.intersection(metric.formula.names):
                tainted.add(metric.name)
        return tainted - set(names)
