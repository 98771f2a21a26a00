"""From pixels on the old machine to a reading: a result drawn in mode 13h, then back to text and gone."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from readoff.box import LATE, XT, MachineSpec
from support.agent_box import agent_box, readoff, record_names
from support.commands import answer, run
from support.drawn_pictures import CHAMFER, INK, grid, schema_text

LINES = ["Mill: 48 sacks", "Pace: 84.70 sacks"]


def drawn_points(width: int, colour: int) -> bytes:
    """PIXELS.DAT for FRAMES.COM: the lines from (0, 0) on, in our own glyphs of 8 by 8."""
    rows = grid(LINES, CHAMFER[(8, 8)], columns=width // 8)
    return b"".join(
        struct.pack("<HHB", x, y, colour)
        for y, row in enumerate(rows)
        for x, value in enumerate(row)
        if value == INK
    )


@pytest.mark.parametrize(("spec", "mode", "colour"), [(LATE, "13", 44), (LATE, "12", 14), (XT, "06", 1)])
def test_a_number_drawn_and_gone_becomes_a_reading(
    tmp_path: Path, spec: MachineSpec, mode: str, colour: int
) -> None:
    box = agent_box(spec, "FRAMES.COM")
    box.drive("C").write("PIXELS.DAT", drawn_points(640 if mode != "13" else 320, colour))
    readoff(box, f"RUN /L:base /P:mill FRAMES {mode}")
    assert box.screen_rows()[2].strip() == ""  # nothing of it is left on the screen
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    for name in record_names(box):
        (inbox / Path(name.replace("\\", "/")).name).write_bytes(box.drive("C").read(name))
    schemas = tmp_path / "schemas"
    schemas.mkdir()
    (schemas / "mill.toml").write_text(
        schema_text(
            '[metrics.pace]\npattern = \'^Pace: (?P<number>\\S+) sacks\'\nunit = "points/s"\nbetter = "higher"\n'
            "once = true\n",
            cell="8x8",
            ink=f"indices = [{colour}]",
            recognise='captures = ["picture"]\nprograms = ["MILL"]\nall = ["^Mill: "]',
        )
    )
    store = tmp_path / "bench.db"
    run("take", inbox, "--store", store, "--schemas", schemas)
    full = answer("show", "1", "--store", store, "--schemas", schemas)
    read = [
        (each["metric"], each["value"], each["unit"])
        for each in full["readings"]
        if each["schema"] == "mill_screen"
    ]
    assert read == [("pace", "84.70", "points/s")]
    (picture,) = [each for each in full["captures"] if each["kind"] == "picture"]
    assert (picture["moment"], picture["problem"], picture["note"]) == ("mode_set", "", "")
