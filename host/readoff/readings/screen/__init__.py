"""Screen schemas: numbers by where they stand on a text screen, beside which label, in which colour."""

from readoff.readings.screen.way import SCREEN

__all__ = ["SCREEN"]
