"""A picture that the agent kept, as a file: its packed words, and its colours as far as the record tells them.

Colours (from memory, the hardware references of these adapters): a VGA's come by its palette registers from its DAC; in
modes 4 to 6 of a CGA or EGA by the colour select register; the palette of an EGA's planar modes can't be read, so the
sixteen that its BIOS sets are taken.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from typing import Any, Final

from readoff.contract.cells import unpack_cells
from readoff.errors import MalformedError
from readoff.readings.picture.frames import dac_palette, frame_octets, picture_of
from readoff.readings.picture.pixels import RGB, Picture

_LOW, _HIGH, _BROWN = 0xAA, 0x55, (0xAA, 0x55, 0)
_HEAD, _INFO = 14, 40  # octets: BITMAPFILEHEADER, BITMAPINFOHEADER
# Which palette register a pixel's value means, where it is not the value itself.
_REGISTER_OF: Final = {0x0F: (0, 1, 4, 5), 0x11: (0, 15)}
_MONO: Final = ((0, 0, 0), (0xAA, 0xAA, 0xAA), (0, 0, 0), (0xFF, 0xFF, 0xFF))


def kept_picture(head: Mapping[str, Any], packed: bytes) -> Picture:
    """The picture of a `picture` section and the octets of its picture_data.

    Raises MalformedError where they do not make the frame of its mode.
    """
    mode = f"{head['mode']:02X}h"
    if head["packing"] != "runs":
        raise MalformedError(
            f"the picture is packed in a way that this program does not know ({head['packing']})"
        )
    words = frame_octets(mode) // 2
    return picture_of(mode, unpack_cells(packed, words), colours_of(head))


def colours_of(head: Mapping[str, Any]) -> tuple[RGB, ...]:
    """The colours of the pixels' values. Raises MalformedError for registers or a DAC of another length."""
    mode, registers, dac = int(head["mode"]), bytes(head["registers"]), bytes(head["dac"])
    if mode == 0x13 and dac:
        return dac_palette(dac)
    if registers and dac:
        colours = dac_palette(dac)
        values = _REGISTER_OF.get(mode, range(_values_of(mode)))
        return tuple(colours[_dac_index(registers[each], head)] for each in values)
    if mode == 0x0F:
        return _MONO
    sixteen = tuple(_sixteen(code) for code in range(16))
    if mode in (4, 5, 6):
        return tuple(sixteen[code] for code in _of_colour_select(mode, int(head["colour_select"])))
    return tuple(sixteen[each] for each in _REGISTER_OF.get(mode, range(_values_of(mode))))


def _values_of(mode: int) -> int:
    return {4: 4, 5: 4, 6: 2}.get(mode, 16)


def _dac_index(register: int, head: Mapping[str, Any]) -> int:
    page = int(head["dac_page"])
    if int(head["dac_mode"]) & 1:
        return register & 0x0F | (page & 0x0F) << 4
    return register & 0x3F | (page & 3) << 6


def _sixteen(code: int) -> RGB:
    if code == 6:
        return _BROWN
    red, green, blue = (_LOW * (code >> bit & 1) + _HIGH * (code >> 3) for bit in (2, 1, 0))
    return red, green, blue


def _of_colour_select(mode: int, select: int) -> Sequence[int]:
    if mode == 6:
        return 0, select & 15
    bright = 8 if select & 0x10 else 0
    rest = (3, 4, 7) if mode == 5 else (3, 5, 7) if select & 0x20 else (2, 4, 6)
    return select & 15, *(code + bright for code in rest)


def bmp_of(picture: Picture) -> bytes:
    """A picture of indices as a BMP of 8 bits a pixel, bottom up; without a palette in greys.

    The indices stay what they were, so that rules about indices read them. Raises MalformedError for RGB pixels.
    """
    if not picture.indexed:
        raise MalformedError("only a picture of indices is made a file")
    palette = [*picture.palette] or [(grey, grey, grey) for grey in range(256)]
    palette += [(0, 0, 0)] * (256 - len(palette))
    colours = b"".join(bytes([blue, green, red, 0]) for red, green, blue in palette)
    stride = -(-picture.width // 4) * 4
    starts = range((picture.height - 1) * picture.width, -1, -picture.width)
    body = b"".join(picture.pixels[at : at + picture.width].ljust(stride, b"\0") for at in starts)
    start = _HEAD + _INFO + len(colours)
    head = struct.pack("<2sIHHI", b"BM", start + len(body), 0, 0, start)
    info = struct.pack("<IiiHHIIiiII", _INFO, picture.width, picture.height, 1, 8, 0, len(body), 0, 0, 256, 0)
    return head + info + colours + body
