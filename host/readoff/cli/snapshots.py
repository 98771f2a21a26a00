"""readoff snapshots: in what two configurations differ, by their snapshots."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, store_options, study_option
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.snapshots import Difference, Snapshot
    from readoff.store import Store


@click.command()
@click.argument("a")
@click.argument("b")
@study_option("The study that says which differences are expected.")
@store_options
def snapshots(a: str, b: str, study: Path | None, place: Place) -> None:
    """Show in what A and B differ: expected and unexpected differences, volatile facts left out.

    A and B are labels, or the beginnings of snapshots' record ids. Without a study nothing is expected. Ends with
    status 1 when there are unexpected differences.

    \b
    Example:
      readoff snapshots as-found zero-ws --study wait-states.toml
    """
    from readoff.cli.study import read_file
    from readoff.snapshots import same_label
    from readoff.studies import compared

    declared = read_file(study).configurations if study else ()
    allowed = [each for each in declared if each.label in (a, b)]
    with place.open_to_look() as store:
        sides = _side(store, a), _side(store, b)
    found = compared(sides[0], sides[1], lambda fact: any(each.allows(fact) for each in allowed))
    disagrees = [same_label(side) for side in sides]
    if place.as_json:
        echo_json(
            {
                "a": a,
                "b": b,
                "snapshots": [len(side) for side in sides],
                "expected": _values(found.expected),
                "unexpected": _values(found.unexpected),
                "a_disagrees": [each.sentence() for each in disagrees[0]],
                "b_disagrees": [each.sentence() for each in disagrees[1]],
            }
        )
    else:
        from readoff.cli import looks
        from readoff.cli.study_shown import lines

        counts = " and ".join(
            f"{looks.counted(len(s), 'snapshot')} of {n}" for s, n in zip(sides, (a, b), strict=True)
        )
        looks.say(f"{counts}; volatile facts are left out.")
        lines("Expected differences", [each.sentence() for each in found.expected])
        lines("Unexpected differences", [each.sentence() for each in found.unexpected])
        for name, disagreements in zip((a, b), disagrees, strict=True):
            lines(f"In what {name} disagrees with itself", [each.sentence() for each in disagreements])
        if not found.expected and not found.unexpected:
            looks.say("They differ in nothing that the agent can see.")
    click.get_current_context().exit(1 if found.unexpected else 0)


def _side(store: Store, name: str) -> list[Snapshot]:
    from readoff.store import find

    shots = find.snapshots(store, label=name)
    if not shots:
        one = find.snapshot(store, name)
        shots = [one] if one else []
    if not shots:
        raise UsageError(
            f"there is no snapshot of {name!r}", next_step="List them with: readoff runs --snapshots"
        )
    return shots


def _values(differences: tuple[Difference, ...]) -> list[dict[str, object]]:
    return [{"fact": d.name, "a": d.base_text, "b": d.other_text, "detail": d.detail()} for d in differences]
