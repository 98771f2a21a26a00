"""Checking a store: damage of every layer is found and named; what can be derived is repaired."""

import shutil
import sqlite3

import pytest

from readoff.errors import StoreError
from readoff.readings import load_schemas
from readoff.store import find, open_store
from readoff.store.check import check
from readoff.store.migrations import DERIVED
from support import store_samples as samples

SCHEMAS = load_schemas([("replay.toml", samples.SCHEMA)])


@pytest.fixture
def path(tmp_path):
    """A store with runs, a snapshot, a file, a copy cut short before the whole one, something held, and a twin."""
    path = tmp_path / "readoff.db"
    with open_store(path, SCHEMAS) as store:
        store.take(samples.snapshot_record(), "a")
        store.take(samples.run_record(2)[:-30], "b")
        store.take(samples.run_record(2), "b")
        store.take(samples.run_record(2, console=samples.printed("99.9")), "c")
        store.take(samples.run_record(5) + samples.run_record(6), "two at once")
        store.take(samples.file_record(7), "d")
        store.take(b"no record", "e")
        store.take(samples.run_record(5), "f")
        store.take(samples.run_record(8, console=b"nobody knows this\r\n"), "g")
    return path


def rows_of(path):
    """All derived rows."""
    with sqlite3.connect(path) as db:
        return {table: db.execute(f"SELECT * FROM {table}").fetchall() for table in DERIVED}


def damage(path, sql):
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA ignore_check_constraints = ON")
        assert db.execute(sql).rowcount > 0
    db.close()


def test_a_sound_store_is_sound_and_untouched(path):
    before = rows_of(path)
    with open_store(path, SCHEMAS) as store:
        checked = check(store)
        assert checked.flaws == ()
        assert checked.sound
        assert checked.arrivals == find.counts(store)["arrivals"] == 9
        assert check(store, repair=True).flaws == ()
    assert rows_of(path) == before


@pytest.mark.parametrize(
    ("sql", "table"),
    [
        ("UPDATE readings SET value = '72.8' WHERE metric = 'rate'", "readings"),
        ("UPDATE readings SET begin = begin + 1", "readings"),
        ("DELETE FROM readings WHERE metric = 'frames'", "readings"),
        ("UPDATE runs SET label = 'another' WHERE number = 1", "runs"),
        ("UPDATE places SET begin = begin + 1 WHERE arrival = 5", "places"),
        ("DELETE FROM places WHERE arrival = 5", "places"),
        ("UPDATE facts SET value = '1' WHERE name = 'cpu.class'", "facts"),
        ("UPDATE records SET tail = tail + 1", "records"),
        ("DELETE FROM holds", "holds"),
        ("DELETE FROM captures", "captures"),
        ("UPDATE snapshots SET label = 'x'", "snapshots"),
    ],
)
def test_derived_damage_is_found_and_repaired(path, sql, table):
    before = rows_of(path)
    damage(path, sql)
    damaged = rows_of(path)
    with open_store(path, SCHEMAS) as store:
        checked = check(store)
        assert table in [flaw.where for flaw in checked.flaws]
        assert not checked.sound
        assert rows_of(path) == damaged  # looking changes nothing
        repaired = check(store, repair=True)
        assert [flaw.what for flaw in repaired.flaws] == [flaw.what for flaw in checked.flaws]
        assert repaired.sound
        assert check(store).flaws == ()
    assert rows_of(path) == before


@pytest.mark.parametrize(
    ("sql", "table"),
    [
        ("DELETE FROM runs WHERE number = 1", "readings"),
        ("DELETE FROM records WHERE number = 1", "places"),
        ("DELETE FROM snapshots", "facts"),
        ("UPDATE places SET arrival = 999 WHERE arrival = 5", "places"),
        ("UPDATE facts SET volatile = 7 WHERE name = 'cpu.class'", "facts"),
        ("INSERT INTO pending VALUES (999)", "pending"),
    ],
)
def test_rows_that_refer_to_nothing_and_values_that_make_no_sense_are_made_again(path, sql, table):
    before = rows_of(path)
    damage(path, sql)
    with open_store(path, SCHEMAS) as store:
        assert table in [flaw.where for flaw in check(store).flaws]
        assert check(store, repair=True).sound
        assert check(store).flaws == ()
    assert rows_of(path) == before


def test_a_run_whose_number_is_lost_gets_another(path):
    damage(path, "DELETE FROM numbers WHERE number = 1")
    with open_store(path, SCHEMAS) as store:
        assert "runs" in [flaw.where for flaw in check(store).flaws]
        assert check(store, repair=True).sound
        assert check(store).flaws == ()


def test_what_refers_to_nothing_and_no_code_can_make_again_is_named(path):
    damage(path, "UPDATE sightings SET arrival = 999 WHERE arrival = 9")
    with open_store(path, SCHEMAS) as store:
        flaws = {flaw.where: flaw for flaw in check(store, repair=True).flaws}
        assert "refers to a row of arrivals" in flaws["sightings"].what
        assert not flaws["sightings"].repaired and not flaws["sightings"].derivable


SPOIL = "UPDATE arrivals SET octets = CAST(X'00' || substr(octets, 2) AS BLOB) WHERE number = 3"


def test_what_was_read_of_octets_that_are_spoiled_now_stays(path):
    before = rows_of(path)
    damage(path, SPOIL)
    with open_store(path, SCHEMAS) as store:
        checked = check(store, repair=True)
        assert checked.spoiled == 1 and not any(flaw.repaired for flaw in checked.flaws)
        with pytest.raises(
            StoreError, match=r"arrival 3: its octets are not those that came.*nothing was read again"
        ):
            store.reread()
    assert rows_of(path) == before


def test_octets_that_come_again_put_spoiled_ones_right(path):
    before = rows_of(path)
    damage(path, SPOIL)
    damage(path, "UPDATE arrivals SET length = 1 WHERE number = 4")
    with open_store(path, SCHEMAS) as store:
        assert store.take(samples.run_record(2), "b").again
        assert store.take(samples.run_record(2, console=samples.printed("99.9")), "c").again
        assert check(store).flaws == ()
    assert rows_of(path) == before


def test_doubled_rows_are_found(path):
    with sqlite3.connect(path) as db:
        rows = db.execute("SELECT * FROM readings").fetchall()
        marks = ", ".join("?" * len(rows[0]))
        db.executemany(f"INSERT INTO readings VALUES ({marks})", [(None, *row[1:]) for row in rows])
    db.close()
    with open_store(path, SCHEMAS) as store:
        (flaw,) = check(store, repair=True).flaws
        assert f"{2 * len(rows)} rows before, {len(rows)} now" in flaw.what
        assert check(store).flaws == ()


def test_raw_damage_is_named_and_not_called_repaired(path):
    damage(path, SPOIL)
    damage(path, "UPDATE arrivals SET length = 1 WHERE number = 4")
    damage(path, "DELETE FROM sightings WHERE arrival = 9")
    with open_store(path, SCHEMAS) as store:
        flaws = {flaw.where: flaw for flaw in check(store, repair=True).flaws if not flaw.derivable}
        assert "SHA-256" in flaws["arrival 3 (b)"].what
        assert "and 1 are noted" in flaws["arrival 4 (c)"].what
        assert "nothing tells" in flaws["arrival 9"].what
        assert not any(flaw.repaired for flaw in flaws.values())
        assert not check(store).sound


def test_many_spoiled_arrivals_are_counted_not_listed(tmp_path):
    path = tmp_path / "readoff.db"
    with open_store(path, SCHEMAS) as store:
        list(store.take_all((bytes([n]), "x") for n in range(30)))
    damage(path, "UPDATE arrivals SET octets = X'FFFF'")
    with open_store(path, SCHEMAS) as store:
        raw = [flaw for flaw in check(store).flaws if flaw.where.startswith("arrival")]
    assert len(raw) == 21
    assert raw[-1].what == "and 10 more are flawed"


def test_readings_by_an_older_schema_are_told_apart_from_damage(path):
    newer = load_schemas([("replay.toml", samples.SCHEMA.replace("Timed replay", "Timed Replay"))])
    with open_store(path, newer) as store:
        (flaw,) = check(store).flaws
    assert flaw.where == "readings"
    assert "these schemas have changed since, or are missing: replay" in flaw.what


def test_a_row_that_an_index_lacks(path, tmp_path):
    """A page of an index as it was before: what a lost write leaves."""
    older = tmp_path / "older.db"
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        page, size = db.execute(
            "SELECT rootpage, (SELECT page_size FROM pragma_page_size) FROM sqlite_master WHERE name = 'readings_of'"
        ).fetchone()
    db.close()
    shutil.copy(path, older)
    with open_store(path, SCHEMAS) as store:
        store.take(samples.run_record(11), "later")
        store.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with older.open("rb") as lost, path.open("r+b") as file:
        lost.seek((page - 1) * size)
        file.seek((page - 1) * size)
        file.write(lost.read(size))
    with open_store(path, SCHEMAS) as store:
        assert any("readings_of" in flaw.what for flaw in check(store).flaws)
        assert check(store, repair=True).sound
        assert check(store).flaws == ()
