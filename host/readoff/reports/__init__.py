"""Reports: two labels compared with everything behind it, as plain values, as text, and as one page of HTML."""

from readoff.reports.comparison import Comparison, compare_labels
from readoff.reports.short import write_report, write_short_report

__all__ = ["Comparison", "compare_labels", "write_report", "write_short_report"]
