"""How the answers about schemas look."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import click

from readoff.cli import looks
from readoff.cli.schema_work import Attempt, Judged, Started, Unknown
from readoff.readings import Reading, Schema, as_shown
from readoff.readings.marking import Mark, Marked, MarkKind
from readoff.readings.wordless import wordless

# How a number stands in its line: read, held, not read.
_AROUND = {MarkKind.READ: ("»", "«"), MarkKind.HELD: ("‼", "‼"), MarkKind.UNREAD: ("‹", "›")}
_MOST_RUNS = 8


def show_which(judged: Judged) -> None:
    """For every capture its schemas: those that recognise it, then the others with what failed."""
    for index, verdicts in enumerate(judged.verdicts):
        looks.heading(judged.shot.title(index))
        claims = judged.claims(index)
        held = [hold.reason for hold in judged.holds if hold.capture == index]
        if held:
            for reason in held:
                looks.say(f"held: {reason}", indent=2)
        else:
            looks.say(f"recognised by {claims[0]}" if claims else "recognised by none", indent=2)
        if len(claims) > 1:
            looks.say("Nothing is chosen by order: make one of them stricter.", indent=2)
        for verdict in sorted(verdicts, key=lambda each: not each.recognised):
            looks.say()
            looks.say(f"{verdict.schema}: {'matches' if verdict.recognised else 'does not match'}", indent=2)
            for condition in verdict.conditions:
                looks.say(f"{'met    ' if condition.met else 'NOT MET'}  {condition.text}", indent=4)


def which_values(judged: Judged) -> dict[str, object]:
    """The same for programs."""
    return {
        "capture": judged.shot.name,
        "settled": judged.settled,
        "captures": [
            {
                "title": judged.shot.title(index),
                "recognised": judged.claims(index),
                "held": [hold.reason for hold in judged.holds if hold.capture == index],
                "schemas": verdicts,
            }
            for index, verdicts in enumerate(judged.verdicts)
        ],
    }


def show_unknown(kinds: Sequence[Unknown]) -> None:
    """What nothing recognises, by how often its like has been seen."""
    if not kinds:
        looks.say("Every run's output is recognised.")
        return
    for each in kinds:
        looks.heading(f"Seen {looks.counted(each.seen, 'time')}: {', '.join(each.programs)}")
        runs = ", ".join(map(str, each.runs[:_MOST_RUNS]))
        more = f" and {len(each.runs) - _MOST_RUNS} more" if len(each.runs) > _MOST_RUNS else ""
        word = "run" if len(each.runs) == 1 else "runs"
        looks.say(
            f"{word} {runs}{more}{f': {each.sort}' if each.sort else '; numbers shown as 0:'}", indent=2
        )
        for line in each.lines:
            looks.say(f"│ {line}", indent=2, wrap=False)
    looks.say()
    text = next((each for each in kinds if not each.sort), None)
    if text:
        looks.say(f"To teach the first: readoff schema start run:{text.runs[-1]}")
    else:
        looks.say(
            "Pictures and binary files are taught by hand: docs/pictures.md, docs/schemas-screens-files.md"
        )


def show_try(tried: Attempt, schema: Schema) -> None:
    """Every capture with its marks, then the readings, what is held, and the numbers that were not read."""
    for index, marked in enumerate(tried.marked):
        verdict = tried.verdicts[index]
        looks.heading(tried.shot.title(index))
        if not verdict.recognised:
            looks.say(verdict.sentence(), indent=2)
            continue
        if schema.kind == "binary":
            looks.say(
                f"{wordless(tried.shot.captures[index]) or 'a file'}, as {schema.name} reads it", indent=2
            )
            continue
        looks.say(f"as {schema.name} reads it; »read« ‼held‼ ‹not read›", indent=2)
        for row, line in enumerate(marked.lines):
            if line.strip():
                looks.say(f"│ {in_context(marked, row, line)}", indent=2, wrap=False)
    _show_readings(tried.readout.readings)
    if tried.readout.holds:
        looks.heading("Held")
        for hold in tried.readout.holds:
            looks.say((f"{hold.metric}: " if hold.metric else "") + hold.reason, indent=2)
            if hold.line:
                looks.say(f"│ {hold.line}", indent=4, wrap=False)
    if not (any(verdict.recognised for verdict in tried.verdicts) or tried.readout.holds):
        looks.say(f"\n{schema.name} recognises none of it, so nothing is read.")
        return
    unread = list(not_read(tried))
    if unread:
        looks.heading("Numbers not read")
        for index, mark in unread:
            where = f"{tried.shot.captures[index].kind}, line {mark.row + 1}"
            looks.say(f"{mark.text}  ({where}: {mark.line.strip()})", indent=2)
    looks.say()
    looks.say(
        f"{looks.counted(len(tried.readout.readings), 'reading')}, {len(tried.readout.holds)} held, "
        f"{looks.counted(len(unread), 'number')} not read."
    )


def in_context(marked: Marked, row: int, line: str) -> str:
    """A line with every number in its marks."""
    out, at = "", 0
    for mark in marked.marks:
        if mark.row == row and mark.first >= at:
            left, right = _AROUND[mark.kind]
            out += line[at : mark.first] + left + mark.text + right
            at = mark.last
    return out + line[at:]


def not_read(tried: Attempt) -> Iterable[tuple[int, Mark]]:
    """(capture, mark) of every number in a recognised capture that no metric takes."""
    for index, marked in enumerate(tried.marked):
        if tried.verdicts[index].recognised:
            yield from ((index, mark) for mark in marked.marks if mark.kind is MarkKind.UNREAD)


def _show_readings(readings: Sequence[Reading]) -> None:
    if readings:
        click.echo()
        looks.print_table(
            ("metric", "value", "better", "read from"),
            [
                (
                    each.metric + (f" ({each.occurrence + 1})" if each.occurrence else ""),
                    as_shown(each),
                    each.better,
                    ("derived from " if each.derived else "") + each.line.strip(),
                )
                for each in readings
            ],
            right=("value",),
        )


def try_values(tried: Attempt) -> dict[str, object]:
    """The same for programs."""
    return {
        "capture": tried.shot.name,
        "recognised": [verdict.recognised for verdict in tried.verdicts],
        "readings": tried.readout.readings,
        "held": tried.readout.holds,
        "not_read": [
            {"capture": index, "line": mark.row + 1, "text": mark.text, "shown": mark.line}
            for index, mark in not_read(tried)
        ],
    }


def show_start(made: Started, capture: str) -> None:
    """What the new schema reads, what it does not, and what to do next."""
    looks.say(f"Written: {made.file}")
    _show_readings(made.readings)
    for problem in made.problems:
        looks.say()
        looks.say(f"Not done: {problem}.")
    if made.others:
        looks.say()
        looks.say(
            f"Recognised by {', '.join(made.others)} as well: the capture will be held until one of them is stricter."
        )
    looks.say()
    looks.say(f"Next: readoff schema try {made.file} {capture}, with further captures; then readoff reread.")
