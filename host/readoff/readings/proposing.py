"""A first schema from one capture: the numbers in it, patterns from the words around them, and the TOML of it all.

What each number means is the person's to say; nothing here guesses it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from readoff.readings.loading import load_schemas
from readoff.readings.marking import numbers_in
from readoff.readings.reading import Hold, Reading
from readoff.readings.run import read_run
from readoff.readings.samples import as_digits
from readoff.readings.schema import Schema
from readoff.readings.shown import Capture, CaptureKind, show
from readoff.readings.units import UNITS, unit_named

_SPECIAL = re.compile(r"[\\.+*?()|\[\]{}^$]")
_BLANKS = re.compile(r" +")
_WORD_AFTER = re.compile(r" *([A-Za-zµμ%][A-Za-z/µμ]*)")
_HAS_WORD = re.compile(r"[^\W\d_]{2}")
_ANY, _NUMBER = r"\S+", r"(?P<number>\S+)"
_USUAL_COLUMNS = 80
_LONGEST_SAMPLE = 16384  # octets: in hex three characters each, of the 65536 that a schema may have


@dataclass(frozen=True)
class Candidate:
    """A number that a capture shows.

    row: its line, from 0. first, last: its characters in the line. begin, end: its octets. unit: what stands beside
    it, where that is a unit that Readoff knows, else "". pattern: finds it by the words of its line; "" where the line
    has no words. known_by: finds the line, whatever its numbers.
    """

    row: int
    line: str
    first: int
    last: int
    begin: int
    end: int
    unit: str
    pattern: str
    known_by: str
    repeats: bool = False

    @property
    def text(self) -> str:
        """The number as shown."""
        return self.line[self.first : self.last]


@dataclass(frozen=True)
class Wanted:
    """A number and what the person says of it, in the words of a schema. unit: "" for a bare number."""

    candidate: Candidate
    name: str
    unit: str
    better: str
    exact: bool = False
    comma: str = ""
    clock: str = ""
    blank: str = ""


@dataclass(frozen=True)
class Draft:
    """A schema in the making. begins_with: a line that its output always has, as a pattern, or ""."""

    name: str
    title: str
    headline: tuple[str, ...]
    wanted: tuple[Wanted, ...]
    begins_with: str = ""


@dataclass(frozen=True)
class Proposed:
    """A schema as TOML, as loaded, and what it reads and holds in the capture that it was made from."""

    text: str
    schema: Schema
    readings: tuple[Reading, ...]
    holds: tuple[Hold, ...]
    carries_sample: bool


def candidates(capture: Capture) -> tuple[Candidate, ...]:
    """Every number that a capture shows, in the order of its text."""
    lines = show(capture).lines
    made = [
        Candidate(
            row,
            line.text,
            first,
            last,
            *line.span(first, last),
            _unit_after(line.text[last:]),
            _pattern(line.text, spans, (first, last)),
            line_pattern_of(line.text, spans),
        )
        for row, line in enumerate(lines)
        if (spans := numbers_in(line.text))
        for first, last in spans
    ]
    count = Counter(each.pattern for each in made)
    return tuple(replace(each, repeats=count[each.pattern] > 1) for each in made)


def first_words(capture: Capture) -> tuple[str, str]:
    """The first line that has words, and the pattern that finds it whatever its numbers; ("", "") without one."""
    for line in show(capture).lines:
        if pattern := line_pattern_of(line.text, numbers_in(line.text)):
            return line.text, pattern
    return "", ""


def line_pattern_of(line: str, numbers: Sequence[tuple[int, int]]) -> str:
    """A pattern of a whole line in which every number may be another; "" where nothing but numbers would be left."""
    return _pattern(line, numbers, None)


def _pattern(line: str, numbers: Sequence[tuple[int, int]], taken: tuple[int, int] | None) -> str:
    literals = [line[begin:end] for begin, end in _between(line, numbers)]
    if not any(_HAS_WORD.search(literal) for literal in literals):
        return ""
    parts = [_literal(literals[0], starts=True, ends=bool(numbers))]
    for at, span in enumerate(numbers):
        parts.append(_NUMBER if span == taken else _ANY)
        parts.append(_literal(literals[at + 1], ends=at + 1 < len(numbers)))
    return f"^{''.join(parts)}$"


def _between(line: str, numbers: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """The parts of a line before, between and after its numbers."""
    at = 0
    for first, last in numbers:
        yield at, first
        at = last
    yield at, len(line)


def _literal(text: str, *, starts: bool = False, ends: bool = True) -> str:
    """Text to the letter; blanks beside a number, and more than one, may be more or fewer.

    starts: at the beginning of its line. ends: a number follows it.
    """
    out, at = "", 0
    for found in _BLANKS.finditer(text):
        out += _escaped(text[at : found.start()])
        if starts and not found.start():
            out += " *"
        else:
            beside = (not found.start() and not starts) or (found.end() == len(text) and ends)
            out += " +" if beside or len(found[0]) > 1 else " "
        at = found.end()
    if starts and ends and not text:
        return " *"  # a number at the edge moves to the right when it gets shorter
    return out + _escaped(text[at:])


def _escaped(text: str) -> str:
    return _SPECIAL.sub(r"\\\g<0>", text)


def _unit_after(rest: str) -> str:
    found = _WORD_AFTER.match(rest)
    return (unit_named(found[1], {}, UNITS) or "") if found else ""


def propose(draft: Draft, capture: Capture, *, program: str = "") -> Proposed:
    """Writes a schema, loads it, reads the capture by it, and puts the capture into it as its sample.

    Raises SchemaError where what the person said makes no schema.
    """
    file = f"{draft.name}.toml"
    bare = _text(draft)
    (schema,) = load_schemas([(file, bare)])
    readout = read_run([capture], [schema], program=program)
    sample = _sample(capture, readout.readings, readout.holds, program)
    if sample:
        (with_sample,) = load_schemas([(file, bare + sample)])
        return Proposed(bare + sample, with_sample, readout.readings, readout.holds, True)
    return Proposed(bare, schema, readout.readings, readout.holds, False)


def missed(draft: Draft, proposed: Proposed) -> list[str]:
    """Why wanted numbers are not read exactly where they stand, a sentence each; empty when all are."""
    told = []
    for wanted in draft.wanted:
        places = {(each.begin, each.end) for each in proposed.readings if each.metric == wanted.name}
        if (wanted.candidate.begin, wanted.candidate.end) not in places:
            reasons = [hold.reason for hold in proposed.holds if hold.metric in (wanted.name, "")]
            told.append(
                f"{wanted.name}: {wanted.candidate.text!r} is not read: {'; '.join(reasons) or 'not found'}"
            )
    return told


def _text(draft: Draft) -> str:
    own = sorted({wanted.unit for wanted in draft.wanted} - UNITS)
    lines = [
        f"schema = {toml_text(draft.name)}",
        f"title = {toml_text(draft.title)}",
        *([f"units = {_list(own)}"] if own else []),
        f"headline = {_list(draft.headline)}",
        "",
        "[recognise]",
        f"all = {_list(_known_by(draft), long=True)}",
    ]
    for wanted in draft.wanted:
        lines += ["", *_metric(wanted)]
    return "\n".join(lines) + "\n"


def _known_by(draft: Draft) -> list[str]:
    lines = [draft.begins_with, *(wanted.candidate.known_by for wanted in draft.wanted)]
    return [line for line in dict.fromkeys(lines) if line]


def _metric(wanted: Wanted) -> Iterator[str]:
    yield f"[metrics.{wanted.name}]"
    yield f"pattern = {toml_text(wanted.candidate.pattern)}"
    yield f"unit = {toml_text(wanted.unit)}"
    yield f"better = {toml_text(wanted.better)}"
    for key in ("comma", "blank", "clock"):
        if said := getattr(wanted, key):
            yield f"{key} = {toml_text(said)}"
    if not wanted.candidate.repeats:
        yield "once = true"
    if wanted.exact:
        yield "exact = true"


def _sample(capture: Capture, readings: Sequence[Reading], holds: Sequence[Hold], program: str) -> str:
    """The capture as a sample with what was read from it; "" where nothing was, or it is too long to be carried."""
    numbers: dict[str, list[str]] = {}
    for reading in readings:
        numbers.setdefault(reading.metric, []).append(as_digits(reading))
    held = list(dict.fromkeys(hold.metric for hold in holds if hold.metric))
    if not (numbers or held) or len(capture.octets) > _LONGEST_SAMPLE:
        return ""
    lines = ["", "[[samples]]"]
    if capture.kind is not CaptureKind.CONSOLE:
        lines.append(f"capture = {toml_text(str(capture.kind))}")
    if capture.columns and (capture.kind is CaptureKind.SCREEN or capture.columns != _USUAL_COLUMNS):
        lines.append(f"columns = {capture.columns}")
    if capture.name:
        lines.append(f"name = {toml_text(capture.name)}")
    if program:
        lines.append(f"program = {toml_text(program)}")
    lines.append(_sample_text(capture) or f'octets = "{capture.octets.hex(" ")}"')
    if numbers:
        told = ", ".join(f"{name} = {_digits(each)}" for name, each in numbers.items())
        lines.append(f"readings = {{ {told} }}")
    if held:
        lines.append(f"held = {_list(held)}")
    return "\n".join(lines) + "\n"


def _digits(numbers: Sequence[str]) -> str:
    return toml_text(numbers[0]) if len(numbers) == 1 else _list(numbers)


def _sample_text(capture: Capture) -> str:
    """The capture's text for a sample; "" where a text would not show the same lines."""
    if capture.kind is CaptureKind.SCREEN:
        return ""  # its colours would be lost
    text = capture.octets.decode("cp437").replace("\r\n", "\n")
    if "'''" in text or text.endswith("'") or not all(char.isprintable() or char in "\n\t" for char in text):
        return ""
    octets = text.replace("\n", "\r\n").encode("cp437")
    same = show(replace(capture, octets=octets)).lines
    if [line.text for line in same] != [line.text for line in show(capture).lines]:
        return ""
    return f"text = '''\n{text}'''"


def toml_text(text: str) -> str:
    """A text as TOML: literal, as people write patterns, where that can be."""
    if text.isprintable() and "\\" in text and "'" not in text:
        return f"'{text}'"
    out = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08X}" for c in out) + '"'


def _list(texts: Iterable[str], *, long: bool = False) -> str:
    quoted = [toml_text(each) for each in texts]
    if long and len(quoted) > 1:
        return "[\n" + "".join(f"    {each},\n" for each in quoted) + "]"
    return f"[{', '.join(quoted)}]"
