"""The probes under another, emulated DOS and its processors."""

from __future__ import annotations

from pathlib import Path

import pytest

from readoff.contract.record import Record, parse_record
from readoff.snapshots.measured import staircase_of
from support.agent_box import AGENT
from support.dosbox import run_dosbox

WHAT = ("extended", "display", "graphics", "disk", "sectors", "integer", "float")


def probed(folder: Path, what: str, cputype: str = "auto") -> list[Record]:
    """The records of probes, in order."""
    (folder / "READOFF.COM").write_bytes(AGENT.read_bytes())
    files = run_dosbox(folder, [f"READOFF PROBE {what} /L:base"], cputype=cputype, cycles="fixed 20000")
    names = sorted(name for name in files if name.endswith(".RDO") and not name.endswith("SERIAL.RDO"))
    records = sorted((parse_record(files[name]) for name in names), key=lambda record: record.id)
    return [record for record in records if record.kind == "probe"]


@pytest.mark.parametrize("cputype", ["386", "486_slow", "pentium_slow"])
def test_all_probes(tmp_path: Path, cputype: str) -> None:
    records = probed(tmp_path, "all", cputype)
    assert [record.completeness for record in records] == ["whole"] * 8
    found = {record.values("run_start")["program"].removeprefix("probe "): record for record in records}
    memory = staircase_of(found["memory"].values("probe_memory"))
    assert memory is not None
    assert len(memory.levels) == 1
    assert memory.octets[-1] > 400 * 1024
    problems = {name: found[name].values(f"probe_{name}")["problem"] for name in WHAT}
    # Its INT 13h has no fixed disk to read.
    assert problems == dict.fromkeys(WHAT, "none") | {"sectors": "no_drive"}
    extended = staircase_of(found["extended"].values("probe_extended"))
    assert extended is not None
    assert extended.octets[-1] > 3 << 20
    assert len(found["display"].values("probe_display")["widths"]) == 3
    assert found["graphics"].values("probe_graphics")["mode"] == 0x13
