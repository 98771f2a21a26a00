"""Photographs as a telephone would make them, with a place in them, and files that only claim to be one."""

from __future__ import annotations

import io

from PIL import Image, PngImagePlugin

MAKE, GPS = 0x010F, 0x8825
SECRET = b"window.hit = 7"


def photograph(kind: str = "JPEG", size: tuple[int, int] = (640, 480), *, orientation: int = 1) -> bytes:
    """Red on the left, blue on the right, with a maker, a place (TIFF tags of Exif 2.3) and a script behind the end."""
    picture = Image.new("RGB", size, (0, 0, 200))
    picture.paste((200, 0, 0), (0, 0, size[0] // 2, size[1]))
    exif = Image.Exif()
    exif[MAKE], exif[0x0112] = "A maker", orientation
    exif[GPS] = {1: "N", 2: (48.0, 12.0, 30.0), 3: "E", 4: (11.0, 30.0, 0.0)}
    written = io.BytesIO()
    more: dict[str, object] = {"exif": exif}
    if kind == "PNG":
        told = PngImagePlugin.PngInfo()
        told.add_text("Comment", "<script>" + SECRET.decode() + "</script>")
        more["pnginfo"] = told
    if kind == "JPEG":
        more["comment"] = b"<script>" + SECRET + b"</script>"
    picture.save(written, kind, **more)
    return written.getvalue() + b"<script>" + SECRET + b"</script>"
