"""What an upgrade is worth: price per per cent, and which of several offers dominates which.

An offer dominates another when it costs no more and is faster, or costs less and is not slower in a way that
matters, each by a finding of its own; points on a chart alone dominate nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from readoff.errors import JudgeRefusal
from readoff.judge.compare import DEFAULT_MARGIN, compare
from readoff.judge.evidence import Better, Metric, Sample
from readoff.judge.finding import Finding, Verdict
from readoff.judge.sentence import plain_number
from readoff.judge.several import as_family


@dataclass(frozen=True)
class Offer:
    """A configuration that can be bought: label, price above leaving all as it is, readings."""

    label: str
    price: float
    samples: Sequence[Sample]


@dataclass(frozen=True)
class Worth:
    """What one offer buys.

    gain: how much better than BASE, in per cent of BASE's reading turned so that more is better.
    per_cent_price: price of one per cent; None where no gain was found. cheapest, dearest: its 95 % limits;
    dearest is None where the gain may be next to nothing. dominated_by: labels of better buys ("" stands for
    leaving all as it is). currency: what prices are in, "" where nobody said.
    """

    offer: Offer
    finding: Finding
    gain: float
    per_cent_price: float | None
    cheapest: float | None
    dearest: float | None
    dominated_by: tuple[str, ...]
    currency: str = ""

    def in_money(self, price: float) -> str:
        """A price with its currency."""
        return f"{plain_number(price)} {self.currency}".rstrip()

    @property
    def sentence(self) -> str:
        """Plain words first, figures after."""
        label = self.offer.label
        if self.per_cent_price is None:
            words = f"For {self.in_money(self.offer.price)}, {label} buys no gain that was found"
        elif self.offer.price == 0:
            words = f"{label} costs nothing, and gains {self.gain:.3g} %"
        else:
            words = f"{label} costs {self.in_money(self.per_cent_price)} for each per cent gained"
        if self.dominated_by:
            names = [name or "leaving all as it is" for name in self.dominated_by]
            words += f"; a better buy: {', '.join(names)}"
        if self.cheapest is None or self.offer.price == 0:
            return f"{words}."
        if self.dearest is None:
            span = f"{self.in_money(self.cheapest)} to no upper limit"
        else:
            span = f"{plain_number(self.cheapest)} to {self.in_money(self.dearest)}"
        return f"{words}. [95 % interval {span}; gain {self.gain:.3g} %]"


def weigh(
    metric: Metric,
    base_label: str,
    base: Sequence[Sample],
    offers: Sequence[Offer],
    *,
    margin: float = DEFAULT_MARGIN,
    looks: int = 1,
    currency: str = "",
) -> tuple[Worth, ...]:
    """Weigh offers against BASE and each other, all comparisons one family under Holm's rule.

    looks: how often they will be weighed in all, declared beforehand. currency: what prices are in.
    Raises JudgeRefusal as compare does, for a price below zero, a label twice, and for a metric of which neither
    way is better.
    """
    if metric.better is Better.NEITHER:
        raise JudgeRefusal("worth needs a metric of which one way is better")
    labels = [base_label, *(offer.label for offer in offers)]
    if not offers or len(set(labels)) != len(labels):
        raise JudgeRefusal("worth needs one offer or more, each with a label of its own")
    for offer in offers:
        if not (math.isfinite(offer.price) and offer.price >= 0):
            raise JudgeRefusal("a price must be zero or above", where=offer.label)
    whole = [Offer(base_label, 0.0, base), *offers]
    pairs = list(combinations(range(len(whole)), 2))
    findings = as_family([_judge(metric, whole, pair, margin, looks) for pair in pairs])
    by_pair = dict(zip(pairs, findings, strict=True))
    return tuple(replace(_worth(whole, at, by_pair), currency=currency) for at in range(1, len(whole)))


def _judge(
    metric: Metric, whole: Sequence[Offer], pair: tuple[int, int], margin: float, looks: int
) -> Finding:
    pool = [offer.samples for place, offer in enumerate(whole) if place not in pair]
    one, two = whole[pair[0]], whole[pair[1]]
    return compare(
        metric,
        one.samples,
        two.samples,
        margin=margin,
        base_label=one.label,
        other_label=two.label,
        pool=pool,
        looks=looks,
    )


def _worth(whole: Sequence[Offer], place: int, by_pair: dict[tuple[int, int], Finding]) -> Worth:
    offer, finding = whole[place], by_pair[0, place]
    turn = 1 if finding.metric.better is Better.HIGHER else -1
    gains = sorted((r**turn - 1) * 100 for r in (finding.interval95.low, finding.interval95.high))
    gain = (finding.ratio**turn - 1) * 100
    better = [
        "" if rival == 0 else whole[rival].label
        for rival in range(len(whole))
        if rival != place and _dominates(whole, rival, place, by_pair)
    ]
    if finding.verdict is not Verdict.FASTER:
        return Worth(offer, finding, gain, None, None, None, tuple(better))
    dearest = offer.price / gains[0] if gains[0] > 0 else None
    return Worth(offer, finding, gain, offer.price / gain, offer.price / gains[1], dearest, tuple(better))


def _dominates(
    whole: Sequence[Offer], rival: int, place: int, by_pair: dict[tuple[int, int], Finding]
) -> bool:
    verdict = by_pair[min(rival, place), max(rival, place)].verdict
    # The finding speaks of the later offer seen from the earlier one.
    wins = verdict is (Verdict.FASTER if rival > place else Verdict.SLOWER)
    if wins:
        return whole[rival].price <= whole[place].price
    return verdict is Verdict.NO_DIFFERENCE and whole[rival].price < whole[place].price
