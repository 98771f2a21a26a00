"""Captured pictures as PNG files of our own making: what came is decoded to points, and only those are written."""

from __future__ import annotations

import io

from readoff.errors import MalformedError, UsageError
from readoff.readings.picture.decoding import decode, format_of
from readoff.readings.picture.pixels import Picture
from readoff.readings.shown import Capture, CaptureKind
from readoff.store import Store, find


def is_picture(capture: Capture) -> bool:
    """Whether a capture is the frame of a graphics mode, or a file that claims to be a picture we can decode."""
    return capture.kind in (CaptureKind.FILE, CaptureKind.PICTURE) and bool(format_of(capture.octets))


def picture_png(store: Store, name: str, position: int) -> bytes:
    """The picture of one capture of a run. Raises UsageError where there is none, or it cannot be decoded."""
    full = find.run_in_full(store, name)
    taken = next((each for each in full.captures if each.position == position), None)
    if taken is None or not is_picture(taken.capture):
        raise UsageError(f"run {full.run.number} has no picture {position}")
    try:
        return png_of(decode(taken.capture.octets))
    except MalformedError as error:
        raise UsageError(f"the picture cannot be shown: {error.what}") from error


def png_of(picture: Picture) -> bytes:
    """A picture as a PNG file, point for point. Indices without known colours become greys."""
    from PIL import Image  # noqa: PLC0415 - only where a picture is shown

    size = picture.width, picture.height
    if not picture.indexed:
        image = Image.frombytes("RGB", size, picture.pixels)
    else:
        image = Image.frombytes("P", size, picture.pixels)
        image.putpalette([part for colour in picture.palette or _greys(picture) for part in colour])
    written = io.BytesIO()
    image.save(written, "PNG")
    return written.getvalue()


def _greys(picture: Picture) -> list[tuple[int, int, int]]:
    most = max(picture.pixels) or 1
    return [(255 * index // most,) * 3 for index in range(most + 1)]
