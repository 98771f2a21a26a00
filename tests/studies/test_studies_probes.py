"""What a boot begins with: the programs' files and the agent's probes, and what the guard makes of its staircases."""

from dataclasses import replace

import pytest

from readoff.snapshots import Snapshot
from readoff.snapshots.fact import Fact
from readoff.studies import (
    BootSeen,
    Configuration,
    Done,
    Program,
    RunSeen,
    StepKind,
    batch_files,
    boots_in_order,
    guard,
    load_study,
    next_step,
)
from support import study_records as records

STUDY = replace(load_study("s", records.STUDY), probes=("memory", "disk"))


def boot(name, label, *, runs=0, probes=(), hung=()):
    seen = [RunSeen(1, "id", each, True) for each in probes] + [
        RunSeen(1, "id", each, False, "it hung") for each in hung
    ]
    return BootSeen(
        name, label, False, 1, False, tuple([RunSeen(1, "id", "replay", True)] * runs), tuple(seen)
    )


def step(*boots, study=STUDY):
    return next_step(study, Done(boots), boots[-1].boot)


def test_a_boot_begins_with_its_probes_each_once():
    first = step(boot("b1", "as-found"))
    assert (first.kind, first.probe, first.label) == (StepKind.PROBE, "memory", "as-found")
    assert "READOFF PROBE memory" in first.words and "Boot 1 of 6" in first.words
    assert step(boot("b1", "as-found", probes=["memory"])).probe == "disk"
    assert step(boot("b1", "as-found", probes=["memory", "disk"])).kind is StepKind.RUN
    assert step(boot("b1", "as-found"), study=replace(STUDY, probes=())).kind is StepKind.RUN


def test_once_for_each_configuration():
    once = replace(STUDY, probe_once=True)
    done = boot("b1", "as-found", runs=2, probes=["memory", "disk"])
    assert step(done, boot("b2", "as-found"), study=once).kind is StepKind.RUN
    assert step(done, boot("b2", "zero-ws"), study=once).probe == "memory"
    assert step(done, boot("b2", "as-found")).probe == "memory"


def test_a_probe_that_hangs_is_not_asked_for_for_ever():
    hung = [boot(f"b{n}", "as-found", hung=["memory"]) for n in (1, 2)]
    assert step(hung[0], boot("b5", "as-found")).probe == "memory"
    assert step(*hung, boot("b5", "as-found")).probe == "disk"
    assert step(*hung, boot("b5", "zero-ws")).probe == "memory"


def test_a_boot_whose_runs_are_there_is_not_kept_for_a_probe():
    assert step(boot("b1", "as-found", runs=2)).kind is not StepKind.PROBE


def test_batch_files_probe_before_they_run():
    files = batch_files(replace(STUDY, probe_once=True), boots_in_order(STUDY), "A:")
    lines = {
        name: octets.decode("cp437").split("\r\n") for name, octets in files.items() if name != "PLAN.TXT"
    }
    probed = [name for name, each in lines.items() if any("READOFF PROBE" in line for line in each)]
    assert len(probed) == 2
    each = lines[probed[0]]
    assert next(line for line in each if "READOFF" in line).startswith(r"A:\READOFF PROBE memory /L:")
    every = batch_files(STUDY, boots_in_order(STUDY), "A:")
    assert sum(b"PROBE disk" in octets for octets in every.values()) == 6


# -- the guard, by staircase -------------------------------------------------------------------------------------------


def shot(name, label, *ends):
    """A snapshot of a boot whose staircase has steps that end between these KiB; None: no staircase."""
    facts = {}
    if ends != (None,):
        facts["staircase.conventional.levels"] = Fact("", str(len(ends) + 1), measured=True)
        for number, end in enumerate(ends, 1):
            facts[f"staircase.conventional.step_{number}"] = Fact("", end, "KiB", measured=True)
    facts = {key: replace(fact, name=key) for key, fact in facts.items()}
    return Snapshot(f"{name}-0001", label, name, facts | {"cmos.sum": Fact("cmos.sum", label)})


SMALL, LARGE = "8 to 9.5", "224 to 288"


def told(base, other, *, caches=(None, None), allows=()):
    configurations = (
        Configuration("as-found", "no cache on the board", caches=caches[0]),
        Configuration("zero-ws", "a cache of 256 KB", may_differ=("cmos.*", *allows), caches=caches[1]),
    )
    study = replace(STUDY, configurations=configurations)
    boots = [boot(each.boot, each.label, runs=2) for each in (*base, *other)]
    shots = {"as-found": base, "zero-ws": other}
    return {each.about: each.sentence for each in guard(study, Done(tuple(boots)), shots)}


def test_a_base_that_has_a_cache_it_should_not_have():
    """Both labels are on the machine with its cache: the label says otherwise, the staircase does not."""
    base = [shot("b-1", "as-found", SMALL, LARGE), shot("b-3", "as-found", SMALL, LARGE)]
    other = [shot("b-2", "zero-ws", SMALL, LARGE)]
    assert told(base, other) == {}, "nobody said what there should be"
    found = told(base, other, caches=(1, 2))
    assert list(found) == ["as-found:caches"]
    assert found["as-found:caches"] == (
        "By its memory staircase as-found has 2 levels of cache (a step between 8 and 9.5 KiB; a step between 224 and "
        "288 KiB), where the study says one level of cache: b-1, b-3."
    )


def test_a_cache_in_one_configuration_only_without_leave():
    base, other = [shot("b-1", "as-found", SMALL)], [shot("b-2", "zero-ws", SMALL, LARGE)]
    found = told(base, other)
    assert "as-found has one level of cache" in found["zero-ws:staircase.conventional.levels"]
    assert "zero-ws 2 levels of cache" in found["zero-ws:staircase.conventional.levels"]
    assert told(base, other, allows=("staircase.*",), caches=(1, 2)) == {}


def test_a_cache_in_some_boots_only():
    base = [shot("b-1", "as-found", SMALL), shot("b-3", "as-found", SMALL, LARGE)]
    found = told(base, [shot("b-2", "zero-ws", SMALL)])
    assert (
        "not the same in all boots of as-found: one level of cache in b-1"
        in found["as-found:staircase.conventional.levels"]
    )


@pytest.mark.parametrize("caches", [0, 2])
def test_what_was_said_and_never_measured(caches):
    found = told([shot("b-1", "as-found", None)], [shot("b-2", "zero-ws", None)], caches=(caches, None))
    assert (
        list(found) == ["as-found:caches"] and "no memory staircase of it shows" in found["as-found:caches"]
    )
    flat = told([shot("b-1", "as-found")], [shot("b-2", "zero-ws")], caches=(caches, None))
    assert ("as-found:caches" in flat) is (caches == 2)
    if caches:
        assert "has no cache (no step), where the study says 2 levels of cache" in flat["as-found:caches"]


# -- the programs' files ---------------------------------------------------------------------------------------

SENDS = replace(
    STUDY, probes=(), send_programs=True, programs=(*STUDY.programs, Program("loop", "C:\\LOOP.COM"))
)


def with_files(name, *paths, runs=0):
    return replace(boot(name, "as-found", runs=runs), files=tuple(path.upper() for path in paths))


def test_each_program_comes_home_before_anything_runs():
    first = step(with_files("b1"), study=SENDS)
    assert (first.kind, first.path, first.label) == (StepKind.SEND, "C:\\REPLAY.COM", "as-found")
    assert "READOFF SEND C:\\REPLAY.COM" in first.words
    assert step(with_files("b1", "c:\\replay.com"), study=SENDS).path == "C:\\LOOP.COM"
    assert step(with_files("b1", "C:\\REPLAY.COM", "C:\\LOOP.COM"), study=SENDS).kind is StepKind.RUN
    assert step(with_files("b1", runs=1), study=SENDS).kind is StepKind.RUN
    assert step(with_files("b1"), study=replace(SENDS, send_programs=False)).kind is StepKind.RUN


def test_a_file_that_does_not_come_is_passed_over():
    done = Done((with_files("b1"),))
    assert next_step(SENDS, done, "b1", past="C:\\REPLAY.COM").path == "C:\\LOOP.COM"
    assert next_step(SENDS, done, "b1", past="C:\\LOOP.COM").kind is StepKind.RUN
