"""Export to tables that any engine reads: CSV, and Parquet in one folder for each machine.

Four tables, each row by itself: readings (long: one row for each number), typed (the numbers that a person typed, apart
from what was captured), runs (all of them, also those that gave no readings) and facts (of snapshots). Raw octets stay
in the store. Rows are read a slice at a time, so a large store needs no more memory than a small one.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from readoff.errors import StoreError, UsageError
from readoff.store.keep import Store
from readoff.store.sqlite import telling
from readoff.store.typed import TYPED

if TYPE_CHECKING:
    import pandas as pd

SLICE = 50_000
"""Rows held in memory at once."""

# A machine is known by its agent's serial, the first eight digits of a record's id.
_RUN = (
    "substr(r.id, 1, 8) AS machine, u.number AS run, r.id AS record, u.label, u.program, u.arguments, u.boot"
)
_FROM_RUN = "FROM runs u JOIN records r ON r.number = u.record"

# What a column of a frame must be: pandas would make floats of whole numbers where one is missing.
_TEXT, _WHOLE, _REAL = "string", "Int64", "float64"


@dataclass(frozen=True)
class Table:
    """One table. sql: all its rows; machine_sql: likewise, with a place for the machine. columns: name -> type."""

    name: str
    select: str
    source: str
    order: str
    columns: dict[str, str]

    def sql(self, machine: str | None) -> str:
        """SQL for all rows, or those of one machine."""
        where = " WHERE r.id >= ? AND r.id < ?" if machine is not None else ""
        return f"SELECT {self.select} {self.source}{where} ORDER BY {self.order}"


_OF_RUN = dict.fromkeys(("machine", "record", "label", "program", "arguments", "boot"), _TEXT)

TABLES = (
    Table(
        "readings",
        f"{_RUN}, u.repeat, d.metric, d.occurrence, d.value, d.approximate, d.unit, d.quantum, d.roundings, d.better, "
        "d.derived, d.line, d.schema, d.schema_digest",
        f"{_FROM_RUN} JOIN readings d ON d.run = u.number",
        "u.number, d.number",
        _OF_RUN
        | dict.fromkeys(("run", "repeat", "occurrence", "roundings", "derived"), _WHOLE)
        | dict.fromkeys(
            ("metric", "value", "unit", "quantum", "better", "line", "schema", "schema_digest"), _TEXT
        )
        | {"approximate": _REAL},
    ),
    Table(
        "typed",
        f"{_RUN}, u.repeat, r.metric, r.value, CAST(r.value AS REAL) AS approximate, r.unit, r.better, r.person, r.at, "
        "r.hold, r.last AND r.held AND r.run IS NOT NULL AS stands",
        # Also where the record that they are for is in another store.
        f"FROM ({TYPED}) r LEFT JOIN runs u ON u.number = r.run",
        "r.number",
        _OF_RUN
        | dict.fromkeys(("run", "repeat", "stands"), _WHOLE)
        | dict.fromkeys(("metric", "value", "unit", "better", "person", "at", "hold"), _TEXT)
        | {"approximate": _REAL},
    ),
    Table(
        "runs",
        f"{_RUN}, u.kind, u.path, u.repeat, u.repeats, u.snapshot_ordinal, u.state, u.outcome, u.exit_kind, "
        "u.exit_code, u.flags, r.dos_time",
        _FROM_RUN,
        "u.number",
        _OF_RUN
        | dict.fromkeys(("run", "repeat", "repeats", "snapshot_ordinal", "exit_code"), _WHOLE)
        | dict.fromkeys(("kind", "path", "state", "outcome", "exit_kind", "flags", "dos_time"), _TEXT),
    ),
    Table(
        "facts",
        "substr(r.id, 1, 8) AS machine, r.id AS record, n.label, n.boot, n.ordinal, f.name, f.value, f.unit, "
        "f.volatile",
        "FROM snapshots n JOIN records r ON r.number = n.record JOIN facts f ON f.record = n.record",
        "r.number, f.name",
        dict.fromkeys(("machine", "record", "label", "boot", "name", "value", "unit"), _TEXT)
        | dict.fromkeys(("ordinal", "volatile"), _WHOLE),
    ),
)


def can_write_parquet() -> bool:
    """Whether what writes Parquet is installed."""
    return importlib.util.find_spec("pyarrow") is not None


def export(
    store: Store, folder: Path, *, parquet: bool, step: Callable[[str], None] = lambda what: None
) -> dict[str, int]:
    """Writes NAME.csv, or NAME/machine=XXXXXXXX/part-0.parquet, for each table. Gives the rows of each.

    The folder must be new or empty: nothing is written over, and no file of an earlier export is left among newer
    ones. Raises UsageError otherwise, StoreError where it cannot be written.
    step is called with how far it is.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise UsageError("the folder is not empty", where=str(folder), next_step="Name a new one.")
        write = _parquet if parquet else _csv
        store.db.execute("BEGIN")  # all tables as of one moment, whoever writes meanwhile
        try:
            return {table.name: write(store, table, folder, _counter(table, step)) for table in TABLES}
        finally:
            store.db.rollback()
    except OSError as error:
        raise StoreError(f"cannot be written ({error.strerror or error})", where=str(folder)) from error


def _counter(table: Table, step: Callable[[str], None]) -> Callable[[int], None]:
    return lambda rows: step(f"{rows} {table.name} written")


def _frames(store: Store, table: Table, machine: str | None = None) -> Iterator[pd.DataFrame]:
    """Slices of a table; one without rows where there are none."""
    import pandas as pd  # noqa: PLC0415 - costs 0.3 s, and most commands do without

    values = [] if machine is None else [machine, machine + "~"]
    with telling(str(store.path)):
        slices = pd.read_sql_query(
            table.sql(machine), store.db.conn, params=values, chunksize=SLICE, dtype=table.columns
        )
        yield from slices


def _csv(store: Store, table: Table, folder: Path, tell: Callable[[int], None]) -> int:
    rows = 0
    with (folder / f"{table.name}.csv").open("w", encoding="utf-8", newline="") as file:
        for number, frame in enumerate(_frames(store, table)):
            rows += len(frame)
            tell(rows)
            text = [name for name, kind in table.columns.items() if kind == _TEXT]
            frame[text] = frame[text].apply(_no_formula)
            frame.to_csv(file, index=False, header=number == 0, lineterminator="\n")
    return rows


def _no_formula(column: pd.Series[Any]) -> pd.Series[Any]:
    """Text of an old machine must not become a formula in somebody's spreadsheet: it gets an apostrophe before.

    Numbers with a sign stay as they are.
    """
    risky = column.str.match(r"[=+\-@\t\r]").fillna(False) & ~column.str.fullmatch(r"[+-][0-9.]+").fillna(
        False
    )
    return column.mask(risky, "'" + column)


def _parquet(store: Store, table: Table, folder: Path, tell: Callable[[int], None]) -> int:
    import pyarrow as pa  # noqa: PLC0415 - optional
    from pyarrow import parquet  # noqa: PLC0415

    kinds = {_TEXT: pa.string(), _WHOLE: pa.int64(), _REAL: pa.float64()}
    rows = 0
    for machine in _machines(store):
        place = folder / table.name / f"machine={machine}" / "part-0.parquet"
        writer = None
        for frame in _frames(store, table, machine):
            if not len(frame):
                continue
            rows += len(frame)
            tell(rows)
            kept = frame.drop(columns="machine")  # the folder's name says it
            schema = pa.schema([(name, kinds[table.columns[name]]) for name in kept.columns])
            if writer is None:
                place.parent.mkdir(parents=True)
                writer = parquet.ParquetWriter(place, schema)
            writer.write_table(pa.Table.from_pandas(kept, schema=schema, preserve_index=False))
        if writer is not None:
            writer.close()
    return rows


def _machines(store: Store) -> list[str]:
    with telling(str(store.path)):
        sql = (
            "SELECT substr(id, 1, 8) FROM records WHERE standing = 'stands' "
            "UNION SELECT substr(id, 1, 8) FROM typed ORDER BY 1"
        )
        return [row[0] for row in store.db.execute(sql).fetchall()]
