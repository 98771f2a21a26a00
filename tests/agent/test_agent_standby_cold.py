"""A study of cold boots in the test machine: the bench switches off and on, a person only changes the parts."""

from __future__ import annotations

from readoff.power import Bench, Cycled, Keeper
from readoff.reports.study import read_study
from readoff.studies import load_study, missing, progress_of
from support.agent_box import EXIT_ALL
from support.standby_bench import WAITS, Room, StudyHost

COLD = (
    WAITS.replace("cold = false", "")
    .replace("boots = 3", "boots = 2")
    .replace("repeats = 2", "repeats = 1")
    .replace('label = "one-wait"', 'label = "one-wait"\nhow = "fitting"\nspecimen = "the green one"')
)
STUDY = load_study("cold.toml", COLD)
MOST_STARTS = 40


def test_cold_boots_without_a_hand(tmp_path):
    """With a hang on the way, after which the machine is reset: such a boot is warm, and nothing is run in it."""
    host = StudyHost(tmp_path / "s.db", STUDY)
    switched = []

    def switch(bench, tell):
        left = [name for name in room.drive.list(r"SPOOL\*.RDO") if "SERIAL" not in name]
        assert not left and not host.desk.receiver.unfinished
        switched.append(room.starts)
        return Cycled()

    room = Room(host)
    runs = 0

    def on_step(asked, step):
        nonlocal runs
        runs += step.what == "run"
        if host.keeper is None:
            bench = Bench("desk", (f"{asked.agent_serial:08X}",), (), (), rest_seconds=0)
            host.keeper = Keeper(bench, lambda line: None, switch=switch, pause=lambda seconds: None)
        if step.what == "person":
            room.in_a_while(1.5, room.person)
        elif step.what == "wait":
            host.keeper.finish()
            room.in_a_while(0.5, room.outlet)
        elif step.what == "run" and runs == 4:
            room.hang(step.path)

    host.on_step = on_step
    ends = room.start_until_done(MOST_STARTS)
    assert ends[-1].code == EXIT_ALL
    seen = read_study(host.store, STUDY)
    assert not progress_of(STUDY, seen.done).open
    whole = [each for each in seen.done.boots if not missing(STUDY, seen.done, each)]
    assert sorted(each.label for each in whole) == sorted(2 * STUDY.labels)
    assert not any(each.warm for each in seen.done.boots if each.runs)
    assert len(switched) == room.deeds.count("switched by the bench") >= 2
    assert room.deeds.count("gave up on a hang") == 1
    assert not [each.about for each in seen.notices if each.about.endswith(":warm")]
    host.store.close()
