"""Every way in which a program may show its number: each number lands in the store, or the record says why not.

The programs are our own (tests/dos_programs), run under the real READOFF.COM in the test machine without a hand on its
keyboard; their records are taken by the real command and read by a schema that a person might write.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from readoff.box import AT, LATE, MachineSpec
from support.agent_box import agent_box, record_names
from support.commands import answer, run
from support.drawn_pictures import CHAMFER, INK, grid, schema_text


@dataclass(frozen=True)
class Way:
    """One program, how it is run, and what must come of it.

    value: the number as shown; "" where there is none. kind: of the capture that showed it. flags: what the record says
    beside it. reader: the schema that reads it, of our own where it is not "shows".
    """

    command: str
    pattern: str
    value: str
    kind: str = "screen"
    spec: MachineSpec = AT
    flags: frozenset[str] = frozenset()
    ends: bool = True
    reader: str = "shows"
    files: Mapping[str, bytes] = field(default_factory=dict)


def pixels() -> bytes:
    """PIXELS.DAT for FRAMES.COM: two lines in our own glyphs, in colour 44 of mode 13h."""
    rows = grid(["Mill: 48 sacks", "Pace: 84.70 sacks"], CHAMFER[(8, 8)], columns=40)
    points = [(x, y) for y, row in enumerate(rows) for x, value in enumerate(row) if value == INK]
    return b"".join(struct.pack("<HHB", x, y, 44) for x, y in points)


WAYS = {
    "drawn in mode 13h, then back to text": Way(
        "RUN FRAMES 13", "^Pace: {} sacks", "84.70", "picture", LATE, files={"PIXELS.DAT": pixels()}
    ),
    "shown only while it waits for a key": Way(
        "RUN /K:[enter][enter][enter] MENU 08", ", score {} points", "12.5"
    ),
    "a menu of three keys": Way(
        'RUN /K:"a[after page 2]b[pause 1][enter]" MENU 11', ", score {} points", "12.5"
    ),
    "timer at 1,000 Hz": Way(
        "RUN FASTTICK 2000", "^Fast timer: {} ticks", "2000", "console", flags=frozenset({"clock_disturbed"})
    ),
    "in a log file only": Way(
        "RUN /F:*.OUT WAYS F 12.5", "^Ways: score {} points", "12.5", "file", reader="ways"
    ),
    "written directly in 43 lines": Way("RUN LINES43", "^Lines: row {} written directly", "43"),
    "leaves with the screen cleared": Way("RUN CLEARS", "^Clears: score {} points", "88.75", "console"),
    "cleared, and never printed": Way("RUN MODES", "^Modes: score {} points", "640.5"),
    "hooks INT 21h itself": Way("RUN HOOKS21", "^Hooks: {} calls seen", "14", "console"),
    "never returns": Way("RUN HANGS", "^nothing {} of it", "", ends=False),
    "never returns, and is reset": Way("RUN /T:2,R HANGS", "^nothing {} of it", "", ends=False),
}


def schema(way: Way) -> str:
    """A schema for one number."""
    metric = (
        f"[metrics.number]\npattern = '{way.pattern.replace('{}', '(?P<number>[0-9.]+)')}'\nunit = \"points\"\n"
        'better = "higher"\nonce = true\n'
    )
    if way.kind == "picture":
        return schema_text(
            metric,
            name="shows",
            cell="8x8",
            ink="indices = [44]",
            recognise='captures = ["picture"]\nall = ["^Mill: "]',
        ).replace('headline = ["pace"]', 'headline = ["number"]')
    return (
        'schema = "shows"\ntitle = "A number"\nheadline = ["number"]\n'
        f"[recognise]\nall = ['{way.pattern.replace('{}', '[0-9.]+')}']\n{metric}"
    )


@pytest.mark.parametrize("name", WAYS)
def test_each_number_lands_or_the_record_says_why_not(tmp_path: Path, name: str) -> None:
    way = WAYS[name]
    programs = [path.name for path in (Path(__file__).parents[1] / "dos_programs").glob("*.COM")]
    box = agent_box(way.spec, *programs)
    for file, octets in way.files.items():
        box.drive("C").write(file, octets)
    if not way.ends and "/T" not in way.command:
        box.cut_power_at(6.0)  # somebody switches it off
    exit_ = box.run("C:\\READOFF.COM", way.command)
    assert exit_.kind == ("ended" if way.ends else "reset" if "/T" in way.command else "power cut")
    full = taken(box_records(box, tmp_path), way, tmp_path)
    read = [each for each in full["readings"] if each["schema"] == way.reader]
    end = full["run"]
    if way.value:
        (reading,) = read
        assert reading["value"] == way.value
        assert full["captures"][reading["capture"]]["kind"] == way.kind
        assert (end["state"], end["outcome"]) == ("complete", "finished")
    else:
        assert read == []
        assert (end["state"], end["outcome"]) in (("unfinished", ""), ("complete", "reset"))
    if way.flags:
        assert way.flags <= flags(full)


def box_records(box: Any, folder: Path) -> Path:
    """The spool as it would be carried to the host."""
    inbox = folder / "inbox"
    inbox.mkdir()
    for each in record_names(box):
        (inbox / each.replace("\\", "_")).write_bytes(box.drive("C").read(each))
    return inbox


def taken(inbox: Path, way: Way, folder: Path) -> dict[str, Any]:
    """The run as the host shows it."""
    (folder / "schemas").mkdir()
    if way.reader == "shows":
        (folder / "schemas" / "shows.toml").write_text(schema(way))
    place = ("--store", folder / "bench.db", "--schemas", folder / "schemas")
    run("take", inbox, *place, status=1 if "/T" in way.command else 0)  # what it printed is no number: held
    full: dict[str, Any] = answer("show", "1", *place)
    return full


def flags(full: dict[str, Any]) -> set[str]:
    """What the record says of the run; under whatever name the command has it."""
    return {word for word in ("clock_disturbed",) if word in str(full)}
