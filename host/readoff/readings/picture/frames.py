"""Raw frames: the video memory of a display adapter as it lies there, unpacked to a picture.

    mode        pixels      octets     layout
    04h, 05h    320 × 200   16,384     two banks: even rows from 0, odd rows from 2000h; 2 bits a pixel
    06h         640 × 200   16,384     the same banks; 1 bit a pixel
    0Dh         320 × 200   4 × 8,000  four planes, one after the other; plane n is bit n of the colour
    0Eh         640 × 200   4 × 16,000
    0Fh         640 × 350   2 × 28,000 planes 0 and 2 of the adapter (monochrome)
    10h         640 × 350   4 × 28,000
    12h         640 × 480   4 × 38,400
    11h         640 × 480   38,400     one plane
    13h         320 × 200   64,000     an octet a pixel

The leftmost pixel is in the highest bits. (Layouts: the IBM hardware reference for these adapters; from memory.)
A plane must be read with the adapter set to it; a frame here has its planes already apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from readoff.errors import MalformedError
from readoff.readings.picture.pixels import RGB, Picture

_BANK = 0x2000
DAC_OCTETS = 768


@dataclass(frozen=True)
class _Layout:
    """How one mode lies in memory. planes: 0 for packed pixels of `bits` bits."""

    width: int
    height: int
    bits: int
    planes: int = 0
    banked: bool = False

    @property
    def octets(self) -> int:
        row = self.width * self.bits // 8
        return 2 * _BANK if self.banked else row * self.height * (self.planes or 1)


_LAYOUTS = {
    "04h": _Layout(320, 200, 2, banked=True),
    "05h": _Layout(320, 200, 2, banked=True),
    "06h": _Layout(640, 200, 1, banked=True),
    "0Dh": _Layout(320, 200, 1, 4),
    "0Eh": _Layout(640, 200, 1, 4),
    "0Fh": _Layout(640, 350, 1, 2),
    "10h": _Layout(640, 350, 1, 4),
    "11h": _Layout(640, 480, 1),
    "12h": _Layout(640, 480, 1, 4),
    "13h": _Layout(320, 200, 8),
}
MODES = tuple(_LAYOUTS)


def frame_octets(mode: str) -> int:
    """Octets of a frame of one of MODES."""
    return _LAYOUTS[mode].octets


def picture_of(mode: str, octets: bytes, palette: Sequence[RGB] = ()) -> Picture:
    """The picture that video memory shows in a mode, named as in MODES ("13h").

    palette: the colours, () where they are not known. Raises MalformedError for a mode that is not in the table, and
    for another number of octets than it has.
    """
    layout = _LAYOUTS.get(mode)
    if layout is None:
        raise MalformedError(f"mode {mode} is not known", next_step=f"Known are {', '.join(MODES)}.")
    if len(octets) != layout.octets:
        raise MalformedError(f"a frame of mode {mode} has {layout.octets} octets, not {len(octets)}")
    if layout.planes:
        size = len(octets) // layout.planes
        planes = [_spread(octets[at : at + size], 1) for at in range(0, len(octets), size)]
        pixels = bytes(
            sum(bit << plane for plane, bit in enumerate(bits)) for bits in zip(*planes, strict=True)
        )
    else:
        pixels = _spread(_unbanked(octets, layout) if layout.banked else octets, layout.bits)
    return Picture(layout.width, layout.height, pixels, tuple(palette))


def dac_palette(octets: bytes) -> tuple[RGB, ...]:
    """The 256 colours of a VGA's DAC: three octets each of six bits, v to (v << 2) | (v >> 4).

    Raises MalformedError for another length, and for a value above 63.
    """
    if len(octets) != DAC_OCTETS:
        raise MalformedError(f"the colours of a DAC take {DAC_OCTETS} octets, not {len(octets)}")
    if max(octets) > 63:
        at = next(at for at, value in enumerate(octets) if value > 63)
        raise MalformedError(f"{octets[at]} is more than six bits", where=f"octet {at} of the DAC's colours")
    wide = [value << 2 | value >> 4 for value in octets]
    return tuple((wide[at], wide[at + 1], wide[at + 2]) for at in range(0, DAC_OCTETS, 3))


def _unbanked(octets: bytes, layout: _Layout) -> bytes:
    row = layout.width * layout.bits // 8
    starts = ((y >> 1) * row + (y & 1) * _BANK for y in range(layout.height))
    return b"".join(octets[start : start + row] for start in starts)


def _spread(octets: bytes, bits: int) -> bytes:
    """Pixels packed from the high end, one octet for each."""
    if bits == 8:
        return octets
    mask = (1 << bits) - 1
    spread = [bytes(code >> shift & mask for shift in range(8 - bits, -1, -bits)) for code in range(256)]
    return b"".join(spread[code] for code in octets)
