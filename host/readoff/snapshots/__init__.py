"""Snapshots: what the agent saw of a configuration, as named facts, and how two configurations differ. Pure."""

from readoff.snapshots.difference import (
    Difference,
    Disagreement,
    Snapshot,
    agreed,
    difference,
    measured_alike,
    same_label,
)
from readoff.snapshots.fact import Fact
from readoff.snapshots.facts import facts_of
from readoff.snapshots.measured import measured_of

__all__ = [
    "Difference",
    "Disagreement",
    "Fact",
    "Snapshot",
    "agreed",
    "difference",
    "facts_of",
    "measured_alike",
    "measured_of",
    "same_label",
]
