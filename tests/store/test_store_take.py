"""Taking: one record is one run, by whatever ways it comes; nothing is lost, doubled or silently changed."""

import sqlite3
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readoff.contract.record import build_record, parse_records
from readoff.errors import StoreError
from readoff.readings import load_schemas
from readoff.store import find, open_store
from support import store_samples as samples

SCHEMAS = load_schemas([("replay.toml", samples.SCHEMA)])
RUN = samples.run_record()


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "s.db", SCHEMAS) as made:
        yield made


def values(store, **filters):
    return [(row.metric, row.value, row.unit) for row in find.readings(store, **filters)]


GOOD = [("elapsed", "56.2436194", "s"), ("frames", "2134", "frames"), ("rate", "72.9", "frames/s")]


def test_a_run_is_taken_with_its_readings(store):
    result = store.take(RUN, "floppy/A.RDO")
    assert (result.new, result.known, result.replaced, result.held) == ((samples.ident(),), (), (), ())
    (run,) = find.runs(store)
    assert (run.number, run.label, run.program, run.state, run.outcome) == (
        1,
        "zero-ws",
        "replay",
        "complete",
        "finished",
    )
    # DOS date and time of the Microsoft FAT specification's worked value: 1CBF, 32C0.
    assert run.dos_time == "1994-05-31 06:22:00"
    assert run.boot == "11223344-A1B2C3D4"
    assert sorted(values(store)) == GOOD


def test_elapsed_time_is_the_timers(store):
    # A tick is 54.92541 ms (PIT 315/264 MHz / 65536), so 1024 ticks take 56.2436 s.
    store.take(RUN, "a")
    elapsed = next(row for row in find.readings(store) if row.metric == "elapsed")
    assert elapsed.approximate == pytest.approx(1024 * 65536 * 264 / 315e6, abs=1e-7)
    assert float(elapsed.quantum) == pytest.approx(838.095e-9, abs=1e-10)
    assert elapsed.roundings == 2  # read at the start and at the end
    assert (elapsed.better, elapsed.schema) == ("lower", "agent")


def test_the_same_octets_twice_are_one_arrival(store):
    first, second = store.take(RUN, "file"), store.take(RUN, "COM1")
    assert (second.arrival, second.again, second.known) == (first.arrival, True, (samples.ident(),))
    assert find.counts(store)["arrivals"] == 1
    full = find.run_in_full(store, "1")
    assert [each.came_from for each in full.sightings] == ["file", "COM1"]
    assert find.counts(store)["runs"] == 1
    assert find.counts(store)["readings"] == 3


def test_the_same_record_in_other_company_is_one_run(store):
    store.take(RUN, "line")
    result = store.take(samples.run_record(5) + RUN + b"\x1a\x1a", "image")
    assert (result.new, result.known, result.held) == ((samples.ident(5),), (samples.ident(),), ())
    assert find.counts(store)["runs"] == 2
    assert [each.came_from for each in find.run_in_full(store, str(samples.ident())).sightings] == [
        "line",
        "image",
    ]


def test_a_longer_copy_takes_the_place_of_a_cut_short_one(store):
    end = len(samples.run_record(console=b"")) // 2
    store.take(RUN[: end + 40], "a")
    (cut,) = find.runs(store)
    assert (cut.state, cut.readings, cut.number) == ("cut short", 0, 1)
    assert "cut short" in find.held(store)[0].reason
    result = store.take(RUN, "b")
    assert result.replaced == (samples.ident(),)
    (run,) = find.runs(store)
    assert (run.state, run.number) == ("complete", 1)
    assert find.held(store) == []
    assert sorted(values(store)) == GOOD
    ((_, event),) = find.run_in_full(store, "1").history
    assert "took the place" in event


def test_a_shorter_copy_changes_nothing(store):
    store.take(RUN, "a")
    result = store.take(RUN[:-9], "b")
    assert (result.known, result.replaced, result.held) == ((samples.ident(),), (), ())
    assert sorted(values(store)) == GOOD
    assert find.runs(store)[0].completeness == "whole"


def test_a_damaged_copy_gives_way_to_a_whole_one(store):
    broken = bytearray(RUN)
    broken[RUN.index(b"72.9")] ^= 1
    store.take(bytes(broken), "a")
    assert find.runs(store)[0].state == "damaged"
    assert values(store) == []
    store.take(RUN, "b")
    assert sorted(values(store)) == GOOD


def test_two_whole_records_under_one_id_are_not_mixed(store):
    store.take(RUN, "a")
    result = store.take(samples.run_record(console=samples.printed("99.9")), "b")
    assert (result.new, result.replaced) == ((), ())
    assert "two different records carry the same id" in result.held[0].reason
    assert sorted(values(store)) == GOOD
    assert find.counts(store)["runs"] == 1
    # Kept all the same.
    assert find.counts(store)["arrivals"] == 2


def test_an_unfinished_run_says_so(store):
    # What the agent spools before it starts the program: the machine hung in it.
    opened = samples.run_record()[: samples.run_record().index(b"Replay") - 4]
    store.take(opened, "a")
    (run,) = find.runs(store)
    assert (run.state, run.label, run.readings, run.holds) == ("unfinished", "zero-ws", 0, 0)


def test_captures_after_run_end_are_not_read_from_a_record_without_end(store):
    sections = [
        ("run_start", samples.run_start()),
        ("run_end", samples.run_end()),
        ("console", b"Replay: 2134 frames in 1024 ticks (35 ticks/s)\r\nRate: 7"),
        ("console", b"2.9 frames/s\r\n"),
    ]
    whole = build_record("run", samples.ident(), sections)
    store.take(whole[: whole.index(b"2.9 frames/s") - 4], "a")
    assert [row.metric for row in find.readings(store)] == ["elapsed"]
    store.take(whole, "b")
    assert sorted(values(store)) == GOOD


def test_a_whole_record_without_a_run_end_gives_no_readings(store):
    odd = build_record(
        "run", samples.ident(), [("run_start", samples.run_start()), ("console", samples.printed())]
    )
    store.take(odd, "a")
    assert find.runs(store)[0].state == "unfinished"
    assert values(store) == []


def test_a_file_record_stands_alone_and_is_read(store):
    store.take(samples.file_record(), "a")
    (run,) = find.runs(store)
    assert (run.kind, run.label, run.program, run.path, run.state) == (
        "file",
        "",
        "",
        "C:\\WAYS.OUT",
        "complete",
    )
    assert values(store) == [("frames", "2134", "frames"), ("rate", "72.9", "frames/s")]
    assert find.labels(store) == []


def test_a_file_with_octets_missing_is_held(store):
    result = store.take(samples.file_record(size=4000), "a")
    assert "4000 octets by its folder entry" in result.held[0].reason
    assert values(store) == []


def test_a_screen_is_read(store):
    lines = ["Replay: 2134 frames in 1024 ticks (35 ticks/s)", "Rate: 72.9 frames/s"]
    store.take(samples.run_record(console=b"", screens=(samples.screen(lines),)), "a")
    assert sorted(values(store)) == GOOD
    (capture,) = (each for each in find.run_in_full(store, "1").captures if each.capture.kind == "screen")
    assert (capture.moment, capture.rows, capture.capture.columns) == ("exit", 25, 80)


@pytest.mark.parametrize("change", [{"rows": 24}, {"columns": 0}, {"packing": 9}])
def test_a_screen_that_does_not_fit_is_held(store, change):
    odd = samples.screen(["Rate: 72.9 frames/s"]) | change
    result = store.take(samples.run_record(screens=(odd,)), "a")
    assert len(result.held) == 1
    assert sorted(values(store)) == GOOD  # by the console


def test_output_that_no_schema_knows_is_held_and_read_later(store, tmp_path):
    with open_store(tmp_path / "other.db") as bare:
        result = bare.take(RUN, "a")
        assert "no schema recognises what replay showed" in result.held[0].reason
    with open_store(tmp_path / "other.db", SCHEMAS) as taught:
        changes = taught.reread()
        assert {(metric, value) for _, metric, _, value in changes.new} == {
            ("frames", "2134 frames"),
            ("rate", "72.9 frames/s"),
        }
        assert (changes.gone, changes.holds_before, changes.holds_after) == ((), 1, 0)
        assert sorted(values(taught)) == GOOD


def test_unknown_kinds_of_record_and_section_are_kept(store):
    later = build_record(9, samples.ident(7), [(0x66, b"new")])  # type: ignore[arg-type]
    result = store.take(later, "a")
    assert "kind that this program does not know" in result.held[0].reason
    with_section = build_record(
        "run",
        samples.ident(8),
        [("run_start", samples.run_start()), (0x66, b"new"), ("run_end", samples.run_end())],
    )
    assert store.take(with_section, "b").held == ()
    full = find.run_in_full(store, "1")
    assert [s.payload for s in full.record.sections if not s.name] == [b"new"]


def test_a_file_that_was_still_being_written_leaves_no_hold_behind(store):
    assert store.take(RUN[:20], "share/A.RDO").held
    assert store.take(RUN, "share/A.RDO").held == ()
    assert find.held(store) == []


def test_a_section_that_does_not_fit_its_layout_is_held_with_its_place(store):
    odd = build_record("run", samples.ident(), [("run_start", samples.run_start()), ("run_end", b"\0\0")])
    result = store.take(odd, "a")
    assert "run_end.exit_code" in result.held[0].reason
    assert find.runs(store)[0].state == "unfinished"
    assert values(store) == []


def test_the_same_octets_mean_the_same_wherever_they_lie(tmp_path):
    cut = RUN[:100]
    outcomes = []
    for number, octets in enumerate((cut, cut + samples.run_record(9), b"noise" + cut)):
        with open_store(tmp_path / f"{number}.db", SCHEMAS) as store:
            store.take(octets, "a")
            row = store.db.execute(
                "SELECT completeness, problem, sha256 FROM records WHERE id = ?", [str(samples.ident())]
            )
            outcomes.append(row.fetchone())
    assert outcomes[0] == outcomes[1] == outcomes[2]
    assert outcomes[0][0] == "cut short"


def test_a_hostile_record_fills_no_list(store):
    odd = build_record(
        "run", samples.ident(), [("run_start", samples.run_start()), *[("screen", b"")] * 20_000]
    )
    result = store.take(odd, "a")
    assert 10 < len(result.held) < 100
    assert "things more are held" in result.held[-1].reason


def test_octets_that_are_no_record_are_held_with_their_place(store):
    result = store.take(b"boot log\r\n" + RUN, "COM1")
    assert result.new == (samples.ident(),)
    assert [(each.begin, each.length) for each in result.held] == [(0, 10)]
    assert "octet 0" in result.held[0].reason


def test_nothing_at_all_is_an_arrival_without_holds(store):
    assert store.take(b"", "empty").held == ()


def test_known_only_vouches_for_what_is_vouched_for(store):
    whole_check = int.from_bytes(RUN[-4:], "little")
    assert not store.known(samples.ident(), len(RUN), whole_check)
    broken = bytearray(RUN)
    broken[60] ^= 0x10  # damaged on the way: same length, same last four octets
    store.take(bytes(broken), "card")
    assert not store.known(samples.ident(), len(RUN), whole_check)
    store.take(RUN, "line")
    assert store.known(samples.ident(), len(RUN), whole_check)
    assert not store.known(samples.ident(), len(RUN) - 1, whole_check)
    assert not store.known(samples.ident(9), len(RUN), whole_check)


def test_known_covers_a_record_that_ends_between_sections(store):
    opened = RUN[: RUN.index(b"Replay") - 4]
    store.take(opened, "a")
    assert store.known(samples.ident(), len(opened), int.from_bytes(opened[-4:], "little"))


def test_the_hosts_time_is_utc_whatever_its_zone(tmp_path):
    moment = datetime(2001, 2, 3, 4, 5, 6, tzinfo=timezone(timedelta(hours=2)))
    with open_store(tmp_path / "s.db", SCHEMAS, now=lambda: moment) as store:
        store.take(RUN, "a")
        assert find.runs(store)[0].came_at == "2001-02-03T02:05:06+00:00"
        assert moment.astimezone(UTC).hour == 2


def test_names_that_are_no_text_are_kept_readable(store):
    store.take(b"x", "caf\udce9.RDO")
    assert find.held(store)[0].came_from == "caf\\udce9.RDO"


def test_every_truncation(store):
    store.db.execute("PRAGMA synchronous = OFF")  # nothing here is about power cuts
    for length in range(1, len(RUN)):
        check_copy(store, length, lambda octets, length=length: octets[:length])


def test_every_flipped_bit(store):
    store.db.execute("PRAGMA synchronous = OFF")
    for at in range(len(RUN)):
        for bit in range(8):
            check_copy(store, at * 8 + bit, lambda octets, at=at, bit=bit: flipped(octets, at, bit))


def flipped(octets, at, bit):
    out = bytearray(octets)
    out[at] ^= 1 << bit
    return bytes(out)


def check_copy(store, number, spoil):
    """Stored whole, cut short or held; never a changed reading; and the true record puts everything right."""
    true = samples.run_record(nonce=number)
    octets = spoil(true)
    result = store.take(octets, f"{number} spoilt")
    kept = store.db.execute("SELECT octets FROM arrivals WHERE number = ?", [result.arrival]).fetchone()[0]
    assert kept == octets
    assert all(record in (samples.ident(nonce=number),) for record in result.new)
    got, run = of_record(store, samples.ident(nonce=number))
    assert run is None or (got == [] if run.state != "complete" else got == GOOD)
    assert run is None or run.completeness != "whole"
    # What is missing is told: by a hold, or by the state of a run whose record was opened and never closed.
    assert result.held or (run is not None and run.state == "unfinished")
    store.take(true, f"{number} true")
    assert of_record(store, samples.ident(nonce=number))[0] == GOOD
    assert of_record(store, samples.ident(nonce=number))[1].completeness == "whole"


def of_record(store, ident):
    """Readings and run of one record id, without looking at all others."""
    rows = store.db.execute(
        "SELECT u.number FROM runs u JOIN records r ON r.number = u.record WHERE r.id = ?", [str(ident)]
    ).fetchall()
    if not rows:
        return [], None
    full = find.run_in_full(store, str(rows[0][0]))
    return sorted((each.metric, each.value, each.unit) for each in full.readings), full.run


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.binary(max_size=60) | st.sampled_from([RUN, RUN[:50], RUN[30:], samples.snapshot_record()]),
        max_size=4,
    )
)
def test_any_octets_are_kept_and_placed(store, parts):
    octets = b"".join(parts)
    result = store.take(octets, "any")
    kept = store.db.execute("SELECT octets FROM arrivals WHERE number = ?", [result.arrival]).fetchone()[0]
    assert kept == octets
    records = [part for part in parse_records(octets) if hasattr(part, "sections")]
    placed = store.db.execute("SELECT count(*) FROM places WHERE arrival = ?", [result.arrival]).fetchone()[0]
    assert placed == len(records)


def test_order_of_arrival_does_not_matter_for_what_stands(tmp_path):
    copies = [RUN, RUN[:-9], RUN[:90], RUN[:40]]
    for number, order in enumerate(([0, 1, 2, 3], [3, 2, 1, 0], [2, 0, 3, 1])):
        with open_store(tmp_path / f"{number}.db", SCHEMAS) as store:
            for index in order:
                store.take(copies[index], str(index))
            assert sorted(values(store)) == GOOD
            assert find.held(store) == []


def test_foreign_keys_and_strict_types_hold(store):
    with pytest.raises(sqlite3.IntegrityError):
        store.db.execute("INSERT INTO pending (arrival) VALUES (99)")
    with pytest.raises(sqlite3.IntegrityError):  # what a numpy scalar would arrive as
        store.db.execute("INSERT INTO numbers (number, id) VALUES (?, ?)", [5, b"\x01\0\0\0\0\0\0\0"])


def test_a_store_that_cannot_be_written_says_not_kept(store):
    store.db.execute("PRAGMA query_only = ON")
    with pytest.raises(StoreError, match="NOT kept"):
        store.take(RUN, "a")
    store.db.execute("PRAGMA query_only = OFF")
    assert find.counts(store)["arrivals"] == 0


def test_a_full_disk_says_not_kept(store):
    store.take(RUN, "a")
    pages = store.db.execute("PRAGMA page_count").fetchone()[0]
    store.db.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(StoreError, match=r"the disk is full.*NOT kept"):
        store.take(bytes(200_000), "b")
    store.db.execute("PRAGMA max_page_count = 1000000")
    assert find.counts(store)["arrivals"] == 1
    assert sorted(values(store)) == GOOD
