"""An agent that stands by: a twin of it asks a real ``readoff watch --study`` over TCP, which is killed on the way.

What the study is, and what the twin measures, is invented.
"""

import os
import re
import subprocess
import sys
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

import readoff
from readoff.arrivals.told import About
from readoff.cli.common import load_all_schemas
from readoff.errors import StoreError
from readoff.link import Asker, GivenStep
from readoff.link.events import Asked
from readoff.reports.steps import PERSON_SECONDS, given_step
from readoff.reports.study import read_study
from readoff.store import open_store
from readoff.studies import load_study, missing, progress_of
from support import study_records as records
from support.agent_twin import over_socket, play
from support.memory_intake import MemoryIntake
from support.twin import Twin
from support.watching import watching

MOST_STEPS = 100
TEXT = records.STUDY.replace("boots = 3", "boots = 2\ncold = false")
STUDY = load_study("s.toml", TEXT)


@contextmanager
def a_host(folder):
    """``readoff watch --study`` on a TCP port of its own, killed in the end; gives a connection to it."""
    command = "from readoff.cli import main; main()"
    arguments = ["watch", "--port", "listen:127.0.0.1:0", "--study", "s.toml", "--store", "s.db"]
    process = subprocess.Popen(
        [sys.executable, "-uc", command, *arguments],
        cwd=folder,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(readoff.__file__).resolve().parents[1])},
    )
    try:
        told = (re.search(r"listening on TCP port (\d+)", line) for line in process.stdout)
        port = next(int(found[1]) for found in told if found)
        with closing(over_socket(port)) as connection:
            yield connection
    finally:
        process.kill()
        process.communicate()


def session(twin, port, until=lambda step: False):
    """Offers, asks and does, until nothing is left or it is to stop; kinds of the steps done."""
    done = []
    while len(done) < MOST_STEPS:
        twin.offer(port)
        step = twin.asks(port)
        if step["what"] == "nothing" or until(step):
            return done, step
        done.append(step["what"])
        if step["what"] == "reset":
            twin.boots(warm=True)
        elif step["what"] == "person":
            assert step["seconds"] == PERSON_SECONDS
            assert "- Do not leave an old machine running unwatched." in step["words"]
            if "See to it" in step["words"]:
                twin.boots(warm=True)
                continue
            step = twin.asks(port, told=True)
            assert step["what"] == "snapshot", "the person has said that it is so"
            twin.does(step)
        else:
            twin.does(step)
    raise AssertionError("the study does not come to an end")


def test_a_study_goes_to_its_end_through_a_hang_a_cut_and_a_killed_host(tmp_path):
    (tmp_path / "s.toml").write_text(TEXT)
    twin, runs = Twin(), 0

    def third_run(step):
        nonlocal runs
        runs += step["what"] == "run"
        return runs == 3

    with a_host(tmp_path) as port:
        first, step = session(twin, port, third_run)
        # Switched on, where warm boots are asked for: it is reset before anything runs.
        assert first[:5] == ["person", "reset", "snapshot", "run", "run"]
        twin.does(step, hangs=True)  # and a person resets it
        twin.boots(warm=True)
        twin.offer(port)
        given = twin.asks(port)
        assert given == twin.asks(port), "asking twice is asking once"
        before = given["token"]
    with a_host(tmp_path) as port:
        assert twin.asks(port)["token"] == before, "a host that starts again says the same"
        runs = -1
        second, step = session(twin, port, third_run)
        twin.does(step)
        twin.boots(warm=False)  # the power goes; the spool is on disk
        assert len(twin.spool) == 1
        third, step = session(twin, port)
        assert {*first, *second, *third} == {"person", "run", "reset", "snapshot"}
        assert step["words"].startswith("All boots of the plan are there.")
    with open_store(tmp_path / "s.db", load_all_schemas(None)) as store:
        seen = read_study(store, STUDY)
    progress = progress_of(STUDY, seen.done)
    assert not progress.open
    whole = [each for each in seen.done.boots if not missing(STUDY, seen.done, each)]
    assert len(whole) == 4 and all(len(each.runs) == 2 for each in whole)
    assert all(each.warm for each in seen.done.boots if each.runs)
    assert not [each.about for each in seen.notices if each.about.endswith((":cold", ":warm"))]
    assert any("never ended" in each.reason for each in seen.left_out)


# -- what the edge does where there is no answer ------------------------------------------------------------------


def asked_of(intake, planner=None):
    """(the step's values, what was noted about agents) of one question to a watch in this process."""
    with watching(intake, lines=["listen:127.0.0.1:0"]) as running:
        if planner is not None:
            running.watch.plan_with(planner)
        assert running.watch.lines[0].opened.wait(10)
        with closing(over_socket(running.watch.lines[0].tcp_port)) as port:
            asker = Asker(Asked(records.SERIAL, 1), patience=0.5)
            play(asker, port)
    return asker.step, running.notes(About.AGENT)


def test_without_a_study_there_is_nothing_to_do():
    step, notes = asked_of(MemoryIntake())
    assert step["what"] == "nothing" and "without a study" in step["words"]
    assert notes[-1].startswith("agent 11223344 is told (nothing)")


def failing(asked):
    raise StoreError("the disk is full", where="a test's store")


@pytest.mark.parametrize(
    ("planner", "why"),
    [
        (failing, "the disk is full"),
        (lambda asked: GivenStep("run", path="C:\\\u78c1.COM"), "code page 437 has no"),
        (lambda asked: GivenStep("run", path="C:\\A.COM", arguments="1" * 200), "longer than the 125 octets"),
    ],
)
def test_where_no_step_can_be_found_the_agent_waits_and_asks_again(planner, why):
    step, notes = asked_of(MemoryIntake(), planner)
    assert (step["what"], step["seconds"]) == ("wait", 10)
    assert why in " ".join(step["words"].split())
    assert why in notes[-1]


def test_an_agent_of_another_machine_is_given_nothing(tmp_path):
    study = load_study("s.toml", TEXT.replace("repeats = 2", 'repeats = 2\nagents = ["00000001"]'))
    with open_store(tmp_path / "s.db", load_all_schemas(None)) as store:
        other = given_step(store, study, Asked(records.SERIAL, 1))
        assert other.what == "nothing" and "11223344" in other.words
        own = given_step(store, study, Asked(1, 1))
        assert own.what == "person" and own.cautions


def test_a_person_s_word_counts_for_the_step_it_was_given_for(tmp_path):
    with open_store(tmp_path / "s.db", load_all_schemas(None)) as store:
        step = given_step(store, STUDY, Asked(records.SERIAL, 1, fresh=True))
        told = given_step(store, STUDY, Asked(records.SERIAL, 1, token=step.token, told=True))
        assert (told.what, told.label) == ("snapshot", "as-found")
        for asked in (
            Asked(records.SERIAL, 1, token=step.token + 1, told=True),
            Asked(records.SERIAL, 1, token=step.token),
        ):
            assert given_step(store, STUDY, asked) == step
