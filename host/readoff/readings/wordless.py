"""Captures that show no text, pictures and binary files: what each is, in words."""

from __future__ import annotations

from readoff.readings.picture.decoding import format_of
from readoff.readings.shown import Capture, CaptureKind

_ENDS_TEXT = b"\x1a"
_OF_TEXT = frozenset(b"\a\b\t\n\f\r\x1b")
_CONTROLS = bytes(code for code in range(32) if code not in _OF_TEXT)
_MOST_CONTROLS = 20  # one octet in so many may show a glyph of 01h to 1Fh, as arrows and hearts do in a text
_BEGINNING = 4


def wordless(capture: Capture) -> str:
    """What a capture is that shows no text, the same for all of its like: "a PNG picture"; "" for text.

    A file counts as text as far as DOS shows it, up to its first 1Ah; a 00h in there makes it binary, but for those
    that fill up its last sector.
    """
    octets = capture.octets
    if capture.kind is CaptureKind.PICTURE:
        return "a picture"
    if capture.kind is CaptureKind.PROBE:
        return "what the agent measured"
    if capture.kind is not CaptureKind.FILE or not octets:
        return ""
    if claimed := format_of(octets):
        return f"a {claimed} picture"
    text = octets.partition(_ENDS_TEXT)[0].rstrip(b"\0")
    odd = len(text) - len(text.translate(None, _CONTROLS))
    if text and 0 not in text and odd * _MOST_CONTROLS <= len(text):
        return ""
    return f"a binary file that begins with {octets[:_BEGINNING].hex(' ').upper()}"
