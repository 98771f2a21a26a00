"""Comparing two configurations in one metric: from samples to a finding."""

from __future__ import annotations

import math
from collections.abc import Sequence

from readoff.errors import JudgeRefusal
from readoff.judge.contrast import contrast
from readoff.judge.evidence import Metric, Sample, Side, gather
from readoff.judge.finding import Finding

DEFAULT_MARGIN = 0.02


def compare(  # noqa: PLR0913 - everything after the readings is named and has its default
    metric: Metric,
    base: Sequence[Sample],
    other: Sequence[Sample],
    *,
    margin: float = DEFAULT_MARGIN,
    base_label: str,
    other_label: str,
    pool: Sequence[Sequence[Sample]] = (),
    equal_spread: bool = False,
    looks: int = 1,
) -> Finding:
    """Judge OTHER against BASE; every ratio of the finding is other / base.

    margin: smallest difference that matters, declared beforehand (0.02 is 2 %). pool: the samples of the same
    machine's other configurations in the same metric, one sequence each; they lend their boot variance where
    the pooling rule allows it (judge.contrast). equal_spread: declared beforehand that the boots of all these
    configurations spread alike: Student's t in the place of Welch's, sees more where that holds and errs where
    it does not. looks: how often this comparison will be judged in all, declared beforehand; each look gets its
    share of the 5 %. Raises JudgeRefusal, with the reason, where no honest finding
    is possible: no readings, one boot a side, zero, negative or infinite readings, mixed units, equal
    readings of unknown display step, one run on both sides.
    """
    check_margin(margin)
    sides = gather(metric, base_label, base), gather(metric, other_label, other)
    lenders, notes = lenders_of(metric, pool)
    return judge_sides(
        metric, *sides, margin=margin, lenders=lenders, notes=notes, equal_spread=equal_spread, looks=looks
    )


def judge_sides(
    metric: Metric,
    base: Side,
    other: Side,
    *,
    margin: float,
    lenders: Sequence[Side] = (),
    notes: tuple[str, ...] = (),
    equal_spread: bool = False,
    looks: int = 1,
) -> Finding:
    """The finding for two sides already gathered."""
    found = contrast(base, other, lenders, equal_spread=equal_spread)
    shared = sorted(set(base.boots) & set(other.boots))
    if shared:
        notes += (f"Boot {shared[0]} counts on both sides, so the sides are not independent.",)
    if looks < 1:
        raise JudgeRefusal(f"a comparison is judged once or more often, not {looks} times", where="looks")
    finding = Finding(metric, found, margin, min(1.0, found.p * looks), looks=looks, notes=notes)
    _ = finding.ratio, finding.interval95, finding.rounding  # refuses here what cannot be written as a ratio
    return finding


def check_margin(margin: float) -> None:
    """Refuse a smallest difference that matters that is none."""
    if not (math.isfinite(margin) and 0 < margin < 1):
        raise JudgeRefusal(
            f"the smallest difference that matters must lie between 0 and 1 (0.02 is 2 %), not {margin:g}",
            where="margin",
        )


def lenders_of(metric: Metric, pool: Sequence[Sequence[Sample]]) -> tuple[list[Side], tuple[str, ...]]:
    """The sides of a pool, and a note for each that cannot lend its spread."""
    lenders, notes = [], []
    for number, samples in enumerate(pool, 1):
        try:
            lenders.append(gather(metric, f"pool {number}", samples))
        except JudgeRefusal as refusal:
            notes.append(f"A further configuration could not lend its spread ({refusal.what}).")
    return lenders, tuple(notes)
