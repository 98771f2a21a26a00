"""readoff store check, gather and export, as a person calls them."""

import os
import random
import sqlite3

import pytest
from click.testing import CliRunner

from readoff.cli import main
from support import store_samples as samples
from support.commands import answer, run

LOOKS = ("runs", "runs --json", "show 1", "held", "schema which run:1")


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """Two stores with a run each, and one in both."""
    monkeypatch.chdir(tmp_path)
    for name, ordinals in (("one", (2, 3)), ("two", (3, 4))):
        for ordinal in ordinals:
            (tmp_path / f"{name}{ordinal}.RDO").write_bytes(samples.run_record(ordinal))
            run("take", f"{name}{ordinal}.RDO", "--store", f"{name}.db")
    return tmp_path


def damage(path, sql):
    with sqlite3.connect(path) as db:
        db.execute(sql)
    db.close()


def test_check_a_sound_store(bench):
    assert "Nothing is wrong." in run("store", "check", "--store", "one.db").output
    assert answer("store", "check", "--store", "one.db")["sound"] is True
    assert "there is no store" in run("store", "check", "--store", "none.db", status=1).stderr


def test_check_and_repair(bench):
    damage("one.db", "UPDATE readings SET value = '1.0'")
    assert "readings: derived again," in run("store", "check", "--store", "one.db", status=1).output
    assert "- repaired" in run("store", "check", "--store", "one.db", "--repair").output
    damage("one.db", "UPDATE arrivals SET octets = X'00' WHERE number = 1")
    output = run("store", "check", "--store", "one.db", "--repair", status=1).output
    assert "arrival 1 (one2.RDO): its octets are not those that came" in output
    assert "readoff gather" in output


COMMANDS = (
    "runs",
    "show 1",
    "held",
    "compare a b",
    "reread",
    "export tables",
    "store check",
    "store check --repair",
    "take one2.RDO",
)


@pytest.mark.parametrize("seed", range(6))
def test_a_damaged_file_is_told_whatever_is_asked_of_it(bench, seed):
    """A page of it over another one, or spoiled bits, each time anew: an answer or a sentence, never a traceback."""
    with sqlite3.connect("one.db") as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (size,) = db.execute("PRAGMA page_size").fetchone()
    db.close()
    sound, chance = (bench / "one.db").read_bytes(), random.Random(seed)
    for number, command in enumerate(COMMANDS):
        octets = bytearray(sound)
        if seed % 2:
            one, other = chance.sample(range(len(octets) // size), 2)
            octets[other * size : (other + 1) * size] = octets[one * size : (one + 1) * size]
        else:
            for _ in range(20):
                octets[chance.randrange(100, len(octets))] ^= 1 << chance.randrange(8)
        path = f"damaged{number}.db"
        (bench / path).write_bytes(octets)
        result = CliRunner().invoke(main, [*command.split(), "--store", path])
        assert result.exception is None or isinstance(result.exception, SystemExit), command
        assert result.output or result.stderr


def test_an_error_that_damage_explains_names_it(bench, monkeypatch):
    with sqlite3.connect("one.db") as db:
        db.execute("PRAGMA writable_schema = ON")
        db.execute(
            "UPDATE sqlite_master SET sql = replace(sql, 'boot TEXT NOT NULL', 'boot TEXT') WHERE name = 'runs'"
        )
    db.close()
    damage("one.db", "UPDATE runs SET boot = NULL")
    with sqlite3.connect("one.db") as db:
        db.execute("PRAGMA writable_schema = ON")
        db.execute(
            "UPDATE sqlite_master SET sql = replace(sql, 'boot TEXT', 'boot TEXT NOT NULL') WHERE name = 'runs'"
        )
    db.close()
    told = run("runs", "--store", "one.db", status=3).stderr
    assert "one.db: the store's file is damaged (NULL value in runs.boot)" in told and "store check" in told
    assert "- repaired" in run("store", "check", "--store", "one.db", "--repair").output
    run("runs", "--store", "one.db")


def test_gather_into_a_new_store(bench):
    output = run("gather", "one.db", "two.db", "--store", "club.db").output
    assert "one.db: 2 arrivals: 2 records new." in output
    assert "two.db: 2 arrivals: 1 record new, 1 known already." in output
    assert len(answer("runs", "--store", "club.db")["runs"]) == 3
    damage("two.db", "UPDATE arrivals SET octets = X'00' WHERE number = 2")
    assert "arrival 2 was left out" in run("gather", "two.db", "--store", "club.db", status=1).output
    assert "no store" in run("gather", "none.db", "--store", "club.db", status=2).stderr


def test_export(bench, monkeypatch):
    rows = answer("export", "tables", "--store", "one.db")["rows"]
    assert rows["runs"] == 2
    assert (bench / "tables" / "runs.csv").read_text().count("\n") == 3
    assert "not empty" in run("export", "tables", "--store", "one.db", status=2).stderr
    monkeypatch.setattr("readoff.store.export.can_write_parquet", lambda: False)
    assert "readoff[parquet]" in run("export", "more", "--parquet", "--store", "one.db", status=2).stderr
    assert not (bench / "more").exists()


def test_a_store_that_may_only_be_read_is_looked_at_and_left_alone(bench, monkeypatch):
    """As from a stick or a share that is read only: the system says so of its file and its folder."""
    before = sorted((path.name, path.read_bytes()) for path in bench.iterdir())
    shown = {command: run(*command.split(), "--store", "one.db").output for command in LOOKS}
    monkeypatch.setattr("os.access", lambda path, mode: mode != os.W_OK)
    for command, output in shown.items():
        assert run(*command.split(), "--store", "one.db").output == output
    refused = run("attach", "--label", "zero-ws", "a note", "--store", "one.db", status=3)
    assert "the store cannot be written" in refused.stderr
    assert "check the copy" in run("store", "check", "--store", "one.db", status=3).stderr
    assert sorted((path.name, path.read_bytes()) for path in bench.iterdir()) == before


@pytest.mark.parametrize(
    ("version", "told"), [("1", "a copy that may be written"), ("9999", "Install a newer Readoff")]
)
def test_a_store_of_another_version_that_may_only_be_read_is_refused(bench, monkeypatch, version, told):
    damage("one.db", f"PRAGMA user_version = {version}")
    monkeypatch.setattr("os.access", lambda path, mode: mode != os.W_OK)
    refused = " ".join(run("runs", "--store", "one.db", status=3).stderr.split())
    assert f"of version {version}," in refused
    assert told in refused
