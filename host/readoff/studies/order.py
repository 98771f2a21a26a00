"""In which order the boots are taken, so that what changes with the hours is not taken for the change under test.

Settings take turns: one boot of each in every round, the order within a round drawn by the study's seed. A part
that must be fitted is taken in a block, and the first configuration is taken again at the end (A-B-A).
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from readoff.studies.study import ChangeBack, Study


@dataclass(frozen=True)
class PlannedBoot:
    """One boot of the plan. number: from 1. changes: whether the boot before it was of another configuration."""

    number: int
    label: str
    changes: bool


def boots_in_order(study: Study) -> tuple[PlannedBoot, ...]:
    """Every boot of the plan, ``study.boots`` of each configuration of the study's own machine."""
    draw = random.Random(study.seed)
    here = study.taken_here
    settings = [each.label for each in here[1:] if each.how is ChangeBack.SETTING]
    fittings = [each.label for each in here[1:] if each.how is ChangeBack.FITTING]
    rounds = [_shuffled(draw, [study.base.label, *settings]) for _ in range(study.boots)]
    # The base is split evenly about the fittings: a steady drift then falls on both sides alike.
    back = study.boots // 2 if fittings else 0
    blocks = [[label] * study.boots for label in _shuffled(draw, fittings)]
    order = [
        label
        for part in (*rounds[: study.boots - back], *blocks, *rounds[study.boots - back :])
        for label in part
    ]
    return tuple(
        PlannedBoot(number, label, number == 1 or order[number - 2] != label)
        for number, label in enumerate(order, 1)
    )


def in_short(labels: Sequence[str]) -> str:
    """An order in one line: "as-found ×2, fast-card ×3, as-found"."""
    counted = [(label, len(list(group))) for label, group in groupby(labels)]
    return ", ".join(label if count == 1 else f"{label} ×{count}" for label, count in counted)


def _shuffled(draw: random.Random, labels: Sequence[str]) -> list[str]:
    return draw.sample(labels, len(labels))
