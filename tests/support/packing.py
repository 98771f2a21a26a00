"""Cells of a text screen in runs, as protocols/README.md describes them: a packer written from that text."""

from __future__ import annotations

from collections.abc import Sequence


def packed(cells: Sequence[bytes], literal: int = 128, run: int = 130) -> bytes:
    """Any packing that the contract allows: literals of at most ``literal`` cells, runs of at most ``run``."""
    out, at = bytearray(), 0
    while at < len(cells):
        alike = 1
        while at + alike < len(cells) and alike < run and cells[at + alike] == cells[at]:
            alike += 1
        if alike >= 3:
            out += bytes([alike + 125]) + cells[at]
            at += alike
        else:
            some = cells[at : at + literal]
            out += bytes([len(some) - 1]) + b"".join(some)
            at += len(some)
    return bytes(out)
