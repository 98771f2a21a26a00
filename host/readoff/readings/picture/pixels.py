"""A picture as plain data: what decoding gives and reading takes."""

from __future__ import annotations

from dataclasses import dataclass

from readoff.errors import MalformedError

RGB = tuple[int, int, int]

# Beyond these a picture is a mistake or an attack on the reader's memory. No display adapter of the time shows more.
LARGEST_SIDE = 4096
MOST_PIXELS = 4_000_000


@dataclass(frozen=True)
class Picture:
    """A picture of width × height pixels, row by row from the top left.

    pixels: one octet a pixel, an index into the palette; or three, red, green and blue (0 to 255 each).
    palette: the colours of the indices; () for RGB, and for indices whose colours are not known.

    Raises MalformedError where these do not fit together, or the picture is too large.
    """

    width: int
    height: int
    pixels: bytes
    palette: tuple[RGB, ...] = ()

    def __post_init__(self) -> None:
        check_size(self.width, self.height)
        area = self.width * self.height
        if len(self.pixels) not in (area, 3 * area):
            raise MalformedError(
                f"{self.width} × {self.height} pixels take {area} or {3 * area} octets, not {len(self.pixels)}"
            )
        if self.palette and not self.indexed:
            raise MalformedError("a picture of red, green and blue has no palette")
        if self.palette and max(self.pixels) >= len(self.palette):
            at = next(at for at, index in enumerate(self.pixels) if index >= len(self.palette))
            raise MalformedError(
                f"colour {self.pixels[at]} is not among the {len(self.palette)} of the palette",
                where=f"pixel ({at % self.width}, {at // self.width})",
            )

    @property
    def indexed(self) -> bool:
        """Whether the pixels are indices."""
        return len(self.pixels) == self.width * self.height

    def block(self, x: int, y: int, width: int, height: int) -> bytes | list[bytes]:
        """The pixels of a rectangle within the picture, row by row: indices, or three octets each."""
        if self.indexed:
            return b"".join(
                self.pixels[row * self.width + x : row * self.width + x + width]
                for row in range(y, y + height)
            )
        starts = (3 * (row * self.width + x) for row in range(y, y + height))
        return [self.pixels[at : at + 3] for start in starts for at in range(start, start + 3 * width, 3)]


def pixels(count: int) -> str:
    """So many pixels, in words."""
    return f"{count} pixel{'' if count == 1 else 's'}"


def check_size(width: int, height: int) -> None:
    """Raises MalformedError for a picture without pixels or with too many."""
    if width < 1 or height < 1:
        raise MalformedError(f"a picture of {width} × {height} pixels shows nothing")
    if max(width, height) > LARGEST_SIDE or width * height > MOST_PIXELS:
        raise MalformedError(
            f"a picture of {width} × {height} pixels is too large",
            next_step=f"At most {LARGEST_SIDE} a side and {MOST_PIXELS} in all are read.",
        )
