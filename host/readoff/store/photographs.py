"""Photographs from outside, made harmless: only kinds that are known, decoded and written anew, without what they tell.

What is kept is never what came: the points of the picture are decoded (Pillow) and written into a new file. So nothing
else that lay in the file (the place where it was taken, the camera's serial number, a script, a second file behind the
first) can come back. Pure.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING

from readoff.errors import MalformedError, UsageError

if TYPE_CHECKING:
    from PIL import Image

MOST_OCTETS = 24 << 20
"""Of a photograph as it comes."""
MOST_POINTS = 64_000_000
"""Of a JPEG as it comes: more than any telephone's usual setting; it is made smaller while it is decoded."""
MOST_POINTS_WHOLE = 24_000_000
"""Of another kind, which is decoded whole first."""
LONGEST_SIDE = 2400
"""Points of the longer side of what is kept: a jumper's print stays legible, and the store stays small."""
KINDS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
"""What is taken, by Pillow's name and as browsers name it."""
_QUALITY = 88


@dataclass(frozen=True)
class Photograph:
    """A picture that is safe to keep and to show. kind: its media type. sha256: of its octets."""

    octets: bytes
    kind: str
    width: int
    height: int

    @property
    def sha256(self) -> str:
        """Its address in a store."""
        return hashlib.sha256(self.octets).hexdigest()


def clean(octets: bytes, where: str = "") -> Photograph:
    """A photograph as it may be kept: turned upright, at most LONGEST_SIDE points long, points and nothing else.

    JPEG and WebP become JPEG; PNG stays PNG, so that the letters of a screen stay sharp. where: for the error.
    Raises UsageError where it is too large, of another kind, or not whole.
    """
    from PIL import Image, ImageOps  # noqa: PLC0415 - only who brings a photograph waits for it

    if len(octets) > MOST_OCTETS:
        raise _refused(f"a photograph may have {MOST_OCTETS >> 20} MiB, and this has more", where)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore"
            )  # of faulty tags, which are left out; MOST_POINTS is our own bound
            with Image.open(io.BytesIO(octets), formats=tuple(KINDS)) as picture:
                kind = str(picture.format)
                most = MOST_POINTS if kind == "JPEG" else MOST_POINTS_WHOLE
                if picture.width * picture.height > most:
                    raise _refused(
                        f"a {kind} may have {most // 1_000_000} million points, and this has "
                        f"{picture.width} × {picture.height}",
                        where,
                    )
                picture.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # decodes a large JPEG in less memory
                upright = ImageOps.exif_transpose(picture)
                upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
                bare = _bare(upright)
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise _refused(
            "this is no whole photograph of a kind that is taken (JPEG, PNG, WebP)", where
        ) from error
    written = io.BytesIO()
    if kind == "PNG":
        bare.save(written, "PNG", optimize=True)
    else:
        bare.save(written, "JPEG", quality=_QUALITY)
    return Photograph(written.getvalue(), KINDS["PNG" if kind == "PNG" else "JPEG"], bare.width, bare.height)


def _bare(picture: Image.Image) -> Image.Image:
    """Its points alone, on white where it is transparent: no text, profile or other chunk comes along."""
    from PIL import Image  # noqa: PLC0415

    bare = Image.new("RGB", picture.size, "white")
    if "A" in picture.getbands() or "transparency" in picture.info:
        layer = picture.convert("RGBA")
        bare.paste(layer, mask=layer.getchannel("A"))
    else:
        bare.paste(picture.convert("RGB"))
    return bare


def _refused(what: str, where: str) -> UsageError:
    return UsageError(what, where=where, next_step="Nothing was kept. A telephone's own JPEG will do.")


def check_kept(octets: bytes, kind: str, size: tuple[object, object], where: str) -> None:
    """Raises MalformedError where octets from outside are no whole photograph of this kind and size."""
    from PIL import Image  # noqa: PLC0415

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(octets), formats=("JPEG", "PNG")) as picture:
                fits = KINDS[str(picture.format)] == kind and picture.size == size
                if fits and max(picture.size) <= LONGEST_SIDE:
                    picture.load()
                    return
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise MalformedError("this is no whole photograph", where=where) from error
    raise MalformedError("this photograph is not what it is said to be", where=where)
