"""Files of pictures decoded exactly or refused: every format, cut at every octet, and what is not certain."""

import random
import struct
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from readoff.errors import MalformedError
from readoff.readings.picture.decoding import decode, format_of
from readoff.readings.picture.pixels import Picture
from support.drawn_pictures import CHAMFER, FORMATS, INK, PALETTE, bmp4, grid, image, pcx4, png, saved

ROWS = grid(["42.5 r/s"], CHAMFER[8, 8])


def colours(picture):
    """Every pixel as red, green and blue."""
    if not picture.indexed:
        return [tuple(picture.pixels[at : at + 3]) for at in range(0, len(picture.pixels), 3)]
    return [picture.palette[index] for index in picture.pixels]


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_gives_the_pixels_that_were_drawn(name):
    picture = decode(FORMATS[name](ROWS))
    assert (picture.width, picture.height) == (64, 8)
    assert colours(picture) == [PALETTE[index] for row in ROWS for index in row]
    assert picture.indexed == ("24" not in name)


@pytest.mark.parametrize("name", FORMATS)
def test_a_file_cut_anywhere_is_refused_or_shows_the_same(name):
    octets = FORMATS[name](ROWS)
    whole = decode(octets)
    for end in range(len(octets)):
        try:
            picture = decode(octets[:end])
        except MalformedError as error:
            assert error.what
            continue
        assert picture == whole, end
    with pytest.raises(MalformedError, match=r"cut short|header|no picture"):
        decode(octets[: len(octets) // 2])


@pytest.mark.parametrize(("make", "name"), [(bmp4, "BMP"), (pcx4, "PCX")])
def test_where_a_file_ends_too_early_is_told(make, name):
    octets = make(ROWS)[:-5]
    with pytest.raises(
        MalformedError, match=f"{name} is damaged or cut short: it ends at octet {len(octets)}"
    ) as told:
        decode(octets)
    assert told.value.where == f"octet {len(octets)}"


def test_the_colours_of_a_pcx_are_not_guessed():
    # A decoder that misses them at the end of the file takes greys.
    octets = FORMATS["PCX 8"](ROWS)
    for wrong in (octets[:-1], octets + b"\0", octets[:-769] + b"\x0d" + octets[-768:]):
        with pytest.raises(MalformedError, match="769 octets of colours"):
            decode(wrong)


def test_bits_of_all_depths_in_random_pictures():
    chance = random.Random(7)
    rows = [[chance.randrange(16) for _ in range(37)] for _ in range(11)]
    wanted = [PALETTE[index] for row in rows for index in row]
    for name in (
        "BMP 4",
        "BMP 8",
        "BMP 24",
        "PCX 4 planes",
        "PCX 8",
        "PCX 24",
        "TIFF 8",
        "GIF",
        "PNG 8",
        "PNG 24",
    ):
        assert colours(decode(FORMATS[name](rows))) == wanted, name


def _bmp_of(bits, palette, rows, claimed):
    """A BMP by hand (BITMAPINFOHEADER; from memory), with so many colours claimed."""
    width, height = len(rows[0]), len(rows)
    stride = (width * bits + 31) // 32 * 4
    body = b""
    for row in reversed(rows):
        packed = "".join(f"{index:0{bits}b}" for index in row).ljust(stride * 8, "0")
        body += int(packed, 2).to_bytes(stride, "big")
    colours = b"".join(bytes([blue, green, red, 0]) for red, green, blue in palette)
    start = 54 + len(colours)
    head = struct.pack("<2sIHHI", b"BM", start + len(body), 0, 0, start)
    return (
        head
        + struct.pack("<IiiHHIIiiII", 40, width, height, 1, bits, 0, 0, 0, 0, claimed, 0)
        + colours
        + body
    )


@pytest.mark.parametrize("bits", [1, 4, 8])
@pytest.mark.parametrize(
    "palette", [((0, 0, 0), (255, 255, 255)), ((255, 255, 255), (0, 0, 0)), ((9, 9, 9), (1, 2, 3))]
)
def test_a_bmp_of_two_colours_is_what_its_bits_say(bits, palette):
    chance = random.Random(bits)
    rows = [[chance.randrange(2) for _ in range(19)] for _ in range(5)]
    picture = decode(_bmp_of(bits, palette, rows, 2))
    assert list(picture.pixels) == [index for row in rows for index in row]
    assert colours(picture) == [palette[index] for row in rows for index in row]


def test_a_bmp_with_an_index_beyond_its_colours_is_refused():
    with pytest.raises(MalformedError, match="colour 2 is not among the 2 of the palette"):
        decode(_bmp_of(4, [(0, 0, 0), (255, 255, 255)], [[0, 1, 2]], 2))


def _png_of(width, height, depth, colour, data):
    """A PNG written by hand (PNG specification, W3C, section 5: chunks of length, type, data, CRC-32)."""

    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(data))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    ("octets", "told"),
    [
        (_png_of(60000, 60000, 1, 0, b""), "it claims to be too large"),
        (_png_of(4096, 4096, 1, 0, b""), "4096 × 4096 pixels is too large"),
        (_png_of(4097, 1, 1, 0, b""), "too large"),
        (_png_of(2, 1, 16, 0, b"\0\1\2\3\4"), "pixels of the form I;16 are not read"),
        (b"GIF89a", "GIF is damaged or cut short"),
        (b"", "no picture"),
        (b"\n", "no picture"),
        (b"BM", "no picture"),
        (b"BMX prints 72.9 frames/s", "no picture"),
        (b"Rate: 72.9 frames/s\r\n", "no picture"),
    ],
)
def test_what_cannot_be_a_picture_is_refused(octets, told):
    with pytest.raises(MalformedError, match=told):
        decode(octets)


def test_what_is_not_certain_is_refused():
    animated = image(ROWS)
    for form, more in (
        ("GIF", {"save_all": True}),
        ("TIFF", {"save_all": True}),
        ("PNG", {"save_all": True}),
    ):
        octets = saved(animated, form, append_images=[image(grid(["43.5 r/s"], CHAMFER[8, 8]))], **more)
        with pytest.raises(MalformedError, match="several pictures"):
            decode(octets)
    for form in ("PNG", "GIF"):
        with pytest.raises(MalformedError, match="seen through"):
            decode(saved(image(ROWS), form, transparency=INK))
    with pytest.raises(MalformedError, match="seen through"):
        decode(saved(Image.new("RGBA", (8, 8), (255, 255, 255, 128)), "PNG"))
    assert decode(saved(Image.new("RGBA", (8, 8), (255, 0, 0, 255)), "PNG")).pixels == b"\xff\0\0" * 64
    with pytest.raises(MalformedError, match="TIFF stored as jpeg"):
        decode(saved(image(ROWS).convert("RGB"), "TIFF", compression="jpeg"))


def test_a_flipped_bit_in_a_png_is_noticed():
    octets = bytearray(png(ROWS))
    at = octets.index(b"IDAT") + 12
    octets[at] ^= 1
    with pytest.raises(MalformedError, match="damaged"):
        decode(bytes(octets))


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(sorted(FORMATS)),
    st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 255)), min_size=1, max_size=6),
)
def test_a_damaged_file_raises_nothing_else(name, changes):
    octets = bytearray(FORMATS[name](ROWS))
    for at, value in changes:
        octets[at % len(octets)] = value
    try:
        picture = decode(bytes(octets))
    except MalformedError:
        return
    assert len(picture.pixels) in (picture.width * picture.height, 3 * picture.width * picture.height)


@given(
    st.binary(max_size=300), st.sampled_from([b"", b"GIF89a", b"\x89PNG\r\n\x1a\n", b"II*\0", b"\n\5\1\1"])
)
@settings(max_examples=100, deadline=None)
def test_any_octets_are_a_picture_or_refused(octets, start):
    try:
        assert isinstance(decode(start + octets), Picture)
    except MalformedError as error:
        assert error.what
    assert format_of(octets) in ("", "BMP", "PCX", "TIFF", "GIF", "PNG")


def test_a_picture_must_fit_together():
    for wrong in (
        (0, 1, b""),
        (2, 2, b"123"),
        (5000, 1, bytes(5000)),
        (1, 1, b"\2", ((0, 0, 0), (1, 1, 1))),
        (1, 1, b"\0\0\0", ((0, 0, 0),)),
    ):
        with pytest.raises(MalformedError):
            Picture(*wrong)
