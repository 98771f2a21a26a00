"""readoff enter: a number that could not be read, typed twice by a person and kept as typed."""

from __future__ import annotations

import getpass
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, store_options
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.store import Store
    from readoff.store.captures import Taken
    from readoff.store.find import HeldRow, RunInFull

_TRIES = 3
_MOST_LINES = 50
_BETTER = ("higher", "lower", "neither")


@click.command()
@click.argument("hold", type=int)
@click.option("--metric", default="", help="The metric that the number is of; asked for unless it is known.")
@click.option(
    "--unit", default=None, help="Its unit; asked for unless it is known. An empty one for a bare number."
)
@click.option(
    "--better", type=click.Choice(_BETTER), help="Which way is better; asked for unless it is known."
)
@click.option("--by", "person", default="", help="Who types it; asked for, with the login name suggested.")
@click.option(
    "--save",
    type=click.Path(path_type=Path, dir_okay=False),
    help="First write what is held, octet for octet, into a new file: a picture to be looked at.",
)
@store_options
def enter(
    hold: int,
    metric: str,
    unit: str | None,
    better: str | None,
    person: str,
    save: Path | None,
    place: Place,
) -> None:
    """Type a number that is held, twice, as you see it.

    HOLD is the number that readoff held gives. What was captured is shown; the number is asked for twice, and the two
    must agree digit for digit. It is held against its neighbours, and kept as typed by a person: it never counts
    as a captured one. Ends with status 1 when nothing was kept.

    \b
    Example:
      readoff enter 4 --by "A. Tester"
    """
    from readoff.store.typed import Entry, add_typed, neighbours, typed

    with place.open_to_look() as store:
        row, full = _held(store, hold)
        captures = _captures(store, row, full)
        if save is not None:
            _save(captures, save)
        _show(store, row, full, captures)
        meaning = _meaning(store, full, row.metric or metric or _ask("Metric"), unit, better)
        value = _twice()
        others = neighbours(store, full.run, meaning.metric, meaning.unit)
        _guard(value, others)
        person = person or _ask("Who types it?", _login())
        entry = Entry(
            row.id, meaning.metric, value, meaning.unit, meaning.better, meaning.headline, row.reason, person
        )
        number = add_typed(store, entry, datetime.now(UTC))
        (kept,) = [each for each in typed(store, id=row.id) if each.number == number]
    if place.as_json:
        echo_json(kept)
    else:
        from readoff.cli import looks

        looks.say(
            f"Kept: {kept.metric} {kept.value} {kept.unit}".rstrip() + f" of run {kept.run}, {kept.told}."
        )


@dataclass(frozen=True)
class _Meaning:
    """What a number is of."""

    metric: str
    unit: str
    better: str
    headline: bool


def _held(store: Store, hold: int) -> tuple[HeldRow, RunInFull]:
    from readoff.store import find

    row = next((each for each in find.held(store) if each.number == hold), None)
    if row is None:
        raise UsageError(
            f"nothing is held under the number {hold}",
            where=str(store.path),
            next_step="List it with: readoff held",
        )
    if row.run is None or row.kind not in ("metric", "capture"):
        raise UsageError(f"{hold} is no number of a run, so none can be typed for it: {row.reason}")
    return row, find.run_in_full(store, row.id)


def _captures(store: Store, row: HeldRow, full: RunInFull) -> Sequence[Taken]:
    """The capture that is held, or all of the run where it is not one."""
    from readoff.store.typed import held_capture

    position = held_capture(store, row.number)
    return [each for each in full.captures if position in (None, each.position)]


def _save(captures: Sequence[Taken], file: Path) -> None:
    if len(captures) != 1:
        raise UsageError("it is not one capture that is held, so none can be saved")
    try:
        with file.open("xb") as opened:
            opened.write(captures[0].capture.octets)
    except OSError as error:
        raise UsageError(f"cannot be written ({error.strerror})", where=str(file)) from error
    _say(f"Saved: {file}")


def _show(store: Store, row: HeldRow, full: RunInFull, captures: Sequence[Taken]) -> None:
    """What is held, and around it what was captured: the lines that hold it, else the whole of it."""
    from readoff.cli import looks
    from readoff.readings import CaptureKind
    from readoff.readings.marking import MarkKind, mark

    run = full.run
    _say(f"Run {run.number}: {run.label} · {run.program} {run.arguments}".rstrip())
    _say(f"held: {row.reason}")
    for taken in captures:
        name = " ".join(part for part in (str(taken.capture.kind), taken.capture.name) if part)
        _say(f"\n{name}, {len(taken.capture.octets)} octets:")
        if taken.capture.kind is CaptureKind.FILE and 0 in taken.capture.octets:
            _say("no text; --save FILE writes it into a file, to be looked at")
            continue
        marked = mark(taken.capture, store.schemas, program=run.program)
        rows = {each.row for each in marked.marks if each.kind is MarkKind.HELD}
        around = {near for each in rows for near in (each - 1, each, each + 1)}
        lines = [line for at, line in enumerate(marked.lines) if line.strip() and (at in around or not rows)]
        for line in lines[:_MOST_LINES]:
            _say("│ " + looks.harmless(line))
    _say("")


def _meaning(store: Store, full: RunInFull, metric: str, unit: str | None, better: str | None) -> _Meaning:
    """Unit and direction as the schemas or the store's readings know them for this metric, else as asked."""
    known = _known(store, full, metric)
    if unit is None:
        units = list(dict.fromkeys(each.unit for each in known))
        unit = units[0] if len(units) == 1 else _ask("Unit (- for none)", units[0] if units else "-")
        unit = "" if unit == "-" else unit
    ways = {each.better for each in known if each.unit == unit}
    if len(ways) == 1:
        better = ways.pop()
    if better is None:
        better = str(click.prompt("Better when it is", type=click.Choice(_BETTER), err=True))
    headline = any(each.headline for each in known if each.unit == unit)
    return _Meaning(metric, unit, better, headline)


def _known(store: Store, full: RunInFull, metric: str) -> list[_Meaning]:
    """What the metric means by the schemas, and by what was read from this program before."""
    from readoff.store import find

    known = [
        _Meaning(each.name, each.unit, each.better, each.name in schema.headline)
        for schema in store.schemas
        for each in schema.metrics
        if each.name == metric
    ]
    read = find.readings(store, program=full.run.program)
    known += [_Meaning(metric, e.unit, e.better, e.headline) for e in read if e.metric == metric]
    return known


def _twice() -> str:
    """The number, typed twice with the same digits. Raises UsageError after some tries."""
    from readoff.readings.numbers import Style, Unread, read_number

    for _ in range(_TRIES):
        first = _ask("The number, as it is shown")
        number = read_number(first, Style())
        if isinstance(number, Unread):
            _say(f"{number.reason}; digits with a decimal point, please.")
            continue
        second = _ask("The same once more")
        if first == second:
            return format(number.value, "f")
        _say(f"The two do not agree: {first!r} and {second!r}. Look again.")
    raise UsageError("no number was typed twice alike; nothing was kept")


def _guard(value: str, others: Sequence[Decimal]) -> None:
    """Names what looks like a slip beside the neighbours, and asks whether the number stands all the same."""
    from readoff.readings.neighbours import doubt

    if not others:
        _say("It has no neighbours yet: no other run of its series has a number.")
        return
    found = doubt(value, others)
    if found is None:
        return
    _say(found.sentence)
    if not click.confirm(f"Is it {value} all the same?", default=False, err=True):
        _say("Nothing was kept. Look again, and type what you see.")
        click.get_current_context().exit(1)


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return ""


def _ask(question: str, default: str | None = None) -> str:
    return str(click.prompt(question, default=default or None, type=str, err=True)).strip()


def _say(text: str) -> None:
    from readoff.cli import looks

    click.echo(looks.harmless(text), err=True)
