"""Studies with a known truth, judged by the thousand: how often the judge is wrong, and how often it sees.

Seeded, so that a table can be had again: ``python -m readoff.judge.simulate [--studies N] [--seed S]``. All
spreads are of a boot's mean unless said otherwise; a boot share is the part of one reading's variance that the
boots make.
"""

from __future__ import annotations

import argparse
import math
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from readoff.judge.compare import compare
from readoff.judge.evidence import Better, Metric, Sample
from readoff.judge.finding import LEVEL, Finding, Verdict
from readoff.judge.overall import overall
from readoff.judge.several import as_family, judge_study
from readoff.judge.t_test import summarise, t_test

# True change, boots a side, and how often (per cent) a Student's t finds it at a boot SD of 1 %.
_SEEN = (
    (0.03, 3, 77),
    (math.expm1(0.0307), 3, 80),
    (math.expm1(0.0202), 5, 80),
    (math.expm1(0.0133), 10, 80),
)

RATE = Metric("rate", "frames/s", Better.HIGHER)
_LEVEL = 100.0


@dataclass(frozen=True)
class Noise:
    """How readings scatter. reading_sd: of one reading, in logs. boot_share: 0 to 1. step: of the display."""

    reading_sd: float
    boot_share: float
    repeats: int = 3
    step: float = 0.0

    @classmethod
    def of_boots(cls, boot_sd: float) -> Noise:
        """One exact reading a boot, so that the boot's mean has this SD."""
        return cls(boot_sd, 1.0, 1)


@dataclass(frozen=True)
class Count:
    """One line of the table: how many of how many, and what was expected (words)."""

    what: str
    hits: int
    trials: int
    expected: str

    @property
    def share(self) -> float:
        """hits / trials; 0.0 where nothing was tried."""
        return self.hits / self.trials if self.trials else 0.0


def readings(
    dice: random.Random, boots: int, noise: Noise, *, change: float = 0.0, mark: str = "", first: int = 0
) -> list[Sample]:
    """Readings of one configuration whose true level is 100 x (1 + change); boots numbered from ``first``."""
    between = noise.reading_sd * math.sqrt(noise.boot_share)
    within = noise.reading_sd * math.sqrt(1 - noise.boot_share)
    made = []
    for boot in range(first, first + boots):
        level = math.log(_LEVEL * (1 + change)) + dice.gauss(0, between)
        for repeat in range(noise.repeats):
            value = math.exp(level + (dice.gauss(0, within) if within else 0.0))
            if noise.step:
                value = noise.step * math.floor(value / noise.step + 0.5)
            made.append(Sample(f"{mark}{boot}", value, noise.step, f"{mark}{boot}.{repeat}"))
    return made


def whole_study_alarms(
    dice: random.Random,
    studies: int,
    noise: Noise,
    *,
    metrics: int = 4,
    configurations: int = 3,
    boots: int = 3,
) -> int:
    """Studies without any change in which at least one change is found.

    The rounded level is drawn anew for each study, so that no phase of the rounding is favoured.
    """
    names = [Metric(f"m{number}", "u", Better.HIGHER) for number in range(metrics)]
    labels = [f"c{number}" for number in range(configurations)]
    alarms = 0
    for _ in range(studies):
        lift = dice.uniform(0, noise.step / _LEVEL) if noise.step else 0.0
        evidence = {
            metric.name: {
                label: readings(dice, boots, noise, change=lift, mark=f"{label}.") for label in labels
            }
            for metric in names
        }
        study = judge_study(names, evidence, labels)
        alarms += any(finding.changed for finding in (*study.against_base, *study.against_next))
    return alarms


def overall_alarms(
    dice: random.Random,
    studies: int,
    noise: Noise,
    *,
    metrics: int = 4,
    configurations: int = 3,
    boots: int = 3,
) -> tuple[int, int]:
    """Studies without any change whose overall figures raise an alarm, and those where these or a metric do."""
    names = [Metric(f"m{number}", "u", Better.HIGHER) for number in range(metrics)]
    base, *others = labels = [f"c{number}" for number in range(configurations)]
    overall_ones = either = 0
    for _ in range(studies):
        sides = {
            label: {metric.name: readings(dice, boots, noise, mark=f"{label}.") for metric in names}
            for label in labels
        }
        figures = as_family(
            [
                overall(names, sides[base], sides[label], base_label=base, other_label=label)
                for label in others
            ]
        )
        alarm = any(finding.changed for finding in figures)
        evidence = {metric.name: {label: sides[label][metric.name] for label in labels} for metric in names}
        study = judge_study(names, evidence, labels)
        overall_ones += alarm
        either += alarm or any(finding.changed for finding in (*study.against_base, *study.against_next))
    return overall_ones, either


def verdicts(
    dice: random.Random,
    studies: int,
    noise: Noise,
    holds: Callable[[Finding], bool],
    *,
    change: float,
    boots: int = 3,
    equal_spread: bool = False,
    bystanders: int = 0,
) -> int:
    """Comparisons of ``boots`` a side with this true change whose finding ``holds``."""
    return sum(
        holds(pair(dice, boots, noise, change, equal_spread=equal_spread, bystanders=bystanders))
        for _ in range(studies)
    )


def pair(
    dice: random.Random,
    boots: int,
    noise: Noise,
    change: float,
    *,
    equal_spread: bool = False,
    bystanders: int = 0,
) -> Finding:
    """One comparison with a known true change; further configurations lend their spread by the rule."""
    base = readings(dice, boots, noise, mark="a")
    other = readings(dice, boots, noise, change=change, mark="b")
    pool = [readings(dice, boots, noise, mark=f"c{number}.") for number in range(bystanders)]
    return compare(
        RATE, base, other, base_label="base", other_label="other", equal_spread=equal_spread, pool=pool
    )


def advice_kept(
    dice: random.Random, studies: int, noise: Noise, *, change: float, boots: int = 3
) -> tuple[int, int, int]:
    """Follow the advice "N more boots": (decided within N, advised, undecided without advice)."""
    kept = advised = silent = 0
    for _ in range(studies):
        base = readings(dice, boots, noise, mark="a")
        other = readings(dice, boots, noise, change=change, mark="b")
        found = compare(RATE, base, other, base_label="base", other_label="other")
        if found.verdict is not Verdict.UNDECIDED:
            continue
        if found.further_boots is None:
            silent += 1
            continue
        advised += 1
        base += readings(dice, found.further_boots, noise, mark="a", first=boots)
        other += readings(dice, found.further_boots, noise, change=change, mark="b", first=boots)
        again = compare(RATE, base, other, base_label="base", other_label="other")
        kept += again.verdict is not Verdict.UNDECIDED
    return kept, advised, silent


def two_look_alarms(
    dice: random.Random, studies: int, noise: Noise, *, boots: int = 3, looks: int = 2
) -> int:
    """False alarms in all, where the advice "N more boots" is followed once and the boots judged again.

    looks: as declared beforehand; 1 shows what an undeclared second look costs.
    """
    alarms = 0
    for _ in range(studies):
        base, other = (readings(dice, boots, noise, mark=mark) for mark in "ab")
        found = compare(RATE, base, other, base_label="base", other_label="other", looks=looks)
        if found.verdict is Verdict.UNDECIDED and found.further_boots:
            base += readings(dice, found.further_boots, noise, mark="a", first=boots)
            other += readings(dice, found.further_boots, noise, mark="b", first=boots)
            found = compare(RATE, base, other, base_label="base", other_label="other", looks=looks)
        alarms += found.changed
    return alarms


def table(studies: int, seed: int) -> Iterator[Count]:
    """The whole table, line by line; every line has dice of its own, so that lines can be had alone."""
    yield from _unit_lines(studies, seed)
    yield from _alarm_lines(studies, seed)
    yield from _wrong_clear_lines(studies, seed)
    yield from _sight_lines(studies, seed)
    yield from _pooled_lines(studies, seed)
    yield from _advice_lines(studies, seed)


def naive_alarms(dice: random.Random, studies: int, noise: Noise, *, boots: int = 3) -> int:
    """False alarms of a t test that takes every reading for a boot of its own. What the judge does not do."""
    alarms = 0
    for _ in range(studies):
        sides = [
            summarise([math.log(sample.value) for sample in readings(dice, boots, noise)]) for _ in range(2)
        ]
        alarms += t_test(sides[0], sides[1], pooled=True).p < LEVEL
    return alarms


def _unit_lines(studies: int, seed: int) -> Iterator[Count]:
    for share, per_hundred in ((0.1, 7), (0.3, 13), (0.5, 19), (0.8, 28)):
        hits = naive_alarms(random.Random(f"{seed} naive {share}"), studies, Noise(0.01, share))
        what = f"false alarm if 3 x 3 readings a side were taken for nine boots, boot share {share:g}"
        yield Count(what, hits, studies, f"{per_hundred} %: why they are not")
    for equal, method, expected in ((True, "equal spread declared", "5 %"), (False, "Welch", "3.5 %")):
        dice = random.Random(f"{seed} unit")
        hits = verdicts(dice, studies, Noise(0.01, 0.5), lambda f: f.changed, change=0.0, equal_spread=equal)
        yield Count(
            f"false alarm of one comparison by boots, 3 x 3 readings, {method}", hits, studies, expected
        )


def _alarm_lines(studies: int, seed: int) -> Iterator[Count]:
    for share in (0.0, 0.3, 0.8):
        hits = whole_study_alarms(random.Random(f"{seed} alarm {share}"), studies, Noise(0.01, share))
        what = f"false alarm anywhere in a study of 3 configurations x 4 metrics, boot share {share:g}"
        yield Count(what, hits, studies, "at most 5 %")
    for share in (0.0, 0.3, 0.8):
        alone, either = overall_alarms(random.Random(f"{seed} overall {share}"), studies, Noise(0.01, share))
        what = f"false alarm among the overall figures of such a study, boot share {share:g}"
        yield Count(what, alone, studies, "at most 5 %")
        yield Count(f"the same, or among its metrics, boot share {share:g}", either, studies, "at most 10 %")
    for spread in (0.05, 0.3, 1.0):
        noise = Noise(spread / _LEVEL, 0.5, step=1.0)
        hits = whole_study_alarms(random.Random(f"{seed} step {spread}"), studies, noise)
        what = (
            f"false alarm anywhere in such a study, display step 1 %, readings spread by {spread:g} of a step"
        )
        yield Count(what, hits, studies, "at most 5 %")


def _wrong_clear_lines(studies: int, seed: int) -> Iterator[Count]:
    for boots, spread in ((3, 0.003), (3, 0.005), (3, 0.01), (6, 0.01)):
        dice = random.Random(f"{seed} clear {boots} {spread}")
        noise = Noise.of_boots(spread)
        hits = verdicts(
            dice, studies, noise, lambda f: f.verdict is Verdict.NO_DIFFERENCE, change=0.02, boots=boots
        )
        what = f'wrong "no difference that matters" at a true +2 %, {boots} + {boots} boots, SD {spread:.1%}'
        yield Count(what, hits, studies, "at most 5 %")


def _sight_lines(studies: int, seed: int) -> Iterator[Count]:
    for equal, method in ((True, "equal spread declared"), (False, "Welch")):
        dice = random.Random(f"{seed} sight")
        hits = verdicts(
            dice,
            studies,
            Noise.of_boots(0.005),
            lambda f: f.verdict is Verdict.NO_DIFFERENCE,
            change=0.0,
            equal_spread=equal,
        )
        what = f'no change, 3 + 3 boots, SD 0.5 %, {method}: "no difference that matters"'
        yield Count(what, hits, studies, "93 %" if equal else "a little less")
        for change, boots, expected in _SEEN:
            dice = random.Random(f"{seed} sight {change} {boots}")
            noise = Noise.of_boots(0.01)
            hits = verdicts(
                dice, studies, noise, lambda f: f.changed, change=change, boots=boots, equal_spread=equal
            )
            what = f"a true {change:+.2%}, {boots} + {boots} boots, SD 1 %, {method}: change found"
            yield Count(what, hits, studies, f"{expected} %" if equal else "less, the fewer the boots")


def _pooled_lines(studies: int, seed: int) -> Iterator[Count]:
    for change, what in ((0.03, "a true +3 %: change found"), (0.0, "no change: false alarm")):
        dice = random.Random(f"{seed} pooled {change}")
        hits = verdicts(dice, studies, Noise.of_boots(0.01), lambda f: f.changed, change=change, bystanders=3)
        expected = "more than Welch alone" if change else "at most 5 %"
        yield Count(f"5 configurations of 3 boots, SD 1 %, default rule, {what}", hits, studies, expected)


def _advice_lines(studies: int, seed: int) -> Iterator[Count]:
    for change, spread in ((0.0, 0.01), (0.0, 0.02), (0.01, 0.01), (0.02, 0.01), (0.03, 0.02)):
        dice = random.Random(f"{seed} advice {change} {spread}")
        kept, advised, silent = advice_kept(dice, studies, Noise.of_boots(spread), change=change)
        what = (
            f'"N more boots" decided within N, true {change:+.0%}, SD {spread:.0%} ({silent} without advice)'
        )
        yield Count(what, kept, advised, "at least 80 %")
    for looks, spread in ((1, 0.01), (1, 0.02), (2, 0.01), (2, 0.02)):
        dice = random.Random(f"{seed} looks {spread}")
        hits = two_look_alarms(dice, studies, Noise.of_boots(spread), looks=looks)
        what = f"false alarm in all, advice followed once, SD {spread:.0%}, {looks} declared"
        yield Count(what, hits, studies, "more: a look not declared" if looks == 1 else "at most 5 %")


def lines(counts: Iterator[Count]) -> Iterator[str]:
    """The table as text, one line a count."""
    yield f"{'measured':>8}  {'of':>6}  expected                       what"
    for count in counts:
        yield f"{count.share:>7.1%}  {count.trials:>7}  {count.expected:<29}  {count.what}"


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Judge thousands of studies whose truth is known.")
    parser.add_argument("--studies", type=int, default=2000, help="studies for each line of the table")
    parser.add_argument("--seed", type=int, default=1, help="the same seed gives the same table")
    chosen = parser.parse_args(arguments)
    if chosen.studies < 1:
        parser.error("--studies must be 1 or more")
    for line in lines(table(chosen.studies, chosen.seed)):
        print(line, flush=True)


if __name__ == "__main__":
    main()
