"""The finding: what two configurations' readings of one metric allow to be said, and what they do not.

The rule of the verdict (docs/judging.md): *changed* when the adjusted p is under 5 % and the 95 % interval
leaves out "equal"; *no difference that matters* when the 90 % interval lies within the margin and each side
has three boots; else *undecided*.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

from readoff.errors import JudgeRefusal
from readoff.judge.contrast import Contrast
from readoff.judge.evidence import Better, Metric
from readoff.judge.outliers import FEWEST as FEWEST_TO_STAND_OUT
from readoff.judge.outliers import farthest
from readoff.judge.power import detectable_ratio, further_boots
from readoff.judge.resolution import Span

LEVEL = 0.05
FEWEST_BOOTS_FOR_NO_DIFFERENCE = 3
# A boot is pointed at where chance makes one so far out in 1 of 100 sides: a study has many sides.
LEVEL_OF_STANDING_OUT = 0.01


class Verdict(StrEnum):
    """What may be said of OTHER, seen from BASE."""

    FASTER = "faster"
    SLOWER = "slower"
    HIGHER = "higher"  # metrics of which neither way is better
    LOWER = "lower"
    NO_DIFFERENCE = "no difference that matters"
    UNDECIDED = "undecided"


class Extent(StrEnum):
    """Where the 95 % interval of a change lies against the smallest difference that matters, as declared."""

    BEYOND = "beyond what matters"
    STRADDLES = "perhaps beyond what matters"
    WITHIN = "real, too small to matter"


@dataclass(frozen=True)
class Finding:
    """The judged difference of two configurations in one metric.

    Every ratio is OTHER / BASE of the readings as printed: 1.05 of a rate is faster, 1.05 of a time slower.
    The verdict says which. margin_declared: smallest difference that matters, as told (0.02). p_adjusted:
    Holm's over ``family`` comparisons judged together, or p where the finding stands alone; either way times
    ``looks``, how often the comparison is judged in all, as declared beforehand (adding boots to an undecided
    comparison and judging again is a second look).
    """

    metric: Metric
    contrast: Contrast
    margin_declared: float
    p_adjusted: float
    family: int = 1
    looks: int = 1
    notes: tuple[str, ...] = ()

    def adjusted(self, p_adjusted: float, family: int) -> Finding:
        """The same finding as one of a family of comparisons; the verdict follows the adjusted p."""
        return replace(self, p_adjusted=min(1.0, p_adjusted * self.looks), family=family)

    @property
    def base_label(self) -> str:
        """Label of the configuration that the ratio is taken from."""
        return self.contrast.base.label

    @property
    def other_label(self) -> str:
        """Label of the configuration that is judged."""
        return self.contrast.other.label

    @property
    def base_value(self) -> float:
        """Geometric mean of BASE's boots, in the metric's unit."""
        return self.contrast.base.centre

    @property
    def other_value(self) -> float:
        """Geometric mean of OTHER's boots, in the metric's unit."""
        return self.contrast.other.centre

    @property
    def base_boots(self) -> int:
        """Boots of BASE."""
        return len(self.contrast.base.boots)

    @property
    def other_boots(self) -> int:
        """Boots of OTHER."""
        return len(self.contrast.other.boots)

    @property
    def base_runs(self) -> tuple[int | str, ...]:
        """The runs behind BASE."""
        return self.contrast.base.runs

    @property
    def other_runs(self) -> tuple[int | str, ...]:
        """The runs behind OTHER."""
        return self.contrast.other.runs

    @property
    def ratio(self) -> float:
        """OTHER / BASE."""
        return _exp(self.contrast.difference)

    @cached_property
    def interval95(self) -> Span:
        """95 % interval of OTHER / BASE."""
        return _ratios(self.contrast.interval(0.95))

    @cached_property
    def interval90(self) -> Span:
        """90 % interval of OTHER / BASE: what "no difference that matters" is judged by."""
        return _ratios(self.contrast.interval(0.90))

    @cached_property
    def rounding(self) -> Span | None:
        """OTHER / BASE as far as rounding alone leaves it open; None where nothing was rounded."""
        return None if self.contrast.rounding is None else _ratios(self.contrast.rounding)

    @cached_property
    def p(self) -> float:
        """Two-sided p of the t test, unadjusted."""
        return self.contrast.p

    @cached_property
    def freedom(self) -> float:
        """Degrees of freedom; infinite where rounding is all the error there is."""
        return self.contrast.freedom

    @property
    def df(self) -> float:
        """Degrees of freedom, by its short name."""
        return self.freedom

    @property
    def pooled(self) -> bool:
        """Whether the boots' variance was pooled over the machine's configurations (else Welch)."""
        return self.contrast.pooled

    @cached_property
    def resolution(self) -> float:
        """Smallest ratio (less one) that the displays leave visible; 0 where rounding averages out."""
        if self.contrast.stuck is None:
            return 0.0
        return math.expm1((self.contrast.stuck.high - self.contrast.stuck.low) / 2)

    @property
    def below_resolution(self) -> bool:
        """Whether rounding alone could make, or hide, the difference seen."""
        stuck = self.contrast.stuck
        return stuck is not None and not stuck.excludes(0.0)

    @property
    def margin(self) -> float:
        """What "no difference" is judged by: the margin as declared, but never below the resolution."""
        return max(self.margin_declared, self.resolution)

    @cached_property
    def standing_out(self) -> tuple[tuple[str, str], ...]:
        """(label, boot) of each boot that is unlike the others of its side: pointed at, never left out."""
        found = []
        for side in (self.contrast.base, self.contrast.other):
            if len(side.boots) >= FEWEST_TO_STAND_OUT and side.variance > 0:
                suspect = farthest(side.logs, level=LEVEL_OF_STANDING_OUT)
                if suspect.stands_out:
                    found.append((side.label, side.boots[suspect.place]))
        return tuple(found)

    @cached_property
    def verdict(self) -> Verdict:
        """What may be said."""
        span = self.contrast.interval(0.95)
        if self.p_adjusted < LEVEL and span.excludes(0.0):
            return self._direction()
        fewest = min(self.base_boots, self.other_boots)
        clear = self.contrast.interval(1 - 2 * LEVEL / self.looks).within(math.log1p(self.margin))
        if clear and fewest >= FEWEST_BOOTS_FOR_NO_DIFFERENCE:
            return Verdict.NO_DIFFERENCE
        return Verdict.UNDECIDED

    def _direction(self) -> Verdict:
        up = self.contrast.difference > 0
        if self.metric.better is Better.NEITHER:
            return Verdict.HIGHER if up else Verdict.LOWER
        return Verdict.FASTER if up == (self.metric.better is Better.HIGHER) else Verdict.SLOWER

    @property
    def changed(self) -> bool:
        """Whether a difference was found."""
        return self.verdict not in (Verdict.NO_DIFFERENCE, Verdict.UNDECIDED)

    @property
    def extent(self) -> Extent | None:
        """How a change compares with what matters; None where no change was found."""
        if not self.changed:
            return None
        span, reach = self.contrast.interval(0.95), math.log1p(self.margin_declared)
        if span.low > reach or span.high < -reach:
            return Extent.BEYOND
        return Extent.WITHIN if span.within(reach) else Extent.STRADDLES

    @cached_property
    def smallest_detectable(self) -> float:
        """Smallest difference (ratio less one) that boots like these find four times in five."""
        return detectable_ratio(self.contrast, level=LEVEL / (self.family * self.looks))

    @cached_property
    def further_boots(self) -> int | None:
        """Further boots a side after which a verdict is likely; 0 when decided, None when none would help."""
        if self.verdict is not Verdict.UNDECIDED:
            return 0
        return further_boots(self.contrast, math.log1p(self.margin), family=self.family, looks=self.looks)

    @cached_property
    def sentence(self) -> str:
        """The finding in plain words first, figures second."""
        from readoff.judge.sentence import in_words  # noqa: PLC0415 - the words know the finding

        return in_words(self)

    def as_dict(self) -> Mapping[str, object]:
        """All of it as plain values (JSON has no infinity: unlimited freedom is None)."""
        return {
            "metric": self.metric.name,
            "unit": self.metric.unit,
            "better": str(self.metric.better),
            "base": self.base_label,
            "other": self.other_label,
            "verdict": str(self.verdict),
            "extent": None if self.extent is None else str(self.extent),
            "sentence": self.sentence,
            "base_value": self.base_value,
            "other_value": self.other_value,
            "ratio": self.ratio,
            "interval95": [self.interval95.low, self.interval95.high],
            "interval90": [self.interval90.low, self.interval90.high],
            "rounding_alone": None if self.rounding is None else [self.rounding.low, self.rounding.high],
            "p": self.p,
            "p_adjusted": self.p_adjusted,
            "family": self.family,
            "looks": self.looks,
            "df": self.freedom if math.isfinite(self.freedom) else None,
            "method": "pooled" if self.pooled else "Welch",
            "margin": self.margin,
            "margin_declared": self.margin_declared,
            "below_resolution": self.below_resolution,
            "base_boots": self.base_boots,
            "other_boots": self.other_boots,
            "base_runs": list(self.base_runs),
            "other_runs": list(self.other_runs),
            "smallest_detectable": self.smallest_detectable,
            "further_boots": self.further_boots,
            "standing_out": [{"label": label, "boot": boot} for label, boot in self.standing_out],
            "notes": list(self.notes),
        }


def _exp(value: float) -> float:
    if abs(value) > 690:
        raise JudgeRefusal("the readings differ by more than a ratio can be written for")
    return math.exp(value)


def _ratios(span: Span) -> Span:
    return Span(_exp(span.low), _exp(span.high))
