"""The guard: what stands against a finding is named, and nothing else is."""

from dataclasses import replace

import pytest

from readoff.contract.record import parse_record
from readoff.snapshots import Fact, Snapshot, facts_of
from readoff.studies import (
    BootSeen,
    ChangeBack,
    Configuration,
    Done,
    Explanation,
    RunSeen,
    guard,
    load_study,
    standing,
)
from support import study_records as records

STUDY = load_study("s", records.STUDY)
FITTING = Configuration("zero-ws", "a part", ChangeBack.FITTING, ("cmos.*",))


def shot(nonce, label, **more):
    record = parse_record(records.snapshot(nonce, label, **more))
    return Snapshot(str(record.id), label, record.id.boot, facts_of(record))


def boot(nonce, label, *, warm=False, snapshots=1, serial="11223344", path="C:\\REPLAY.COM", digest=""):
    run = RunSeen(nonce, "id", "replay", True, "", path, digest)
    return BootSeen(f"{serial}-{nonce:08X}", label, warm, snapshots, False, (run,))


def sides(**more):
    """Two boots a side; more: label -> what is otherwise with its second snapshot."""
    shots = {label: [shot(at, label) for at in nonces] for label, nonces in LABELS.items()}
    for label, otherwise in more.items():
        name = label.replace("_", "-")
        shots[name][1] = shot(LABELS[name][1], name, **otherwise)
    return shots


LABELS = {"as-found": (1, 4), "zero-ws": (2, 3)}
BOOTS = tuple(boot(nonce, label) for label, nonces in LABELS.items() for nonce in nonces)


def found(shots=None, boots=BOOTS, study=STUDY):
    return {each.about: each for each in guard(study, Done(boots), sides() if shots is None else shots)}


def test_what_the_study_allows_is_not_told():
    assert found() == {}


def test_a_resident_program_in_some_boots_of_one_configuration():
    told = found(sides(zero_ws={"residents": [records.MOUSE]}))
    assert list(told) == ["zero-ws:residents.MOUSE"]
    sentence = told["zero-ws:residents.MOUSE"].sentence
    assert "MOUSE was in memory in 1 of 2 snapshots of zero-ws only (11223344-00000003-0001)" in sentence


def test_a_resident_program_in_one_configuration_only():
    shots = sides()
    shots["zero-ws"] = [shot(n, "zero-ws", residents=[records.MOUSE]) for n in (2, 3)]
    told = found(shots)
    assert list(told) == ["zero-ws:residents.MOUSE"]
    assert "is in memory in zero-ws only" in told["zero-ws:residents.MOUSE"].sentence
    shots["as-found"], shots["zero-ws"] = (
        [shot(n, "x", residents=[records.MOUSE]) for n in (1, 4)],
        sides()["zero-ws"],
    )
    assert "is in memory in as-found only" in found(shots)["zero-ws:residents.MOUSE"].sentence


def test_a_memory_size_that_changed():
    shots = sides()
    shots["zero-ws"] = [shot(n, "zero-ws", memory={"extended_88_kb": 3072}) for n in (2, 3)]
    told = found(shots)
    assert list(told) == ["zero-ws:memory.extended_88_kb"]
    assert (
        "memory size is not the same between as-found and zero-ws: memory.extended_88_kb: 7168 KB → 3072 KB"
        in (told["zero-ws:memory.extended_88_kb"].sentence)
    )
    told = found(sides(as_found={"memory": {"extended_88_kb": 3072}}))
    assert (
        "memory size changed among the snapshots of as-found"
        in told["as-found:memory.extended_88_kb"].sentence
    )


def test_a_change_that_was_not_made():
    shots = sides()
    shots["zero-ws"] = [shot(n, "zero-ws", settings=records.SETTINGS["as-found"]) for n in (2, 3)]
    assert list(found(shots)) == ["zero-ws:same"]


def test_a_warm_boot_where_a_cold_one_was_asked_and_the_other_way_round():
    boots = (*BOOTS[:3], replace(BOOTS[3], warm=True))
    told = found(boots=boots)
    assert (
        "by a warm reset where the study asks for cold boots: 11223344-00000003"
        in told["zero-ws:warm"].sentence
    )
    told = found(boots=boots, study=replace(STUDY, cold=False))
    assert set(told) == {"as-found:cold", "zero-ws:cold"}


def test_a_boot_of_the_other_kind_in_which_nothing_ran_needs_no_explanation():
    """Such as the one by which a study of warm boots begins: it is reset before anything runs."""
    boots = [replace(each, warm=True) for each in BOOTS]
    idle = replace(boot(9, "as-found", warm=False), runs=())
    assert found(boots=(idle, *boots), study=replace(STUDY, cold=False)) == {}
    assert found(boots=(replace(idle, warm=True), *BOOTS)) == {}


def test_nothing_shows_what_it_was():
    boots = (replace(BOOTS[0], snapshots=0, warm=None), replace(BOOTS[1], warm=None), *BOOTS[2:])
    told = found(boots=boots)
    assert set(told) == {"as-found:snapshot", "as-found:reset"}
    assert BOOTS[1].boot in told["as-found:reset"].sentence


@pytest.mark.parametrize(
    ("every", "odd", "told"),
    [
        ({}, {"path": "D:\\REPLAY.COM"}, "D:\\REPLAY.COM in zero-ws"),
        ({"digest": "ba7816bf"}, {"digest": "e3b0c442"}, "e3b0c442 in zero-ws"),
        (
            {"digest": "ba7816bf"},
            {"digest": "ba7816bf", "path": "D:\\REPLAY.COM"},
            "",
        ),  # the same octets elsewhere
        ({"digest": "ba7816bf"}, {"path": "D:\\REPLAY.COM"}, "D:\\REPLAY.COM in zero-ws"),
        ({}, {"digest": "ba7816bf"}, ""),  # only one boot's came home: nothing to hold it against
    ],
)
def test_a_program_that_is_not_the_same_file(every, odd, told):
    boots = [boot(nonce, label, **every) for label, nonces in LABELS.items() for nonce in nonces]
    seen = found(boots=(*boots[:3], boot(3, "zero-ws", **odd)))
    assert set(seen) == ({"as-found:program.replay", "zero-ws:program.replay"} if told else set())
    if told:
        sentence = seen["zero-ws:program.replay"].sentence
        assert "replay is not the same file everywhere: " in sentence and told in sentence


def test_one_specimen():
    fitted = replace(STUDY, configurations=(STUDY.base, FITTING))
    assert found(study=fitted)["zero-ws:specimen"].why == ""
    known = replace(fitted, configurations=(STUDY.base, replace(FITTING, specimen="the green one")))
    assert found(study=known) == {}


def test_runs_of_other_agents():
    boots = (*BOOTS[:2], boot(2, "zero-ws", serial="AABBCCDD"), BOOTS[3])
    assert set(found(boots=boots)) == {"as-found:agent", "zero-ws:agent"}
    named = replace(STUDY, agents=("11223344",))
    told = found(boots=boots, study=named)
    assert set(told) == {"zero-ws:agent"} and "AABBCCDD" in told["zero-ws:agent"].sentence
    assert found(boots=boots, study=replace(STUDY, agents=("11223344", "AABBCCDD"))) == {}


def test_a_boot_of_two_labels():
    boots = (*BOOTS, boot(1, "zero-ws"))
    assert set(found(boots=boots)) == {"as-found:labels", "zero-ws:labels"}


def test_an_explanation_lets_it_pass_and_only_that():
    shots = sides(zero_ws={"residents": [records.MOUSE]})
    study = replace(STUDY, explanations=(Explanation("zero-ws:residents.*", "it was asleep"),))
    notices = guard(study, Done((*BOOTS[:3], replace(BOOTS[3], warm=True))), shots)
    assert {each.about: each.why for each in notices} == {
        "zero-ws:warm": "",
        "zero-ws:residents.MOUSE": "it was asleep",
    }
    assert [each.about for each in standing(notices, "as-found", "zero-ws")] == ["zero-ws:warm"]
    assert standing(notices, "as-found", "another") == ()


def clocked(name, label, mhz, within="0.02", method="counter"):
    facts = {"speed.mhz": mhz, "speed.mhz_within": within, "speed.method": method, "cmos.sum": label}
    kept = {key: Fact(key, value, "MHz", key != "cmos.sum") for key, value in facts.items()}
    return Snapshot(f"11223344-{name}-0001", label, f"11223344-{name}", kept)


@pytest.mark.parametrize(
    ("mhz", "within", "method", "changed"),
    [
        ("33.210", "0.02", "counter", False),
        ("33.820", "0.02", "counter", False),  # under the 2 % that matter
        ("34.000", "0.02", "counter", True),  # a jumper that nobody remembers
        ("34.000", "0.90", "counter", False),  # over the 2 %, and within what the timer resolved
        ("34.000", "0.02", "loop", False),  # another way of estimating, by the makers' tables
        ("16.610", "0.02", "loop", True),
        ("16.610", "0.02", "counter", True),
        ("40.010", "0.02", "counter", True),
    ],
)
def test_a_clock_that_changed_is_told_and_an_estimate_that_wanders_is_not(mhz, within, method, changed):
    """Such as a turbo switch: in one boot of a configuration, or in all boots of one configuration."""
    how = {"within": within, "method": method}
    base = [clocked("00000001", "as-found", "33.190"), clocked("00000004", "as-found", mhz, **how)]
    other = [clocked("00000002", "zero-ws", "33.200"), clocked("00000003", "zero-ws", "33.190")]
    told = found({"as-found": base, "zero-ws": other})
    assert list(told) == (["as-found:speed.mhz"] if changed else [])
    if changed:
        assert "clock changed among the snapshots of as-found: about " in told["as-found:speed.mhz"].sentence
    other = [clocked("00000002", "zero-ws", mhz, **how), clocked("00000003", "zero-ws", mhz, **how)]
    told = found({"as-found": base[:1] * 2, "zero-ws": other})
    assert list(told) == (["zero-ws:speed.mhz"] if changed else [])
    allowed = replace(STUDY.configurations[1], may_differ=("cmos.*", "speed.*"))
    told = found(
        {"as-found": base[:1] * 2, "zero-ws": other},
        study=replace(STUDY, configurations=(STUDY.base, allowed)),
    )
    assert told == {}


def test_how_fine_a_clock_is_looked_at_follows_what_matters_to_the_study():
    base = [clocked("00000001", "as-found", "33.190"), clocked("00000004", "as-found", "33.190")]
    other = [clocked("00000002", "zero-ws", "33.690"), clocked("00000003", "zero-ws", "33.690")]  # 1.5 % more
    for margin, told in ((0.02, []), (0.01, ["zero-ws:speed.mhz"]), (0.001, ["zero-ws:speed.mhz"])):
        study = replace(STUDY, wanted=(replace(STUDY.wanted[0], margin=margin),))
        assert list(found({"as-found": base, "zero-ws": other}, study=study)) == told
    finer = [clocked("00000002", "zero-ws", "33.390"), clocked("00000003", "zero-ws", "33.390")]  # 0.6 %
    study = replace(STUDY, wanted=(replace(STUDY.wanted[0], margin=0.001),))
    assert found({"as-found": base, "zero-ws": finer}, study=study) == {}


def test_volatile_facts_are_left_out():
    told = found({label: [replace(s, facts=s.facts) for s in each] for label, each in sides().items()})
    assert told == {}
    volatile = next(fact for fact in sides()["as-found"][0].facts.values() if fact.volatile)
    shots = sides()
    first = shots["zero-ws"][0]
    shots["zero-ws"][0] = replace(
        first, facts={**first.facts, volatile.name: replace(volatile, value="other")}
    )
    assert found(shots) == {}


def test_a_configuration_without_boots_is_not_accused():
    assert found({"as-found": sides()["as-found"]}, boots=BOOTS[:2]) == {}


def test_a_window_of_windows_stands_until_it_is_explained():
    """In every boot of both sides alike, so that no difference gives it away."""
    there = {"dos.windows": Fact("dos.windows", "3"), "dos.windows_minor": Fact("dos.windows_minor", "10")}
    shots = {
        label: [replace(each, facts={**each.facts, **there}) for each in side]
        for label, side in sides().items()
    }
    told = found(shots)
    assert set(told) == {"as-found:multitasking", "zero-ws:multitasking"}
    assert "as-found was run in a window of Windows 3.10" in told["as-found:multitasking"].sentence
