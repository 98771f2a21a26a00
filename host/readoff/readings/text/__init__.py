"""Text schemas: numbers in lines, found by patterns."""

from readoff.readings.text.way import TEXT

__all__ = ["TEXT"]
