"""Raw frames of video memory unpacked to pictures, against memory that is set pixel by pixel."""

import random

import pytest

from readoff.errors import MalformedError
from readoff.readings.picture.frames import MODES, dac_palette, frame_octets, picture_of

# Mode to width, height, colours.
SHAPES = {
    "04h": (320, 200, 4),
    "05h": (320, 200, 4),
    "06h": (640, 200, 2),
    "0Dh": (320, 200, 16),
    "0Eh": (640, 200, 16),
    "0Fh": (640, 350, 4),
    "10h": (640, 350, 16),
    "11h": (640, 480, 2),
    "12h": (640, 480, 16),
    "13h": (320, 200, 256),
}


def put(mode, memory, x, y, colour):
    """Set one pixel as a program would: by address and mask, without a look at our own layouts."""
    if mode == "13h":
        memory[320 * y + x] = colour
    elif mode in ("04h", "05h"):
        memory[0x2000 * (y % 2) + 80 * (y // 2) + x // 4] |= colour << (6 - 2 * (x % 4))
    elif mode == "06h":
        memory[0x2000 * (y % 2) + 80 * (y // 2) + x // 8] |= colour << (7 - x % 8)
    elif mode == "11h":
        memory[80 * y + x // 8] |= colour << (7 - x % 8)
    else:
        width, height, _ = SHAPES[mode]
        for plane in range(2 if mode == "0Fh" else 4):
            memory[plane * (width // 8 * height) + width // 8 * y + x // 8] |= (colour >> plane & 1) << (
                7 - x % 8
            )


@pytest.mark.parametrize("mode", MODES)
def test_pixels_come_back_where_they_were_put(mode):
    width, height, colours = SHAPES[mode]
    chance = random.Random(3)
    pixels = {
        (x, y): chance.randrange(colours) for x in (0, 1, 7, 8, width - 1) for y in (0, 1, 2, height - 1)
    }
    pixels |= {
        (chance.randrange(width), chance.randrange(height)): chance.randrange(colours) for _ in range(2000)
    }
    memory = bytearray(frame_octets(mode))
    for (x, y), colour in pixels.items():
        put(mode, memory, x, y, colour)
    picture = picture_of(mode, bytes(memory))
    assert (picture.width, picture.height, picture.palette) == (width, height, ())
    for y in range(height):
        for x in range(width):
            assert picture.pixels[y * width + x] == pixels.get((x, y), 0)


def test_sizes_are_those_of_the_adapters():
    # 16 KB of CGA; four planes of 640 × 480 / 8; 64,000 octets of mode 13h (common practice).
    assert [frame_octets(mode) for mode in ("04h", "12h", "13h")] == [16384, 153600, 64000]


def test_six_bits_become_eight():
    palette = dac_palette(bytes([0, 63, 32]) + bytes(765))
    # (v << 2) | (v >> 4): 0, 63 and 32 become 0, 255 and 130.
    assert palette[0] == (0, 255, 130)
    assert len(palette) == 256
    assert picture_of("13h", bytes(64000), palette).palette == palette


@pytest.mark.parametrize("wrong", [bytes(767), bytes(769), bytes(5) + b"\x40" + bytes(762)])
def test_a_palette_that_is_none_is_refused(wrong):
    with pytest.raises(MalformedError):
        dac_palette(wrong)


@pytest.mark.parametrize(
    ("mode", "octets"), [("13h", bytes(63999)), ("04h", bytes(16192)), ("14h", b""), ("", b"")]
)
def test_a_frame_that_is_none_is_refused(mode, octets):
    with pytest.raises(MalformedError):
        picture_of(mode, octets)
