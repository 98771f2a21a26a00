"""Cells of a text screen, packed in runs (protocols/README.md, "Packed cells"). Pure."""

from __future__ import annotations

from typing import Final

from readoff.errors import MalformedError

CELL: Final = 2  # octets: character, attribute
_LITERAL_MOST: Final = 0x7F
_RUN_BASE: Final = 125


def unpack_cells(packed: bytes, cells: int) -> bytes:
    """Packed cells as they stood in text memory: character, attribute, … ``cells`` times.

    Raises MalformedError when the octets end within a piece or make another number of cells.
    """
    out = bytearray()
    at = 0
    while at < len(packed):
        control = packed[at]
        here = control + 1 if control <= _LITERAL_MOST else 1
        times = 1 if control <= _LITERAL_MOST else control - _RUN_BASE
        piece = packed[at + 1 : at + 1 + here * CELL]
        if len(piece) != here * CELL:
            raise MalformedError(f"the packed cells end within a piece, after {len(packed)} octets")
        out += piece * times
        if len(out) > cells * CELL:
            break
        at += 1 + here * CELL
    if len(out) != cells * CELL:
        raise MalformedError(f"the packed cells make {len(out) // CELL} or more, not {cells}")
    return bytes(out)
