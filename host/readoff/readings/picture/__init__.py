"""Pictures of screens: numbers in cells, each cell matched with exactly one glyph or held. Opens no file."""

from readoff.readings.picture.way import picture_kind

__all__ = ["picture_kind"]
