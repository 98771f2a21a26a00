"""Octets in rows of sixteen, as numbers and as code page 437 shows them, with those of a reading marked."""

from __future__ import annotations

from dataclasses import dataclass

from readoff.contract.cp437 import glyphs

A_ROW = 16
A_PAGE = 32 * A_ROW


@dataclass(frozen=True)
class Octet:
    """One octet: two hexadecimal digits, its glyph, and whether the reading came from it."""

    digits: str
    glyph: str
    marked: bool


@dataclass(frozen=True)
class OctetRow:
    """Sixteen octets or the rest. at: offset of the first, in hexadecimal."""

    at: str
    octets: tuple[Octet, ...]


@dataclass(frozen=True)
class OctetPage:
    """Some octets of something longer. begin: offset of the first; total: how many there are in all."""

    rows: tuple[OctetRow, ...]
    begin: int
    total: int

    @property
    def before(self) -> int | None:
        """Where the page before begins."""
        return max(0, self.begin - A_PAGE) if self.begin else None

    @property
    def after(self) -> int | None:
        """Where the page after begins."""
        return self.begin + A_PAGE if self.begin + A_PAGE < self.total else None

    @property
    def end(self) -> int:
        """Offset behind the last."""
        return min(self.begin + A_PAGE, self.total)


def page_start(offset: int) -> int:
    """Where a page that shows an offset begins: two rows before it."""
    return max(0, offset - offset % A_ROW - 2 * A_ROW)


def octet_page(
    octets: bytes, begin: int, mark: tuple[int, int] = (0, 0), total: int | None = None
) -> OctetPage:
    """A page of octets. octets: all of them, or with total those from begin on. mark: begin and end in all."""
    part = octets[begin : begin + A_PAGE] if total is None else octets[:A_PAGE]
    rows = []
    for start in range(0, len(part), A_ROW):
        row = part[start : start + A_ROW]
        at = begin + start
        told = tuple(
            Octet(f"{octet:02X}", glyph, mark[0] <= at + i < mark[1])
            for i, (octet, glyph) in enumerate(zip(row, glyphs(row), strict=True))
        )
        rows.append(OctetRow(f"{at:05X}", told))
    return OctetPage(tuple(rows), begin, len(octets) if total is None else total)
