"""Facts by the contract's names and marks; what agrees within a label, and what differs between two."""

from hypothesis import given
from hypothesis import strategies as st

from readoff.contract.record import build_record, parse_record, record_contract
from readoff.snapshots import Fact, Snapshot, agreed, difference, facts_of, same_label
from readoff.snapshots.facts import cmos_sum
from support import store_samples as samples


def facts(**changes):
    return facts_of(parse_record(samples.snapshot_record(**changes)))


def shot(ident="a", label="zero-ws", **changes):
    return Snapshot(ident, label, "boot", facts(**changes))


def test_fields_become_facts_with_unit_and_mark():
    got = facts()
    assert got["cpu.class"] == Fact("cpu.class", "i80486")
    assert got["memory.conventional_kb"] == Fact("memory.conventional_kb", "640", "KB")
    assert got["cpu.msw"].volatile
    assert got["cmos.clock"].volatile
    assert not got["cmos.settings"].volatile


def test_environment_and_startup_files_by_name():
    got = facts()
    assert got["environment.PATH"].value == "C:\\DOS"
    assert got["environment.COMSPEC"].value == "C:\\COMMAND.COM"
    assert got["startup.AUTOEXEC.BAT"].value == "@ECHO OFF\nPATH C:\\DOS"


def test_residents_by_name_without_free_memory():
    got = facts()
    assert got["residents.COMMAND"] == Fact("residents.COMMAND", "216", "paragraphs")
    assert got["residents.SD"].value == "100"
    assert got["residents.READOFF"].volatile
    assert sum(name.startswith("residents.") for name in got) == 3


def test_cmos_sum_of_the_worked_example():
    # 16-bit sum of 10h-2Dh, high octet at 2Eh, low at 2Fh (the AT's check sum): 10=40 12=F0 14=0F 15=80 16=02
    # 18=0C 19=2F, rest 0 -> 01FCh.
    assert cmos_sum(bytes(samples.CMOS_SETTINGS)) == 0x01FC
    assert (facts()["cmos.sum"].value, facts()["cmos.sum_valid"].value) == ("01FCh", "yes")
    changed = bytearray(samples.CMOS_SETTINGS)
    changed[0x15 - 0x10] ^= 1
    assert facts(settings=bytes(changed))["cmos.sum_valid"].value == "no"
    swapped = bytearray(samples.CMOS_SETTINGS)
    swapped[0x1E:0x20] = b"\xfc\x01"
    assert facts(settings=bytes(swapped))["cmos.sum_valid"].value == "no"


def test_a_machine_without_cmos_says_absent():
    record = build_record("snapshot", samples.ident(), [("snapshot_start", {"label": "x"}), ("cmos", b"")])
    assert facts_of(parse_record(record)) == {"cmos": Fact("cmos", "absent")}


def test_a_section_that_cannot_be_read_is_said():
    record = build_record("snapshot", samples.ident(), [("cpu", b"\x01")])
    assert facts_of(parse_record(record))["cpu"].value.startswith("unreadable (")


def test_every_kind_with_facts_gives_some():
    """A section kind that is added to the contract needs nothing here."""
    contract = record_contract()
    for kind in contract.kinds.values():
        if kind.facts:
            size = contract.declarations.fixed_size(contract.declarations.layouts[kind.layout])
            octets = bytes(size or 0) or b"\x01X=1\0"
            got = facts_of(parse_record(build_record("snapshot", samples.ident(), [(kind.name, octets)])))
            assert got, kind.name
            assert all(name == kind.facts or name.startswith(kind.facts + ".") for name in got)


@given(st.lists(st.tuples(st.integers(0x20, 0x29), st.binary(max_size=300)), max_size=6))
def test_hostile_sections_never_fail(sections):
    for fact in facts_of(parse_record(build_record("snapshot", samples.ident(), sections))).values():
        assert isinstance(fact.value, str)


def test_one_label_that_disagrees():
    shots = [shot("a"), shot("b"), shot("c", memory={"extended_88_kb": 3072})]
    (found,) = same_label(shots)
    assert found.name == "memory.extended_88_kb"
    assert found.seen == {"7168 KB": ("a", "b"), "3072 KB": ("c",)}
    assert found.sentence() == "memory.extended_88_kb: 7168 KB in a and 1 more; 3072 KB in c"
    assert "memory.extended_88_kb" not in agreed(shots)
    assert "memory.conventional_kb" in agreed(shots)


def test_volatile_facts_make_no_difference():
    shots = [shot("a"), shot("b", clock=b"\x55" * 16, cpu={"msw": 0})]
    assert same_label(shots) == []
    assert difference(shots[0].facts, shots[1].facts) == []


def test_differences_are_named_in_order():
    driver = [*samples.BLOCKS, {"segment": 9, "owner": 9, "paragraphs": 1040, "name": "MOUSE"}]
    changed = bytearray(samples.CMOS_SETTINGS)
    changed[0x2A - 0x10] = 0x0C
    other = shot(cpu={"class": "i80386"}, blocks=driver, settings=bytes(changed))
    found = {each.name: each for each in difference(shot().facts, other.facts)}
    assert list(found) == ["cpu.class", "cmos.settings", "cmos.sum", "cmos.sum_valid", "residents.MOUSE"]
    assert found["cpu.class"].sentence() == "cpu.class: i80486 → i80386"
    assert found["cmos.settings"].sentence() == "cmos.settings: octet 2Ah 00 → 0C"
    assert found["residents.MOUSE"].sentence() == "residents.MOUSE: absent → 1040 paragraphs"


def test_a_changed_line_of_a_startup_file_is_shown():
    other = shot(autoexec=b"@ECHO OFF\r\nLH MOUSE\r\nPATH C:\\DOS\r\n")
    (found,) = difference(shot().facts, other.facts)
    assert found.sentence() == "startup.AUTOEXEC.BAT: + LH MOUSE"


def test_what_is_unsure_is_left_out():
    other = shot(cpu={"class": "i80386"})
    assert difference(shot().facts, other.facts, leave_out=["cpu.class"]) == []


NAMES = st.sampled_from(["a", "b", "c", "d"])
FACTS = st.dictionaries(NAMES, st.tuples(st.sampled_from(["1", "2"]), st.booleans()))


def made(table):
    return {name: Fact(name, value, "", volatile) for name, (value, volatile) in table.items()}


@given(FACTS, FACTS)
def test_difference_is_symmetric_and_empty_with_itself(one, two):
    ours, theirs = made(one), made(two)
    assert difference(ours, ours) == []
    there = {(d.name, d.base_text, d.other_text) for d in difference(ours, theirs)}
    back = {(d.name, d.other_text, d.base_text) for d in difference(theirs, ours)}
    assert there == back


@given(st.lists(FACTS, max_size=4))
def test_agreed_and_disagreed_share_no_name(tables):
    shots = [Snapshot(str(i), "x", "boot", made(table)) for i, table in enumerate(tables)]
    unsure = {each.name for each in same_label(shots)}
    assert unsure.isdisjoint(agreed(shots))
    stable = {name for each in shots for name in each.stable()}
    assert unsure | set(agreed(shots)) == stable


def test_the_environment_ends_at_its_empty_string():
    """Behind it DOS 3 and later keep a count and the path of the program that looked (from memory)."""
    strings = "PATH=C:\\DOS\0PROMPT=$P$G\0\0\x01\0C:\\READOFF.COM\0"
    record = parse_record(build_record("snapshot", samples.ident(1), [("environment", {"strings": strings})]))
    assert {name: fact.value for name, fact in facts_of(record).items()} == {
        "environment.PATH": "C:\\DOS",
        "environment.PROMPT": "$P$G",
    }


def test_what_did_not_answer_has_no_size():
    facts = facts_of(parse_record(samples.snapshot_record(memory={"extended_88_kb": 0xFFFF})))
    assert (facts["memory.extended_88_kb"].value, facts["memory.extended_88_kb"].unit) == ("no answer", "")
    assert (facts["memory.conventional_kb"].value, facts["memory.conventional_kb"].unit) == ("640", "KB")
