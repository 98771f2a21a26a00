"""Captures to readings, by declared schemas: exact, explained, and held where they cannot be.

Opens nothing: schemas come in as text, captures as octets.
"""

from readoff.readings.loading import load_schemas
from readoff.readings.reading import Condition, Hold, Reading, Readout, Verdict
from readoff.readings.run import as_shown, explain, read_run
from readoff.readings.schema import Metric, Schema
from readoff.readings.shown import Capture, CaptureKind

__all__ = [
    "Capture",
    "CaptureKind",
    "Condition",
    "Hold",
    "Metric",
    "Reading",
    "Readout",
    "Schema",
    "Verdict",
    "as_shown",
    "explain",
    "load_schemas",
    "read_run",
]
