"""Frames that a program left in an adapter's memory, drawn by the BIOS of DOSBox: read by picture schemas."""

from __future__ import annotations

import random
import struct

import pytest

from readoff.readings import Capture, CaptureKind, as_shown, read_run
from readoff.readings.picture.frames import DAC_OCTETS, MODES, dac_palette, frame_octets, picture_of
from support.dosbox import put_programs, run_dosbox
from support.drawn_pictures import CHAMFER, grid, load, schema_text

# Mode to width, height, colours (common practice). FRAMES.COM does not draw in 0Fh; the test machine does.
SHAPES = {
    "04h": (320, 200, 4),
    "05h": (320, 200, 4),
    "06h": (640, 200, 2),
    "0Dh": (320, 200, 16),
    "0Eh": (640, 200, 16),
    "10h": (640, 350, 16),
    "11h": (640, 480, 2),
    "12h": (640, 480, 16),
    "13h": (320, 200, 256),
}
DRAWN = tuple(mode for mode in MODES if mode in SHAPES)
FONT = CHAMFER[8, 14]
X, Y = 16, 29


def points_of(mode, pace):
    """The text, and points at random beside it: (x, y) to colour."""
    width, height, colours = SHAPES[mode]
    chance = random.Random(mode)
    points = {
        (chance.randrange(width), chance.randrange(100, height)): chance.randrange(colours)
        for _ in range(1500)
    }
    points |= {(0, height - 1): 1, (width - 1, height - 1): colours - 1, (width - 1, 100): 1}
    for y, row in enumerate(grid(["Mill 1.2", f"Pace: {pace}"], FONT)):
        points |= {(X + x, Y + y): colours - 1 for x, index in enumerate(row) if index}
    return points


@pytest.fixture(scope="module")
def frames(tmp_path_factory):
    """What FRAMES.COM leaves in every mode: mode to (points, octets, pace)."""
    folder = tmp_path_factory.mktemp("frames")
    put_programs(folder, "FRAMES.COM")
    drawn, commands = {}, []
    for number, mode in enumerate(DRAWN):
        pace = f"{84 + number}.{number}0"
        drawn[mode] = (points_of(mode, pace), pace)
        octets = b"".join(struct.pack("<HHB", x, y, colour) for (x, y), colour in drawn[mode][0].items())
        (folder / f"P{mode[:2]}.DAT").write_bytes(octets)
        commands += [
            f"copy P{mode[:2]}.DAT PIXELS.DAT >nul",
            f"frames {mode[:2]}",
            f"ren FRAME.RAW F{mode[:2]}.RAW",
        ]
    files = run_dosbox(folder, commands)
    return {mode: (points, files[f"F{mode[:2]}.RAW"], pace) for mode, (points, pace) in drawn.items()}


@pytest.mark.parametrize("mode", DRAWN)
def test_every_point_that_the_bios_drew_is_where_it_drew_it(frames, mode):
    points, octets, _ = frames[mode]
    width, height, _ = SHAPES[mode]
    picture = picture_of(mode, octets[: frame_octets(mode)])
    assert (picture.width, picture.height) == (width, height)
    found = {divmod(at, width)[::-1]: colour for at, colour in enumerate(picture.pixels) if colour}
    assert found == {place: colour for place, colour in points.items() if colour}


@pytest.mark.parametrize("mode", DRAWN)
def test_the_number_in_it_is_read(frames, mode):
    _, octets, pace = frames[mode]
    (schema,) = load(
        schema_text(
            cell="8x14",
            region=f"x = {X}, y = {Y}, columns = 20, rows = 2",
            ink=f"indices = [{SHAPES[mode][2] - 1}], paper = [0]",
            more=f'frame = "{mode}"',
            recognise="all = ['^Mill ']\nfiles = ['FRAME.RAW']",
        )
    )
    readout = read_run([Capture(CaptureKind.FILE, octets, name="C:\\FRAME.RAW")], [schema])
    assert [as_shown(reading) for reading in readout.readings] == [f"{pace} points/s"]
    assert readout.holds == ()


def test_the_colours_behind_the_frame_are_the_dacs(frames):
    octets = frames["13h"][1]
    assert len(octets) == 64000 + DAC_OCTETS
    palette = dac_palette(octets[64000:])
    # The BIOS's own first sixteen: black, and light grey and white of 2/3 and full brightness (common practice).
    assert (palette[0], palette[7], palette[15]) == ((0, 0, 0), (170, 170, 170), (255, 255, 255))
