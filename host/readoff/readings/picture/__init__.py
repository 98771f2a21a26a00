"""Pictures of screens: numbers in cells, each cell matched with exactly one glyph or held. Opens no file."""
