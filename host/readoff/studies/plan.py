"""The plan of a study: its order, its time, what it will be able to detect, and what it could not conclude.

Smallest detectable changes are those of judge.power, by Welch's test: two-sided, found four times in five. The
judge pools the scatter of several configurations where its rule allows it, and then sees a little more.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from readoff.errors import JudgeRefusal
from readoff.judge import (
    Metric,
    Sample,
    TwoLevels,
    boots_to_clear,
    boots_to_detect,
    pooled_levels,
    smallest_detectable,
    took_turns,
    two_levels,
)
from readoff.judge.evidence import Side, gather
from readoff.judge.resolution import boot_variance
from readoff.studies.order import PlannedBoot, boots_in_order
from readoff.studies.study import ChangeBack, Study, Wanted

LEVEL = 0.05
MOST_BOOTS_ADVISED = 200
_ABSURD = 9.99  # beyond a tenfold change no digits are worth showing


@dataclass(frozen=True)
class Noise:
    """How much boots of one configuration scatter. sd: in logs (0.01 is 1 %). words: where it is known from.

    best_repeats: runs a boot that make the most of the time, None where that cannot be told. within: the same of the
    repeats in one boot, None where there are none.
    """

    sd: float
    words: str
    known: bool
    best_repeats: int | None = None
    within: float | None = None


@dataclass(frozen=True)
class Detectable:
    """What the planned boots can show in one metric. Changes are ratios less one (0.031 is 3.1 %).

    alone: if it were the only comparison. together: as one of all the study's comparisons, None for one boot.
    boots_needed: boots of each that find the margin, so judged. boots_to_clear: that show "no difference that
    matters" where there is none. None where MOST_BOOTS_ADVISED would not do.
    """

    wanted: Wanted
    noise: Noise
    alone: float | None
    together: float | None
    boots_needed: int | None
    boots_to_clear: int | None


@dataclass(frozen=True)
class Plan:
    """A study's plan. minutes: boots, runs and changes together."""

    study: Study
    boots: tuple[PlannedBoot, ...]
    minutes: float
    detectable: tuple[Detectable, ...]
    cannot: tuple[str, ...]

    @property
    def runs(self) -> int:
        """Runs in all."""
        return len(self.boots) * len(self.study.programs) * self.study.repeats


def noise_of(study: Study, wanted: Wanted, metric: Metric, sides: Mapping[str, Sequence[Sample]]) -> Noise:
    """The scatter of boots from the readings so far (label -> samples), or the study's assumption.

    Pooled over the machine's configurations with two boots or more; never under the rounding of one boot.
    """
    assumed = Noise(
        study.noise, f"assumed: boots differ by {study.noise * 100:.3g} % (noise in the study file)", False
    )
    able = []
    here = {each.label for each in study.taken_here}
    for label, samples in sides.items():
        if label not in here:
            continue
        try:
            side = gather(metric, label, samples)
        except JudgeRefusal:
            continue
        if side.freedom > 0:
            able.append(side)
    freedom = sum(side.freedom for side in able)
    if not freedom:
        return assumed
    variance = math.fsum(boot_variance(side) * side.freedom for side in able) / freedom
    if variance <= 0:
        return assumed
    boots = sum(len(side.boots) for side in able)
    words = f"seen in {boots} boots of {', '.join(side.label for side in able)}"
    levels = _levels(able)
    if levels is None:
        return Noise(math.sqrt(variance), words, True)
    cost = study.minutes_a_boot, study.program(wanted.program).minutes
    best = levels.best_repeats(*cost) if all(each > 0 for each in cost) else None
    return Noise(math.sqrt(variance), words, True, best, math.sqrt(levels.within))


def _logs_by_boot(samples: Iterable[Sample]) -> list[list[float]]:
    boots: dict[str, list[float]] = {}
    for sample in samples:
        boots.setdefault(sample.boot, []).append(math.log(sample.value))
    return list(boots.values())


def _levels(sides: Iterable[Side]) -> TwoLevels | None:
    """Between boots and within, over the configurations but not between them; None where no boot has a repeat."""
    found = []
    for side in sides:
        try:
            found.append(two_levels(_logs_by_boot(side.samples)))
        except JudgeRefusal:
            continue
    return pooled_levels(found) if found else None


def make_plan(study: Study, noise: Mapping[Wanted, Noise]) -> Plan:
    """The plan. noise: what is known of each wanted metric's scatter."""
    boots = boots_in_order(study)
    changing = {each.label: each.minutes for each in study.configurations}
    runs = math.fsum(program.minutes for program in study.programs) * study.repeats
    minutes = len(boots) * (study.minutes_a_boot + runs)
    minutes += math.fsum(changing[boot.label] for boot in boots if boot.changes)
    if not study.cold:  # a boot that comes from switching on is reset once more
        minutes += study.minutes_a_boot * _switched_on(study, boots)
    detectable = tuple(_detectable(study, wanted, noise[wanted]) for wanted in study.wanted)
    return Plan(study, boots, minutes, detectable, tuple(_cannot(study, boots, detectable)))


def _switched_on(study: Study, boots: Sequence[PlannedBoot]) -> int:
    """How often the machine is switched on in a study of warm boots: at first, and where a part goes in or out."""
    fits = {each.label: each.how is ChangeBack.FITTING for each in study.configurations}
    changes = [
        one.label != two.label and (fits[one.label] or fits[two.label]) for one, two in pairwise(boots)
    ]
    return bool(boots) + sum(changes)


def _detectable(study: Study, wanted: Wanted, noise: Noise) -> Detectable:
    family = LEVEL / (study.comparisons * study.looks)
    needed = boots_to_detect(math.log1p(wanted.margin), noise.sd, level=family, equal_spread=False)
    clear = boots_to_clear(wanted.margin, noise.sd)
    alone = together = None
    if study.boots > 1:
        alone, together = (
            math.expm1(smallest_detectable(study.boots, noise.sd, level=level, equal_spread=False))
            for level in (LEVEL / study.looks, family)
        )
    return Detectable(wanted, noise, alone, together, _few(needed), _few(clear))


def share(value: float) -> str:
    """A share in per cent: 0.0307 -> "3.07 %"."""
    return f"over {_ABSURD * 100:.0f} %" if value > _ABSURD else f"{value * 100:.3g} %"


def _few(boots: int | None) -> int | None:
    return boots if boots is not None and boots <= MOST_BOOTS_ADVISED else None


def _cannot(study: Study, boots: Sequence[PlannedBoot], detectable: Iterable[Detectable]) -> Iterable[str]:
    if study.boots == 1:
        yield "Anything at all: one boot of each shows nothing about how boots differ."
    if study.boots == 2:
        yield "That there is no difference: two boots of each never show that, three can."
    for each in detectable:
        yield from _too_fine(study, each)
    order = [boot.label for boot in boots]
    here = {each.label for each in study.taken_here}
    for first, second in study.pairs:
        if first in here and second in here and not took_turns(order, first, second):
            yield (
                f"That a difference between {first} and {second} comes from the change: they do not take turns in this "
                "plan, so what changed with the hours changed too."
            )
    for configuration in study.configurations:
        if configuration.machine:
            yield (
                f"Anything about a part by {configuration.label}: it is another machine ({configuration.machine}), "
                "and a ratio of machines is not a finding about a part."
            )
        elif configuration.how is ChangeBack.FITTING:
            yield f"Anything about other specimens of what {configuration.label} fits: one does not stand for all."
    if not study.cold:
        yield "Anything about cold boots: this study takes warm ones."


def _too_fine(study: Study, each: Detectable) -> Iterable[str]:
    margin = share(each.wanted.margin)
    if each.together is not None and each.together > each.wanted.margin:
        more = (
            f"{each.boots_needed} boots of each would"
            if each.boots_needed
            else "No number of boots within reason would"
        )
        yield (
            f"Changes between the {margin} that matters and {share(each.together)} in {each.wanted.title}: they "
            f"would be found less than four times in five. {more} find them."
        )
    if study.boots > 2 and (each.boots_to_clear is None or each.boots_to_clear > study.boots):
        more = (
            f"{each.boots_to_clear} boots of each would" if each.boots_to_clear else "More boots would hardly"
        )
        yield (
            f"That there is no difference of {margin} in {each.wanted.title}, where there is none: it would most "
            f"likely stay undecided. {more} show it, four times in five."
        )
