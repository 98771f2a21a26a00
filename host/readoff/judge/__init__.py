"""The judge: from readings to findings. Pure: no clock, no file, no socket, no database.

``compare`` is the way in for two configurations and one metric, ``judge_study`` for a whole study;
docs/judging.md tells how it judges.
"""

from readoff.judge.compare import DEFAULT_MARGIN, compare
from readoff.judge.drift import Drift, drift, effective_count, lag1, took_turns
from readoff.judge.evidence import Better, Metric, Sample
from readoff.judge.fieller import fieller
from readoff.judge.finding import Extent, Finding, Verdict
from readoff.judge.levels import TwoLevels, from_summaries, pooled_levels, two_levels
from readoff.judge.outliers import Suspect, farthest, largest_g
from readoff.judge.overall import geometric_mean, overall, weighted_harmonic_mean
from readoff.judge.power import boots_to_clear, boots_to_detect, smallest_detectable
from readoff.judge.resolution import Span
from readoff.judge.several import Refused, StudyFindings, as_family, holm, judge_study
from readoff.judge.t_test import Summary, TTest, summarise, t_test
from readoff.judge.targets import TargetResult, against_target
from readoff.judge.worth import Offer, Worth, weigh

__all__ = [
    "DEFAULT_MARGIN",
    "Better",
    "Drift",
    "Extent",
    "Finding",
    "Metric",
    "Offer",
    "Refused",
    "Sample",
    "Span",
    "StudyFindings",
    "Summary",
    "Suspect",
    "TTest",
    "TargetResult",
    "TwoLevels",
    "Verdict",
    "Worth",
    "against_target",
    "as_family",
    "boots_to_clear",
    "boots_to_detect",
    "compare",
    "drift",
    "effective_count",
    "farthest",
    "fieller",
    "from_summaries",
    "geometric_mean",
    "holm",
    "judge_study",
    "lag1",
    "largest_g",
    "overall",
    "pooled_levels",
    "smallest_detectable",
    "summarise",
    "t_test",
    "took_turns",
    "two_levels",
    "weigh",
    "weighted_harmonic_mean",
]
