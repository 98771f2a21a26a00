"""The demo, as a newcomer runs it: the real agent in the test machine, a watching host, a finding and a report."""

from __future__ import annotations

import re
from pathlib import Path

from click.testing import CliRunner

from readoff.box import scenario
from readoff.cli import main
from readoff.reports import compare_labels
from readoff.store import find, open_store


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
    assert "All figures are invented" in page
    assert not re.search(r"(src|href)\s*=\s*[\"']?http", page)
