"""Feeds octets to a deframer in several ways: each must come to the same."""

from __future__ import annotations

from collections.abc import Iterator

from readoff.link.framing import FCS32, Deframer, Fcs, Frame, Skipped, frame

TRAILER = b"no frame at all"


def fed(
    octets: bytes, step: int, *, accm: int = 0, fcs: Fcs = FCS32, limit: int = 1100
) -> list[Frame | Skipped]:
    """What comes out of octets that are fed ``step`` at a time; neighbouring skips for one reason are one."""
    deframer = Deframer(limit, accm, fcs)
    out: list[Frame | Skipped] = []
    for at in range(0, len(octets), step):
        for item in deframer.feed(octets[at : at + step]):
            last = out[-1] if out else None
            if isinstance(item, Skipped) and isinstance(last, Skipped) and item.why == last.why:
                out[-1] = Skipped(last.octets + item.octets, (last.sample + item.sample)[:16], item.why)
            else:
                out.append(item)
    return out


def fed_whole_bytewise_and_with_more(
    octets: bytes, *, accm: int = 0, fcs: Fcs = FCS32
) -> Iterator[list[Frame | Skipped]]:
    """Three ways: in one piece, octet by octet, and followed by noise and another frame (taken off again)."""
    yield fed(octets, len(octets), accm=accm, fcs=fcs)
    yield fed(octets, 1, accm=accm, fcs=fcs)
    more = octets + TRAILER + frame(b"another", accm=accm, fcs=fcs)
    items = fed(more, len(more), accm=accm, fcs=fcs)
    skipped, another = items[-2:]
    assert isinstance(skipped, Skipped)
    assert (skipped.octets, another) == (len(TRAILER), Frame(b"another"))
    yield items[:-2]
