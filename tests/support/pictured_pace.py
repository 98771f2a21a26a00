"""A picture of two lines of a program, the schema that reads it, and what comes of reading."""

from __future__ import annotations

from collections.abc import Sequence

from readoff.readings import Capture, CaptureKind, Readout, Schema, as_shown, read_run
from support.drawn_pictures import CHAMFER, grid, load, schema_text

FONT = CHAMFER[8, 16]
LINES = ["Mill 1.2", "Pace: 84.70"]
ROWS = grid(LINES, FONT, 20)
SCHEMAS = load(schema_text())


def read(octets: bytes, schemas: Sequence[Schema] = SCHEMAS, *, name: str = "C:\\SCREEN.BMP") -> Readout:
    """What the schemas make of a picture file."""
    return read_run([Capture(CaptureKind.FILE, octets, name=name)], schemas)


def values(readout: Readout) -> list[str]:
    """Its numbers as one shows them."""
    return [as_shown(reading) for reading in readout.readings]


def held(readout: Readout) -> str:
    """Why nothing was read."""
    assert readout.readings == ()
    (hold,) = readout.holds
    return hold.reason
