"""readoff enter: a number that could not be read, typed twice by a person and kept as typed."""

from __future__ import annotations

import getpass
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, store_options, writing
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.store import Store
    from readoff.store.captures import Taken
    from readoff.store.entering import Asked, Meaning, Neighbourly

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
    from readoff.store import entering

    with place.open_to_look() as store:
        what = entering.asked(store, hold)
        if save is not None:
            _save(what.captures, save)
        _show(store, what)
        meaning = _meaning(store, what, what.row.metric or metric or _ask("Metric"), unit, better)
        value = _twice()
        _guard(value, entering.beside_neighbours(store, what.full, meaning, value))
        person = person or _ask("Who types it?", _login())
        kept = entering.keep_typed(store, what, meaning, value, person, datetime.now(UTC))
    if place.as_json:
        echo_json(kept)
    else:
        from readoff.cli import looks

        looks.say(
            f"Kept: {kept.metric} {kept.value} {kept.unit}".rstrip() + f" of run {kept.run}, {kept.told}."
        )


def _save(captures: Sequence[Taken], file: Path) -> None:
    if len(captures) != 1:
        raise UsageError("it is not one capture that is held, so none can be saved")
    with writing(file), file.open("xb") as opened:
        opened.write(captures[0].capture.octets)
    _say(f"Saved: {file}")


def _show(store: Store, what: Asked) -> None:
    """What is held, and around it what was captured: the lines that hold it, else the whole of it."""
    from readoff.cli import looks
    from readoff.cli.captures_shown import run_title
    from readoff.store.entering import lines_held

    run = what.full.run
    _say(run_title(run))
    _say(f"held: {what.row.reason}")
    for taken in what.captures:
        name = " ".join(part for part in (str(taken.capture.kind), taken.capture.name) if part)
        _say(f"\n{name}, {len(taken.capture.octets)} octets:")
        shown, rows = lines_held(store, taken, run.program)
        if not shown and taken.capture.octets:
            _say("no text; --save FILE writes it into a file, to be looked at")
            continue
        around = {near for each in rows for near in (each - 1, each, each + 1)}
        lines = [line for at, line in enumerate(shown) if line.strip() and (at in around or not rows)]
        for line in lines[:_MOST_LINES]:
            _say("│ " + looks.harmless(line))
    _say("")


def _meaning(store: Store, what: Asked, metric: str, unit: str | None, better: str | None) -> Meaning:
    """Unit and direction as the schemas or the store's readings know them for this metric, else as asked."""
    from readoff.store.entering import Meaning, meanings, meant

    known = meanings(store, what, metric)
    if unit is None:
        units = list(dict.fromkeys(each.unit for each in known))
        unit = units[0] if len(units) == 1 else _ask("Unit (- for none)", units[0] if units else "-")
        unit = "" if unit == "-" else unit
    ways = {each.better for each in known if each.unit == unit}
    if len(ways) == 1:
        better = ways.pop()
    if better is None:
        better = str(click.prompt("Better when it is", type=click.Choice(_BETTER), err=True))
    return meant(known, Meaning(metric, unit, better))


def _twice() -> str:
    """The number, typed twice with the same digits. Raises UsageError after some tries."""
    from readoff.store.entering import agreed, number_typed

    for _ in range(_TRIES):
        first = _ask("The number, as it is shown")
        try:
            number_typed(first)
            return agreed(first, _ask("The same once more"))
        except UsageError as error:
            _say(f"{error.what[0].upper()}{error.what[1:]}. {error.next_step}")
    raise UsageError("no number was typed twice alike; nothing was kept")


def _guard(value: str, beside: Neighbourly) -> None:
    """Names what looks like a slip beside the neighbours, and asks whether the number stands all the same."""
    if not beside.others:
        _say("It has no neighbours yet: no other run of its series has a number.")
    if beside.doubt is None:
        return
    _say(beside.doubt.sentence)
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
