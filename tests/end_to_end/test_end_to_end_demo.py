"""The demo, as a newcomer runs it: the real agent in the test machine, a watching host, a finding and a report."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from click.testing import CliRunner

import readoff
from readoff.box import scenario
from readoff.cli import main
from readoff.reports import compare_labels
from readoff.reports.publication import INVENTED
from readoff.store import find, open_store
from support.published import outside


def test_the_demo_ends_with_a_finding_that_holds_the_truth(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["demo", "--folder", str(tmp_path / "demo")])
    assert result.exit_code == 0, (result.output, result.exception)
    steps = len(scenario.plan())
    assert result.output.count("3 records kept") == steps
    assert f"The same {3 * steps} records once more" in result.output
    assert "none counted twice" in result.output
    assert result.output.count("invented") >= 2
    with open_store(tmp_path / "demo" / "readoff.db", []) as store:
        runs = find.runs(store)
        assert len(runs) == steps * scenario.REPEATS
        assert {run.state for run in runs} == {"complete"}
        assert len({run.boot for run in runs}) == 2 * scenario.BOOTS
        # Two ways, one run each: every run was seen on the line, and again as a file.
        for run in (runs[0], runs[-1]):
            came_from = [sighting.came_from for sighting in find.run_in_full(store, run.id).sightings]
            assert len(came_from) == 2
            assert came_from[0].startswith("listen:127.0.0.1")
            assert came_from[1].endswith(".RDO")
        judged = compare_labels(store, scenario.BASE, scenario.OTHER)
    assert [each.finding.verdict for each in judged.compared if each.finding] == ["faster", "faster"]
    # All of the machine's speed follows from the clocks for each octet fetched (box.spec), so the truth is known.
    truth = scenario.MACHINE.clocks_per_octet / scenario.CONFIGURATIONS[scenario.OTHER].clocks_per_octet
    for finding in judged.findings:
        spread = 3 * scenario.MACHINE.boot_spread * (2 / scenario.BOOTS) ** 0.5
        assert abs(finding.ratio / truth - 1) < spread + finding.resolution
        assert finding.base_boots == finding.other_boots == scenario.BOOTS
    assert [difference.name for difference in judged.differences] == ["cmos.settings"]
    page = (tmp_path / "demo" / "report" / "report.html").read_text(encoding="utf-8")
    assert INVENTED in page
    assert outside(page) == []
    charts = list((tmp_path / "demo" / "report" / "charts").glob("*.svg"))
    assert {each.name.partition("-")[0] for each in charts} == {"ratio", "boots", "target", "worth"}
    for chart in charts:
        assert "Invented data" in chart.read_text(encoding="utf-8")
    _the_same_elsewhere(tmp_path)


def _the_same_elsewhere(tmp_path: Path) -> None:
    """The bundle of the demo's study, in an empty store in another folder: the same findings, figure for figure."""
    there = tmp_path / "elsewhere"
    there.mkdir()
    bundle = there / "bundle.zip"
    bundle.write_bytes((tmp_path / "demo" / "report" / "bundle.zip").read_bytes())
    taken = _answer("take", bundle, "--store", there / "check.db")
    assert [each["same"] for each in taken["bundles"]] == [True]
    here = _answer(
        "study", "judge", tmp_path / "demo" / "study.toml", "--store", tmp_path / "demo" / "readoff.db"
    )
    again = there / "bundle-unpacked" / "study.toml"
    assert _answer("study", "judge", again, "--store", there / "check.db") == here
    assert [each["finding"]["verdict"] for each in here["findings"]] == ["faster", "faster"]
    assert [each["blocked"] for each in here["findings"]] == [[], []]  # the study names all that differs


def _answer(*arguments: object) -> Any:
    result = CliRunner().invoke(main, [*map(str, arguments), "--json"])
    assert result.exit_code == 0, (result.output, result.exception)
    return json.loads(result.stdout)


def test_ctrl_c_ends_the_demo_in_a_word(tmp_path: Path) -> None:
    program = "from readoff.cli import main; main(prog_name='readoff')"
    with subprocess.Popen(
        [sys.executable, "-u", "-c", program, "demo", "--folder", str(tmp_path / "demo")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(Path(readoff.__file__).resolve().parents[1])},
    ) as demo:
        assert demo.stdout is not None
        shown = b""
        while not shown.endswith(b" 1/12"):  # the first step begins
            octet = demo.stdout.read(1)
            assert octet, shown
            shown += octet
        demo.send_signal(signal.SIGINT)
        _, said = demo.communicate(timeout=60)
    assert demo.returncode == 1
    assert b"Aborted!" in said and b"no host answers" not in said
