"""Names from a file system as text that can be shown and stored."""

from __future__ import annotations


def printable(name: str) -> str:
    """A name whose control codes, and octets that are no text, are written as escapes."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in name)
