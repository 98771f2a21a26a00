"""Charts from plain values: one look, three files each. What is drawn is told by the dataclasses of each module."""

from readoff.reports.charts.boots import Boot, Boots, BootsOf, boots_chart
from readoff.reports.charts.colours import CLEAR, PAPER, Look, contrast
from readoff.reports.charts.drawing import Drawn, drawn
from readoff.reports.charts.ratios import Ratio, Ratios, ratio_chart
from readoff.reports.charts.staircase import Level, Stair, Staircase, staircase_chart
from readoff.reports.charts.targets import TargetLine, Targets, target_chart
from readoff.reports.charts.worth import Offered, WorthData, worth_chart

__all__ = [
    "CLEAR",
    "PAPER",
    "Boot",
    "Boots",
    "BootsOf",
    "Drawn",
    "Level",
    "Look",
    "Offered",
    "Ratio",
    "Ratios",
    "Stair",
    "Staircase",
    "TargetLine",
    "Targets",
    "WorthData",
    "boots_chart",
    "contrast",
    "drawn",
    "ratio_chart",
    "staircase_chart",
    "target_chart",
    "worth_chart",
]
