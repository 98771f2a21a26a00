"""Reports: labels compared and studies judged with everything behind them, as plain values, and what is published of
them: a page, charts, tables, and a bundle to check it by (publication, writing).
"""

from readoff.reports.comparison import Comparison, compare_labels

__all__ = ["Comparison", "compare_labels"]
