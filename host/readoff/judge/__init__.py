"""The judge: from readings to findings. Pure: no clock, no file, no socket, no database.

``compare`` is the way in for two configurations and one metric; docs/judging.md tells how it judges.
"""

from readoff.judge.compare import compare
from readoff.judge.evidence import Better, Metric, Sample
from readoff.judge.finding import Extent, Finding, Verdict
from readoff.judge.resolution import Span

__all__ = ["Better", "Extent", "Finding", "Metric", "Sample", "Span", "Verdict", "compare"]
