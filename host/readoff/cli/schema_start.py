"""The questions of readoff schema start. They go to standard error, so that the answer alone is on standard output."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from itertools import groupby

import click

from readoff.cli import looks
from readoff.errors import UsageError
from readoff.readings import Capture
from readoff.readings.beside import whole_with_blanks
from readoff.readings.numbers import Number, Style, Unread, read_number
from readoff.readings.proposing import Candidate, Draft, Wanted, candidates, first_words
from readoff.readings.units import UNITS, unit_named

_NAME = re.compile(r"[a-z][a-z0-9_]{0,40}")
_NAME_IS = "a small letter, then small letters, digits and _"
_BARE = "-"
_ENOUGH = "."
_ALIKE = 3  # lines shown of those that differ in numbers alone


def ask(capture: Capture, suggestion: str, taken: Collection[str], others: Sequence[str]) -> Draft:
    """Shows the numbers of a capture in their lines, asks what they mean, and gives the draft of a schema.

    suggestion: for its name. taken: names of other schemas. others: those that recognise the capture.
    Raises UsageError where the capture shows no number, or none of those chosen is better one way.
    """
    found = candidates(capture)
    if not found:
        raise UsageError(
            "no number is to be seen in its text",
            next_step="Pictures and binary files are taught by hand: docs/pictures.md, docs/schemas-screens-files.md.",
        )
    if others:
        _say(f"Recognised by {', '.join(others)} already; a second schema that matches holds it.\n")
    _say(f"{looks.counted(len(found), 'number')} in it:\n")
    _show_lines(found)
    if not all(each.pattern for each in found):
        _say("\nA line without a word is not asked about: describe it by hand, as a table (docs/schemas.md).")
    _say(f"\nSay what each is. Nothing passes a number over, {_ENOUGH} passes over all that follow.")
    wanted = _wanted(found)
    directed = [each.name for each in wanted if each.better != "neither"]
    if not directed:
        raise UsageError(
            "no number was chosen that is better higher or lower, so there is nothing to compare",
            next_step="Begin again, and choose one.",
        )
    _say("")
    name = _name("What is the schema called?", taken, suggestion)
    return Draft(
        name,
        _prompt("Its title, in words", name.replace("_", " ").capitalize()),
        _headline(directed),
        tuple(wanted),
        _begins_with(capture, wanted),
    )


def _show_lines(found: Sequence[Candidate]) -> None:
    """The lines with numbers; of those that are alike but for them, the first few."""
    alike: dict[str, int] = {}
    for row, numbers in groupby(found, key=lambda each: each.row):
        line = list(numbers)
        kind = line[0].known_by or str(row)
        alike[kind] = alike.get(kind, 0) + 1
        if alike[kind] <= _ALIKE:
            _say("│ " + _shown(line))
    more = sum(count - _ALIKE for count in alike.values() if count > _ALIKE)
    if more:
        _say(f"and {looks.counted(more, 'more line')} that differ from one of these only in numbers")


def _wanted(found: Sequence[Candidate]) -> list[Wanted]:
    wanted: list[Wanted] = []
    # One question for each pattern: what it finds elsewhere are further readings of the same metric.
    for candidate in _first_of_each_pattern(found):
        _say(f"\n│ {_shown([candidate])}")
        if candidate.repeats:
            _say("The same words stand around further numbers: each will be a reading of its own.")
        name = _name("Metric", [each.name for each in wanted], "", end=_ENOUGH)
        if name == _ENOUGH:
            break
        if name:
            wanted.append(_described(candidate, name))
    return wanted


def _first_of_each_pattern(found: Sequence[Candidate]) -> list[Candidate]:
    firsts: dict[str, Candidate] = {}
    for each in found:
        firsts.setdefault(each.pattern, each)
    firsts.pop("", None)
    return list(firsts.values())


def _described(candidate: Candidate, name: str) -> Wanted:
    unit = _unit(candidate.unit)
    better = _choice("Better when it is", ("higher", "lower", "neither"))
    exact = (
        better == "neither"
        and candidate.text.isdecimal()
        and click.confirm("Is it exact, a count or a setting that is not rounded?", default=False, err=True)
    )
    comma = clock = ""
    number = read_number(candidate.text, Style(time=unit == "s"))
    if isinstance(number, Unread) and "," in candidate.text:
        comma = _comma(candidate.text)
    elif isinstance(number, Unread) and ":" in candidate.text and unit == "s":
        clock = _choice(f"What does {candidate.text} mean?", ("mm:ss", "hh:mm"))
    return Wanted(candidate, name, unit, better, exact, comma, clock, _blank(candidate))


def _blank(candidate: Candidate) -> str:
    """What the schema says of a blank beside the number: that it parts two, where a person says so."""
    whole = whole_with_blanks(candidate.line, candidate.first, candidate.last)
    if whole and click.confirm(
        f"Is {candidate.text} in {whole} a number of its own?", default=False, err=True
    ):
        return "apart"
    if whole:
        _say('Then it is taught by hand: blank = "thousands" (docs/schemas-reference.md).')
    return ""


def _comma(text: str) -> str:
    """What the commas of a number mean; suggested where it can be read in one way only."""
    meanings = ("thousands", "decimal")
    possible = [each for each in meanings if isinstance(read_number(text, Style(each)), Number)]
    return _choice(
        f"What does the comma in {text} mean?", meanings, possible[0] if len(possible) == 1 else None
    )


def _unit(beside: str) -> str:
    while True:
        said = _prompt(f"Unit ({_BARE} for none)", beside or _BARE)
        if said == _BARE:
            return ""
        known = unit_named(said, {}, UNITS)
        if known is not None:
            return known
        if click.confirm(
            f"{said!r} is no unit that Readoff knows. The program's own?", default=True, err=True
        ):
            return said


def _name(question: str, taken: Collection[str], suggestion: str, *, end: str = "") -> str:
    """A name that is not taken. end: another answer that is allowed, beside nothing where nothing is suggested."""
    while True:
        said = _prompt(question, suggestion)
        if (end and said in ("", end)) or (_NAME.fullmatch(said) and said not in taken):
            return said
        _say(f"{said!r} is taken." if said in taken else f"That is no name; right would be {_NAME_IS}.")


def _headline(directed: Sequence[str]) -> tuple[str, ...]:
    if len(directed) == 1:
        return tuple(directed)
    while True:
        said = _prompt(
            "Which are the headlines, that a comparison asks for? (with commas)", ", ".join(directed)
        )
        names = [each.strip() for each in said.split(",") if each.strip()]
        if names and all(name in directed for name in names):
            return tuple(dict.fromkeys(names))
        _say(f"Right would be some of: {', '.join(directed)}.")


def _begins_with(capture: Capture, wanted: Sequence[Wanted]) -> str:
    line, pattern = first_words(capture)
    if not pattern or pattern in [each.candidate.known_by for each in wanted]:
        return ""
    _say(f"\n│ {looks.harmless(line)}")
    asked = "Is this line in every output of this program, but for its numbers?"
    return pattern if click.confirm(asked, default=True, err=True) else ""


def _shown(numbers: Sequence[Candidate]) -> str:
    """A line with these of its numbers between » and «."""
    line, out, at = numbers[0].line, "", 0
    for each in numbers:
        out += f"{line[at : each.first]}»{each.text}«"
        at = each.last
    return looks.harmless(out + line[at:])


def _choice(question: str, answers: Sequence[str], suggestion: str | None = None) -> str:
    return str(click.prompt(question, type=click.Choice(answers), default=suggestion, err=True))


def _prompt(question: str, default: str) -> str:
    return str(
        click.prompt(question, default=default, show_default=bool(default), type=str, err=True)
    ).strip()


def _say(text: str) -> None:
    click.echo(text, err=True)
