"""The view in which a person types a number that is held: what was captured, and beside it the form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from readoff.page.runs import Shot, shot_of
from readoff.page.screens import Mark
from readoff.readings.marking import MarkKind, mark
from readoff.readings.neighbours import Doubt
from readoff.readings.wordless import wordless
from readoff.store import Store, entering
from readoff.store.entering import Asked, Meaning
from readoff.store.typed import typed

AROUND = 3
"""Lines before and after one in which something is held, of a text that is longer than what is shown at once."""
LINES_AT_ONCE = 60


@dataclass(frozen=True)
class Form:
    """What the form holds. trouble: why what was sent is not kept; doubt: about value, which may be confirmed."""

    first: str = ""
    second: str = ""
    metric: str = ""
    unit: str = ""
    better: str = ""
    person: str = ""
    trouble: str = ""
    doubt: Doubt | None = field(default=None)
    value: str = ""


def typing_view(store: Store, hold: int, form: Form | None = None) -> dict[str, Any]:
    """What is held under a number, and the form for it. Raises UsageError where none can be typed for it."""
    what = entering.asked(store, hold)
    known = entering.meanings(store, what, what.row.metric) if what.row.metric else []
    first = known[0] if known else Meaning("", "", "")
    return {
        "row": what.row,
        "run": what.full.run,
        "shots": [_held_shot(store, what, position) for position in range(len(what.captures))],
        "form": form or Form(metric=what.row.metric, unit=first.unit, better=first.better),
        "better": entering.BETTER,
        "metrics": _metrics(store, what),
        "before": [each for each in typed(store, id=what.row.id) if each.metric == what.row.metric],
    }


def _held_shot(store: Store, what: Asked, position: int) -> Shot:
    """A capture with what is held in it marked; of a long text the lines about that."""
    taken = what.captures[position]
    if wordless(taken.capture):
        return shot_of(what.full, taken, [])
    marked = mark(taken.capture, store.schemas, program=what.full.run.program)
    held = [each for each in marked.marks if each.kind is MarkKind.HELD]
    marks = [Mark(each.begin, each.end, "held") for each in held if each.end > each.begin]
    near: Sequence[int] | None = None
    if held and len(marked.lines) > LINES_AT_ONCE:
        near = sorted({row + by for row in {each.row for each in held} for by in range(-AROUND, AROUND + 1)})
    return shot_of(what.full, taken, marks, near)


def _metrics(store: Store, what: Asked) -> list[str]:
    """Metrics of the schemas and of this program, for a capture of which none is named."""
    if what.row.metric:
        return []
    named = {each.metric for each in what.full.readings}
    named |= {each.name for schema in store.schemas for each in schema.metrics}
    return sorted(named)
