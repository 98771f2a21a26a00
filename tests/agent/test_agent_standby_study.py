"""STANDBY in the test machine: a whole study without a hand at the keys; power cuts at many moments; a time limit."""

from __future__ import annotations

from dataclasses import replace

from click.testing import CliRunner

from readoff.cli import main
from readoff.contract.record import Record, parse_records
from readoff.reports.study import read_study
from readoff.studies import Excluded, load_study, missing, progress_of
from support.agent_box import EXIT_ALL
from support.standby_bench import WAITS, Room, StudyHost

STUDY = load_study("waits.toml", WAITS)
MOST_STARTS = 60
MOST_CUTS = 14
CUT_APART = 0.95  # seconds: fourteen of them reach from the start of a boot to its last program


def test_a_whole_study_without_a_hand(tmp_path):
    """With resets, a power cut, a host that starts again and a hang; in one configuration a program was left loaded."""
    host = StudyHost(tmp_path / "s.db", STUDY)
    room = Room(host, tampered="no-wait")
    runs = 0

    def host_goes():
        host.there = False
        room.in_a_while(8.0, host.start)

    def on_step(asked, step):
        nonlocal runs
        runs += step.what == "run"
        if step.what == "person":
            room.in_a_while(1.5, room.person)
        elif step.what == "run" and runs == 9:
            room.box.cut_power_at(1.0)
        elif step.what == "run" and runs == 15:
            room.in_a_while(0.5, host_goes)
        elif step.what == "run" and runs == 22:
            room.hang(step.path)

    host.on_step = on_step
    ends = room.start_until_done(MOST_STARTS)
    said = ends[-1].console.decode("cp437")
    assert ends[-1].code == EXIT_ALL and "All boots of the plan are there." in said
    assert room.drive.list(r"SPOOL\*.RDO") == [r"SPOOL\SERIAL.RDO"]
    # Two of them because the machine was switched on, at the beginning and after the cut, and warm boots are asked for.
    assert room.deeds.count("port 64h") == 4 and room.deeds.count("gave up on a hang") == 1
    assert sum(deed.startswith("made it") for deed in room.deeds) >= 6
    seen = read_study(host.store, STUDY)
    assert not progress_of(STUDY, seen.done).open
    whole = [each for each in seen.done.boots if not missing(STUDY, seen.done, each)]
    assert sorted(each.label for each in whole) == sorted(3 * STUDY.labels)
    assert all(len(each.runs) == 4 for each in whole)
    assert any("never ended" in each.reason for each in seen.left_out)
    assert all(each.warm for each in seen.done.boots if each.runs)
    verdicts = seen.verdicts()
    standing = {each.about for each in verdicts.notices if not each.why}
    assert standing == {"no-wait:residents.STAYS", "no-wait:memory.free_paragraphs"}
    told = {each.name: each.given and str(each.given.verdict) for each in verdicts.judged}
    assert told == {
        "two-waits~one-wait:loop:passes_per_second": "faster",
        "two-waits~no-wait:loop:passes_per_second": None,
        "one-wait~no-wait:loop:passes_per_second": None,
    }
    host.store.close()
    (tmp_path / "waits.toml").write_text(WAITS)
    asked = ["study", "judge", str(tmp_path / "waits.toml"), "--store", str(tmp_path / "s.db")]
    printed = " ".join(CliRunner().invoke(main, asked).output.split())
    assert "The resident program STAYS is in memory in no-wait only" in printed


def test_power_cuts_at_many_moments_leave_the_plan_where_it_was(tmp_path):
    """Each of the first starts is cut a little later than the one before, and so is each start by a reset after them.

    Two cuts in a program stop the plan, as two hangs would; the tester then says why in the study file.
    """
    small = load_study(
        "small.toml", WAITS.replace("boots = 3", "boots = 1").replace("repeats = 2", "repeats = 1")
    )
    host = StudyHost(tmp_path / "s.db", small)
    room = Room(host)

    def explain():
        boots = read_study(host.store, small).done.boots
        cut = [each.boot for each in boots if any(not run.good for run in each.runs)]
        host.study = replace(small, excluded=tuple(Excluded(boot, "the power was cut") for boot in cut))

    stops = []

    def on_step(asked, step):
        if "did not go through in 2 boots" in step.words:
            stops.append(step.words)
            explain()
        elif step.what == "person":
            room.in_a_while(1.5, room.person)

    host.on_step = on_step
    ends, warm_starts = [], 0
    while not ends or ends[-1].kind != "ended":
        cut = CUT_APART * len(ends) if len(ends) < MOST_CUTS else None
        if cut is None and room.warm and warm_starts < MOST_CUTS:
            warm_starts += 1
            cut = CUT_APART * warm_starts
        ends.append(room.start(cut_at=cut))
        assert len(ends) < MOST_STARTS
    assert ends[-1].code == EXIT_ALL
    assert not progress_of(host.study, read_study(host.store, host.study).done).open
    assert stops
    left = [room.drive.read(name) for name in room.drive.list(r"SPOOL\*.RDO") if "SERIAL" not in name]
    assert not any(isinstance(part, Record) for octets in left for part in parse_records(octets))
    assert room.drive.list(r"SPOOL\*.RDX") == []


def test_with_a_time_limit_a_hang_needs_no_person(tmp_path):
    small = load_study(
        "small.toml", WAITS.replace("boots = 3", "boots = 1").replace("repeats = 2", "repeats = 1")
    )
    host = StudyHost(tmp_path / "s.db", small)
    room = Room(host, options="/T:10,R")
    runs = 0

    def on_step(asked, step):
        nonlocal runs
        runs += step.what == "run"
        if step.what == "person":
            room.in_a_while(1.5, room.person)
        elif step.what == "run" and runs == 3:
            room.hang(step.path)

    host.on_step = on_step
    ends = room.start_until_done(MOST_STARTS)
    assert ends[-1].code == EXIT_ALL
    assert [each.how for each in ends].count("FFFF:0000") == 1
    assert not progress_of(small, read_study(host.store, small).done).open
