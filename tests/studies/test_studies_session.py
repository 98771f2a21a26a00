"""A whole study, step by step, through records and the store: resets, a power cut, a host that starts again, a hang.

3 configurations x 3 boots x 2 programs x 2 repeats; in one configuration a resident program was left loaded. What
asks is imagined here; the records are such as the agent writes, and all that is remembered is the store.
"""

import random

import pytest

from readoff.cli.common import load_all_schemas
from readoff.reports.study import read_study
from readoff.store import open_store
from readoff.studies import StepKind, load_study, missing, next_step, progress_of
from support import store_samples as samples
from support import study_records as records

STUDY = load_study(
    "s.toml",
    records.STUDY.replace(
        "[[programs]]",
        '[[configurations]]\nlabel = "cache-off"\nchanges = "the cache is off"\nmay_differ = ["cmos.*"]\n[[programs]]',
        1,
    )
    + "program = 'replay'\n"
    + "[[programs]]\nname = 'loop'\npath = 'C:\\INTLOOP.COM'\narguments = '20000'\n"
    + "[[metrics]]\nmetric = 'passes_per_second'\nprogram = 'loop'\n",
)
SPEED = {"as-found": 1.0, "zero-ws": 1.05, "cache-off": 0.8}
MOST_STEPS = 200


class Bench:
    """A machine that forgets everything; its records go to the store at once."""

    def __init__(self, path, tampered=""):
        self.path, self.tampered = path, tampered
        self.store = open_store(path, load_all_schemas(None))
        self.draw = random.Random(5)
        self.number, self.ordinal, self.minute = 1, 0, 0

    @property
    def name(self):
        return f"{records.SERIAL:08X}-{self.number:08X}"

    def restart_host(self):
        self.store.close()
        self.store = open_store(self.path, load_all_schemas(None))

    def cut(self):
        self.number += 1
        self.ordinal = 0

    def seen(self):
        return read_study(self.store, STUDY)

    def do(self, *, hangs=False):
        """Asks for a step and does it; gives its kind."""
        step = next_step(STUDY, self.seen().done, self.name)
        if step.kind is StepKind.PERSON and step.then is not None:
            step = step.then
        self.minute += 1
        self.ordinal += 1
        if step.kind is StepKind.SNAPSHOT:
            residents = [records.MOUSE] if step.label == self.tampered else []
            self.take(records.snapshot(self.number, step.label, residents=residents, minute=self.minute))
        elif step.kind is StepKind.RUN:
            self.take(self.a_run(step, hangs=hangs))
            if hangs:
                self.cut()
        elif step.kind is not StepKind.FINISHED:
            self.cut()
        return step.kind

    def a_run(self, step, *, hangs):
        value = SPEED[step.label] * self.draw.gauss(1, 0.002)
        if step.program.name == "replay":
            printed = samples.printed(f"{72.9 * value:.1f}")
        else:
            seconds = 20000 / (5847.9 * value)
            printed = (
                f"Integer loop: 20000 passes in {seconds:.2f} seconds\r\nSpeed: {5847.9 * value:.1f} passes/s\r\n"
            ).encode()
        return records.run(
            self.number,
            step.label,
            self.ordinal,
            printed,
            program=step.program.name,
            path=step.program.path,
            arguments=step.program.arguments,
            minute=self.minute,
            ends=not hangs,
        )

    def take(self, octets):
        self.store.take(octets, "the line")


@pytest.fixture
def bench(tmp_path):
    made = Bench(tmp_path / "s.db", tampered="cache-off")
    yield made
    made.store.close()


def test_a_whole_study_with_everything_that_goes_wrong(bench):
    steps, runs, hung = 0, 0, False
    while True:
        hang = runs == 11 and not hung
        kind = bench.do(hangs=hang)
        hung |= hang
        steps += 1
        runs += kind is StepKind.RUN
        if kind is StepKind.FINISHED:
            break
        if steps == 17:
            bench.cut()  # the power goes in the middle of a boot
        if steps in (9, 30):
            bench.restart_host()
        assert steps < MOST_STEPS
    seen = bench.seen()
    progress = progress_of(STUDY, seen.done)
    assert not progress.open
    assert len(progress.standings) == 9
    whole = [each for each in seen.done.boots if not missing(STUDY, seen.done, each)]
    assert len(whole) == 9 and all(len(each.runs) == 4 for each in whole)
    assert 1 <= len(progress.incomplete) <= 2  # the cut boot, and the one that hung
    assert any("never ended" in entry.reason for entry in seen.left_out)
    verdicts = seen.verdicts()
    standing = {each.about for each in verdicts.notices if not each.why}
    assert standing == {"cache-off:residents.MOUSE"}
    told = {each.name: each.given and str(each.given.verdict) for each in verdicts.judged}
    assert told == {
        "as-found~zero-ws:replay:shown_rate": "faster",
        "as-found~cache-off:replay:shown_rate": None,
        "zero-ws~cache-off:replay:shown_rate": None,
        "as-found~zero-ws:loop:passes_per_second": "faster",
        "as-found~cache-off:loop:passes_per_second": None,
        "zero-ws~cache-off:loop:passes_per_second": None,
    }
    assert not verdicts.order


def test_asking_twice_and_after_a_restart_gives_the_same_step(bench):
    for _ in range(7):
        before = next_step(STUDY, bench.seen().done, bench.name)
        bench.restart_host()
        assert next_step(STUDY, bench.seen().done, bench.name) == before
        bench.do()
