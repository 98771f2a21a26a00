"""A study on a disk for a bench without a line: the batch files run under DOSBox, and the status knows what came home.

DOSBox starts cold each time, so each start is a boot of its own.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from readoff import resources
from readoff.cli.common import load_all_schemas
from readoff.reports.study import read_study
from readoff.store import Store, open_store
from readoff.studies import StepKind, batch_files, load_study, next_step, progress_of
from support.dosbox import put_programs, run_dosbox

STUDY = r"""
study = "two settings that are none"
machine = "dosbox"
boots = 1
repeats = 2
[[configurations]]
label = "as found"
changes = "as it was > found"
[[configurations]]
label = "same"
changes = "100 % the same"
[[programs]]
name = "ways"
path = 'C:\WAYS.COM'
arguments = "40 1234.50"
[[metrics]]
metric = "score"
"""


@pytest.fixture
def disk(tmp_path: Path) -> Path:
    folder = tmp_path / "c"
    folder.mkdir()
    put_programs(folder, "WAYS.COM", "KEYS.COM")
    shutil.copyfile(resources.agent(), folder / "READOFF.COM")
    return folder


def take_spool(store: Store, disk: Path) -> None:
    for path in sorted((disk / "SPOOL").glob("*.RDO")):
        if path.name != "SERIAL.RDO":
            store.take(path.read_bytes(), str(path))


def test_boot_by_boot_the_plan_is_done(disk: Path, tmp_path: Path) -> None:
    study = load_study("s.toml", STUDY)
    with open_store(tmp_path / "readoff.db", load_all_schemas(None)) as store:
        for number in (1, 2):
            seen = read_study(store, study)
            todo = [each.planned for each in progress_of(study, seen.done).open]
            assert [each.number for each in todo] == [1, 2][number - 1 :]
            for name, octets in batch_files(study, todo, "C:", send_programs=True).items():
                (disk / name).write_bytes(octets)
            run_dosbox(disk, ["KEYS 1C0D", f"CALL B{number:03}.BAT"])
            take_spool(store, disk)
        seen = read_study(store, study)
        assert next_step(study, seen.done).kind is StepKind.FINISHED
        assert [len(boot.runs) for boot in seen.done.boots] == [2, 2]
        assert all(boot.snapshots and run.file_digest for boot in seen.done.boots for run in boot.runs)
        [one] = seen.verdicts().judged
        assert "one boot" in one.refusal
        [notice] = seen.notices
        # Nothing differs, and that is named; but DOSBox is as fast as its host lets it be, and a host with other
        # work to do makes two clocks of one, which is named instead.
        assert notice.about in ("same:same", "same:speed.mhz")
        [wanted] = study.wanted
        lines = {e.reading.line for side in seen.evidence[wanted].values() for e in side}
        assert lines == {"Ways: score 1234.50 points"}
