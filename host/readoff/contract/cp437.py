"""Code page 437, as on a screen and as on paper.

The 256 codes are Python's ``cp437`` (equal to the Unicode consortium's CP437.TXT); on a screen the codes
00h-1Fh and 7Fh show glyphs, which that table leaves out.
"""

from __future__ import annotations

from readoff.errors import ContractError

# Unicode of the screen glyphs for 01h-1Fh; 00h shows a blank.
_LOW_GLYPHS = (
    " \u263a\u263b\u2665\u2666\u2663\u2660\u2022\u25d8\u25cb\u25d9\u2642\u2640\u266a\u266b\u263c"
    "\u25ba\u25c4\u2195\u203c\u00b6\u00a7\u25ac\u21a8\u2191\u2193\u2192\u2190\u221f\u2194\u25b2\u25bc"
)
_GLYPHS = (
    _LOW_GLYPHS
    + bytes(range(0x20, 0x7F)).decode("cp437")
    + "\u2302"
    + bytes(range(0x80, 0x100)).decode("cp437")
)


def decode(octets: bytes) -> str:
    """Octets as text; control codes stay control characters. Never fails."""
    return octets.decode("cp437")


def encode(text: str) -> bytes:
    """Text as octets. Raises ContractError naming a character that the code page lacks."""
    try:
        return text.encode("cp437")
    except UnicodeEncodeError as error:
        lacking = text[error.start]
        raise ContractError(
            f"code page 437 has no {lacking!r}", where=f"character {error.start + 1}"
        ) from error


def glyphs(octets: bytes) -> str:
    """Octets as the characters that a text screen shows, one for each octet. Never fails."""
    return "".join(map(_GLYPHS.__getitem__, octets))
