"""Export: what the tables say is what the store says, read back by other programs than ours."""

import csv
import json
import sqlite3
from datetime import UTC, datetime

import pytest

from readoff.errors import UsageError
from readoff.readings import load_schemas
from readoff.store import export as export_module
from readoff.store import find, open_store
from readoff.store.export import export
from readoff.store.typed import Entry, add_typed, typed
from support import store_samples as samples

SCHEMAS = load_schemas([("replay.toml", samples.SCHEMA)])


@pytest.fixture
def store(tmp_path, monkeypatch):
    """Two machines, three runs each and one that gave nothing; slices of two rows."""
    monkeypatch.setattr(export_module, "SLICE", 2)
    with open_store(tmp_path / "readoff.db", SCHEMAS) as store:
        for serial in (0x11223344, 0xFFEEDDCC):
            for ordinal in (2, 3, 4):
                octets = samples.run_record(ordinal, console=samples.printed(f"7{ordinal}.90"))
                store.take(
                    octets.replace((0x11223344).to_bytes(4, "little"), serial.to_bytes(4, "little")), "x"
                )
        store.take(samples.run_record(9, console=b"=HYPERLINK(1)\r\n", start={"label": "=1+1"}), "y")
        store.take(samples.snapshot_record(), "z")
        yield store


def test_csv_is_read_back_by_the_standard_library(store, tmp_path):
    rows = export(store, tmp_path / "out", parquet=False)
    with (tmp_path / "out" / "readings.csv").open(encoding="utf-8", newline="") as file:
        read = list(csv.DictReader(file))
    sql = "SELECT run, metric, value, unit, quantum, line, begin FROM readings ORDER BY run, number"
    there = store.db.execute(sql).fetchall()
    assert rows["readings"] == len(read) == len(there)
    for got, (run, metric, value, unit, quantum, line, _) in zip(read, there, strict=True):
        assert (got["run"], got["metric"], got["value"]) == (str(run), metric, value)
        assert (got["unit"], got["quantum"], got["line"]) == (unit, quantum, line)
    with (tmp_path / "out" / "runs.csv").open(encoding="utf-8", newline="") as file:
        runs = list(csv.DictReader(file))
    assert [each["snapshot_ordinal"] for each in runs] == ["1"] * len(runs)  # whole numbers, not 1.0
    assert runs[-1]["label"] == "'=1+1"


def test_nothing_is_written_over(store, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "readings.csv").write_text("mine")
    with pytest.raises(UsageError, match="not empty"):
        export(store, tmp_path / "out", parquet=False)
    assert (tmp_path / "out" / "readings.csv").read_text() == "mine"


def test_an_empty_store_gives_tables_without_rows(tmp_path):
    with open_store(tmp_path / "empty.db") as store:
        assert export(store, tmp_path / "out", parquet=False) == dict.fromkeys(
            ("readings", "typed", "runs", "facts"), 0
        )
    assert (tmp_path / "out" / "readings.csv").read_text().startswith("machine,run,record,label,program,")


@pytest.fixture
def with_typed(tmp_path):
    """Typed for one hold: a slip, then the number that stands. Then one for a record that is in no store of ours."""
    with open_store(tmp_path / "typed.db", SCHEMAS) as store:
        store.take(samples.run_record(2, console=samples.printed("7,,2"), start={"label": "zero-ws"}), "x")
        store.take(samples.run_record(3, console=samples.printed("73.9")), "x")
        (row,) = find.held(store)
        for minute, (id, value) in enumerate(
            ((row.id, "762"), (row.id, "-76.20"), ("FFEEDDCC" + row.id[8:], "1"))
        ):
            entry = Entry(id, "rate", value, "frames/s", "higher", True, row.reason, "=A. Tester")
            add_typed(store, entry, datetime(2026, 1, 2, 3, minute, tzinfo=UTC))
        yield store


def test_what_a_person_typed_is_a_table_of_its_own(with_typed, tmp_path):
    rows = export(with_typed, tmp_path / "out", parquet=False)
    with (tmp_path / "out" / "typed.csv").open(encoding="utf-8", newline="") as file:
        slip, stands, elsewhere = list(csv.DictReader(file))
    assert rows["typed"] == 3
    assert (slip["value"], slip["stands"]) == ("762", "0")
    assert (stands["value"], stands["approximate"], stands["stands"]) == ("-76.20", "-76.2", "1")
    assert (stands["metric"], stands["unit"], stands["better"]) == ("rate", "frames/s", "higher")
    assert (stands["person"], stands["at"]) == ("'=A. Tester", "2026-01-02T03:01:00+00:00")
    assert (stands["machine"], stands["label"], stands["program"]) == ("11223344", "zero-ws", "replay")
    assert stands["hold"] == typed(with_typed)[1].hold
    assert (elsewhere["machine"], elsewhere["run"], elsewhere["label"]) == ("FFEEDDCC", "", "")
    assert elsewhere["stands"] == "0"
    with (tmp_path / "out" / "readings.csv").open(encoding="utf-8", newline="") as file:
        assert not {"762", "-76.20", "1"} & {each["value"] for each in csv.DictReader(file)}


def test_every_typed_number_is_in_its_machines_parquet(with_typed, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    export(with_typed, tmp_path / "out", parquet=True)
    read = [
        (machine, each["value"], each["stands"])
        for machine in ("11223344", "FFEEDDCC")
        for each in parquet.ParquetFile(tmp_path / f"out/typed/machine={machine}/part-0.parquet")
        .read()
        .to_pylist()
    ]
    assert read == [("11223344", "762", 0), ("11223344", "-76.20", 1), ("FFEEDDCC", "1", 0)]
    assert [int(each[2]) for each in read] == [int(each.stands) for each in typed(with_typed)]


def test_parquet_is_partitioned_by_machine(store, tmp_path):
    pytest.importorskip("pyarrow")
    import pyarrow.dataset

    rows = export(store, tmp_path / "out", parquet=True)
    folders = sorted(each.name for each in (tmp_path / "out" / "readings").iterdir())
    serials = [row[0] for row in store.db.execute("SELECT DISTINCT substr(id, 1, 8) FROM records ORDER BY 1")]
    assert folders == [f"machine={serial}" for serial in serials]
    hive = pyarrow.dataset.partitioning(pyarrow.schema([("machine", pyarrow.string())]), flavor="hive")
    table = pyarrow.dataset.dataset(tmp_path / "out" / "readings", partitioning=hive).to_table()
    assert table.num_rows == rows["readings"]
    got = {(r["record"], r["metric"], r["value"], r["line"]) for r in table.to_pylist()}
    there = store.db.execute(
        "SELECT r.id, d.metric, d.value, d.line FROM readings d JOIN records r ON r.number = d.record"
    )
    assert got == set(there.fetchall())
    assert table.schema.field("repeat").type == pyarrow.int64()


def test_no_octets_leave_the_store(store, tmp_path):
    with sqlite3.connect(store.path) as db:
        blobs = {
            (table, column[1])
            for (table,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
            for column in db.execute(f"PRAGMA table_info({table})").fetchall()
            if column[2] == "BLOB"
        }
    assert blobs == {("arrivals", "octets"), ("photographs", "octets")}
    asked = " ".join(table.source + table.select for table in export_module.TABLES)
    assert "arrivals" not in asked and "photographs" not in asked
    assert json.dumps([table.columns for table in export_module.TABLES])
