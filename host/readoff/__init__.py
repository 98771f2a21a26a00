"""Readoff: captures what programs on old PCs report and compares configurations honestly."""

__version__ = "0.1.0"
