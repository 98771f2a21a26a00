"""STANDBY's step probe in the test machine with caches: from the measurement to the sentence of the guard."""

from dataclasses import replace

from readoff.box import AT, LATE, Box
from readoff.box.scenario import MACHINE
from readoff.box.spec import CacheLevel
from readoff.contract.record import parse_record
from readoff.link.steps import GivenStep
from readoff.reports.study import read_study
from readoff.studies import load_study, progress_of
from support.agent_box import EXIT_ALL
from support.standby_bench import WAITS, Room, StudyHost
from support.standby_scripted import stand_by

CACHES = (CacheLevel(8192), CacheLevel(65536, ways=1, clocks=5))
STUDY = load_study(
    "probes.toml",
    WAITS.replace("boots = 3", "boots = 1")
    .replace("repeats = 2", 'repeats = 1\nprobes = ["memory"]')
    .replace('label = "two-waits"', 'label = "two-waits"\ncaches = 0')
    .replace('label = "one-wait"', 'label = "one-wait"\ncaches = 2')
    .replace('"speed.*"]', '"speed.*", "staircase.*"]'),
)


def test_a_probe_comes_as_probe_would_make_it():
    step = GivenStep("probe", "Probe.", label="base", path="memory")
    _, host, exit_ = stand_by(step, GivenStep("run", label="base", path="C:\\EXITCODE.COM"), spec=LATE)
    assert exit_.code == EXIT_ALL
    records = [parse_record(octets) for octets in host.store.values()]
    assert sorted(each.kind for each in records) == ["probe", "probe", "run", "snapshot", "snapshot"]
    (probe,) = [each for each in records if each.values("probe_memory")]
    assert probe.values("run_start")["label"] == "base" and probe.values("probe_memory")["points"]


def test_a_probe_that_the_agent_does_not_know_is_not_asked_for_for_ever():
    step = GivenStep("probe", "Probe.", label="base", path="nothing")
    _, host, exit_ = stand_by(*[step] * 9, spec=AT)
    assert host.store == {} and "does not reach the host" in exit_.console.decode("cp437")


def test_the_base_has_a_cache_that_it_should_not_have(tmp_path):
    """By its staircase, whatever its label says: the tester took the cache for switched off, and it was on."""
    host = StudyHost(tmp_path / "s.db", STUDY)
    room = Room(host)
    cached = replace(MACHINE, caches=CACHES, memory_clocks=24)
    for at, label in enumerate(STUDY.labels):
        spec = replace(
            cached if label != "no-wait" else MACHINE, clocks_per_octet=4.0 - at / 4, cmos=((0x34, at),)
        )
        room.boxes[label] = Box(spec, {"C": room.drive})
    steps = []

    def on_step(asked, step):
        steps.append(step.what)
        if step.what == "person":
            room.in_a_while(1.5, room.person)

    host.on_step = on_step
    room.start_until_done(20)
    seen = read_study(host.store, STUDY)
    assert not progress_of(STUDY, seen.done).open and steps.count("probe") == 3
    standing = {each.about: each.sentence for each in seen.notices if not each.why}
    assert list(standing) == ["two-waits:caches"], "\n".join(standing.values())
    told = standing["two-waits:caches"]
    assert told.startswith(
        "By its memory staircase two-waits has 2 levels of cache (a step between 8 and 9.5 KiB; "
    )
    assert "where the study says no cache" in told
    verdicts = seen.verdicts()
    assert all(each.blocked for each in verdicts.judged if "two-waits" in (each.base, each.other))
    assert not any(each.blocked for each in verdicts.judged if "two-waits" not in (each.base, each.other))
    host.store.close()
