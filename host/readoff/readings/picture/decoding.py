"""Files of pictures to pictures: BMP, PCX, TIFF, GIF and PNG, through Pillow. Octets in, a picture out, no file opened.

A picture that is not certain is refused: damaged, cut short, with several frames or with pixels one can see through,
or stored with loss.
"""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING

from readoff.errors import MalformedError
from readoff.readings.picture.pixels import RGB, Picture, check_size

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFile import ImageFile

_GREYS = tuple((grey, grey, grey) for grey in range(256))
# Whatever else a TIFF may hold is stored with loss, or by a codec that few use and an attacker may.
_TIFF_WITHOUT_LOSS = ("raw", "packbits", "tiff_lzw", "tiff_deflate", "tiff_adobe_deflate", "group3", "group4")
_PCX_HEADER, _PCX_PALETTE = 128, 769
_PCX_VERSIONS = (0, 2, 3, 4, 5)
_PCX_RUN = 0xC0
_BMP_HEADER = 40
# What Pillow calls pixels of so many bits.
_BMP_PIXELS = {1: ("1", "P;1"), 4: ("P;4",), 8: ("P", "L")}
_FORMATS = ("BMP", "PCX", "TIFF", "GIF", "PNG")


def format_of(octets: bytes) -> str:
    """The format that the first octets claim ("BMP", "PCX", "TIFF", "GIF", "PNG"), or "" for no picture."""
    if octets.startswith((b"GIF87a", b"GIF89a")):
        return "GIF"
    if octets.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if octets.startswith((b"II*\0", b"MM\0*")):
        return "TIFF"
    # A BMP's header has a reserved double word of 0; without it, a text that begins with BM would be taken for one.
    if octets.startswith(b"BM") and octets[6:10] == bytes(4):
        return "BMP"
    if len(octets) >= _PCX_HEADER and octets[0] == 0x0A and octets[1] in _PCX_VERSIONS and octets[2] == 1:
        return "PCX"
    return ""


def decode(octets: bytes) -> Picture:
    """The picture that a file holds.

    Raises MalformedError for a file that is no picture, is damaged or cut short (with the octet where it ends), or
    does not say with certainty what every pixel is.
    """
    claimed = format_of(octets)
    if not claimed:
        raise MalformedError(f"the file is no picture in a format that is read ({', '.join(_FORMATS)})")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # what makes a decoder wonder is not certain
            warnings.simplefilter("ignore", DeprecationWarning)
            return _decoded(octets, claimed)
    except MalformedError:
        raise
    except Exception as error:  # octets from outside: a decoder may fail in any way
        raise MalformedError(
            f"the {claimed} is damaged or cut short ({_first_line(error)})",
            where=f"a file of {len(octets)} octets",
        ) from error


def _decoded(octets: bytes, claimed: str) -> Picture:
    from PIL import Image  # noqa: PLC0415 - loaded where a picture comes

    colours = 0
    if claimed == "BMP":
        octets, colours = _bmp_with_all_colours(octets)
    elif claimed == "PCX":
        _check_pcx(octets)
    if claimed == "PNG":
        with Image.open(io.BytesIO(octets), formats=[claimed]) as picture:
            check_size(*picture.size)
            picture.verify()  # the checks of all chunks, which loading leaves out
    with Image.open(io.BytesIO(octets), formats=[claimed]) as picture:
        check_size(*picture.size)
        if claimed == "TIFF" and picture.info.get("compression") not in _TIFF_WITHOUT_LOSS:
            raise MalformedError(f"a TIFF stored as {picture.info.get('compression')} is not read")
        if claimed == "GIF" and [tile.extents for tile in picture.tile] != [(0, 0, *picture.size)]:
            raise MalformedError(
                "the GIF's picture does not cover its screen: the rest has no certain colour"
            )
        if claimed == "BMP":
            _check_bmp_decoder(picture, octets)
        picture.load()
        made = _plain(picture, colours)
        if claimed in ("GIF", "TIFF", "PNG") and _has_second(picture):
            raise MalformedError(f"the {claimed} has several pictures: which one counts is not known")
        return made


def _plain(picture: Image, colours: int) -> Picture:
    """A loaded picture of Pillow's as ours. colours: how many of its palette count, 0 for all."""
    width, height = picture.size
    if picture.info.get("transparency") is not None or picture.mode in ("RGBA", "LA", "PA"):
        alpha = picture.convert("RGBA").getchannel("A")
        if alpha.getextrema() != (255, 255):
            raise MalformedError("some pixels can be seen through: what colour they show is not known")
    if picture.mode == "1":
        return Picture(
            width, height, picture.convert("L").tobytes().replace(b"\xff", b"\1"), (_GREYS[0], _GREYS[255])
        )
    if picture.mode == "P":
        palette = _palette(picture)
        return Picture(width, height, picture.tobytes(), palette[:colours] if colours else palette)
    if picture.mode == "L":
        return Picture(width, height, picture.tobytes(), _GREYS)
    if picture.mode in ("RGB", "RGBA", "LA", "PA"):
        return Picture(width, height, picture.convert("RGB").tobytes())
    raise MalformedError(f"pixels of the form {picture.mode} are not read")


def _palette(picture: Image) -> tuple[RGB, ...]:
    values = picture.getpalette("RGB") or []
    return tuple((values[at], values[at + 1], values[at + 2]) for at in range(0, len(values) - 2, 3))


def _has_second(picture: Image) -> bool:
    try:
        picture.seek(1)
    except EOFError:
        return False
    return True


def _bmp_with_all_colours(octets: bytes) -> tuple[bytes, int]:
    """A BMP that claims all the colours its bits allow, and how many it claimed before; 0 for all.

    A BMP says how long it is; a file that ends before is cut short, whatever the decoder makes of it. And where it has
    fewer colours than its bits allow, Pillow takes a palette of black and white for a sign of one bit a pixel.
    """
    due = int.from_bytes(octets[2:6], "little")
    if len(octets) < due:
        raise _cut_short("BMP", len(octets), f"should have {due}")
    header, bits = int.from_bytes(octets[14:18], "little"), int.from_bytes(octets[28:30], "little")
    colours = int.from_bytes(octets[46:50], "little")
    if header < _BMP_HEADER or bits not in (4, 8) or not 0 < colours < 1 << bits:
        return octets, 0
    return octets[:46] + (1 << bits).to_bytes(4, "little") + octets[50:], colours


def _check_bmp_decoder(picture: ImageFile, octets: bytes) -> None:
    """Whether Pillow is about to read pixels of as many bits as the BMP has."""
    header = int.from_bytes(octets[14:18], "little")
    at = 28 if header >= _BMP_HEADER else 24
    bits = int.from_bytes(octets[at : at + 2], "little")
    for tile in picture.tile:
        args = tile.args if isinstance(tile.args, tuple) else (tile.args,)
        if tile.codec_name == "raw" and args[0] not in _BMP_PIXELS.get(bits, (args[0],)):
            raise MalformedError(f"a BMP of {bits} bits with these colours is not read")


def _check_pcx(octets: bytes) -> None:
    """The runs of a PCX must fill its rows; its 256 colours must then follow, where it has them, and nothing else.

    A decoder looks for them at the end of the file, and takes greys where it does not find them.
    """
    x0, y0, x1, y1 = (int.from_bytes(octets[at : at + 2], "little") for at in range(4, 12, 2))
    check_size(x1 - x0 + 1, y1 - y0 + 1)
    bits, planes, row = octets[3], octets[65], int.from_bytes(octets[66:68], "little")
    wanted, at = planes * row * (y1 - y0 + 1), _PCX_HEADER
    while wanted > 0:
        if at >= len(octets):
            raise _cut_short("PCX", len(octets), f"lacks {wanted} octets of pixels")
        is_run = octets[at] >= _PCX_RUN
        wanted -= octets[at] - _PCX_RUN if is_run else 1
        at += 2 if is_run else 1
    if (
        bits == 8
        and planes == 1
        and not (octets[at : at + 1] == b"\x0c" and len(octets) - at == _PCX_PALETTE)
    ):
        raise _cut_short("PCX", len(octets), f"should have {_PCX_PALETTE} octets of colours after octet {at}")


def _cut_short(what: str, length: int, due: str) -> MalformedError:
    return MalformedError(
        f"the {what} is damaged or cut short: it ends at octet {length}, but {due}", where=f"octet {length}"
    )


def _first_line(error: Exception) -> str:
    from PIL import Image, UnidentifiedImageError  # noqa: PLC0415

    if isinstance(error, UnidentifiedImageError):
        return "its header does not fit"
    if isinstance(error, (Image.DecompressionBombError, Image.DecompressionBombWarning)):
        return "it claims to be too large"
    return f"{str(error).splitlines()[0]:.100}" if str(error).strip() else type(error).__name__
