"""What readoff show says of a memory staircase."""

from __future__ import annotations

import pytest

from support import store_samples as samples
from support.commands import answer, run
from support.probe_records import memory_probe


@pytest.fixture
def shown(tmp_path, monkeypatch):
    """Take one probe's record, and show it."""
    monkeypatch.chdir(tmp_path)

    def show(record):
        (tmp_path / "1.RDO").write_bytes(samples.snapshot_record())
        (tmp_path / "2.RDO").write_bytes(record)
        run("take", "1.RDO", "2.RDO", "--store", "s.db")
        return run("show", "1", "--store", "s.db").output

    return show


def test_steps_are_drawn_and_told(shown):
    output = shown(memory_probe(lambda octets: 60 if octets <= 8192 else 150 if octets <= 65536 else 400))
    assert "A step between 8 and 9.5 KiB: from 60 to 150 ns." in output
    assert "A step between 64 and 76 KiB: from 150 to 400 ns." in output
    assert "No cache seen beyond 76 KiB, up to 512 KiB." in output
    assert "time alone does not tell which" in output
    assert "Nothing is known of blocks below 1 KiB or above 512 KiB." in output
    drawn = [line for line in output.splitlines() if "●" in line]
    assert sum(line.count("●") for line in drawn) == 37
    assert "●" * 13 in drawn[-1]
    assert drawn[-1].lstrip().startswith("60 ┤")
    facts = run("show", "1", "--facts", "--store", "s.db").output
    assert "staircase.conventional.step_1: 8 to 9.5 KiB" in facts


def test_a_flat_line_has_no_cache(shown):
    output = shown(memory_probe(lambda octets: 300))
    assert "No cache seen: one level of 300 ns from 1 KiB to 512 KiB." in output
    assert "A step" not in output


def test_a_step_too_near_to_the_end_is_no_level(shown):
    output = shown(memory_probe(lambda octets: 60 if octets <= 400 * 1024 else 200))
    assert "Towards 512 KiB the time changes once more" in output
    assert "A step between" not in output


def test_why_nothing_was_measured(shown):
    output = shown(memory_probe(lambda octets: 0, problem="timer"))
    assert "Not measured: the timer did not run as the BIOS left it." in output
    assert answer("held", "--store", "s.db")["held"] == []


def test_a_cache_that_is_off_is_a_difference_of_two_configurations(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for number, (label, nonce, size) in enumerate((("on", 1, 8192), ("on", 2, 8192), ("off", 3, 0))):
        (tmp_path / f"A{number}.RDO").write_bytes(samples.snapshot_record(1, nonce, label=label))
        record = memory_probe(lambda octets, size=size: 60 if octets <= size else 200, 2, nonce, label=label)
        (tmp_path / f"B{number}.RDO").write_bytes(record)
        run("take", f"A{number}.RDO", f"B{number}.RDO", "--store", "s.db")
    output = run("snapshots", "on", "off", "--store", "s.db", status=1).output
    assert "staircase.conventional.levels: 2 → 1" in output
    assert "disagrees" not in output
