"""Which captures are alike: the same text but for its numbers. For counting what nothing recognises yet."""

from __future__ import annotations

import re

from readoff.readings.shown import Capture, show
from readoff.readings.wordless import wordless

_NUMBER = re.compile(r"[0-9]+(?:[.,:'][0-9]+)*")
_BLANKS = re.compile(r" +")


def likeness(capture: Capture) -> str:
    """A capture's text with every number folded to "0", runs of blanks to one, and without blank lines.

    Two captures are alike when these are equal; "" for one that shows nothing. How many octets it took, where it
    stood and what colour it had do not count. A picture and a binary file are known by their sort.
    """
    if sort := wordless(capture):
        return sort
    lines = (_BLANKS.sub(" ", _NUMBER.sub("0", line.text)).strip() for line in show(capture).lines)
    return "\n".join(line for line in lines if line)
