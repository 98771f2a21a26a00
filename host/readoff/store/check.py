"""Checking a store on demand: the file, raw octets and photographs against their digests, and all that is derived.

What is derived is derived again by the same code, in a transaction that is then rolled back (or, for a repair,
kept), and held against what was there. Rows are compared by what they say, not by their numbers.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from readoff.store.arrived import arrived
from readoff.store.attachments import photograph_flaws
from readoff.store.keep import Store
from readoff.store.migrations import DERIVED
from readoff.store.sqlite import telling

FLAWS_NAMED = 20
"""Arrivals named one by one; of more only the number is told."""
_FILE = "the file"
_MADE_AGAIN = (*DERIVED, "pending")
# What SQLite says of a value that its table's declaration forbids: "CHECK constraint failed in T", "NULL value in T.C",
# "NUMERIC value in T.C", "non-INTEGER value in T.C".
_VALUE = re.compile(r"^(CHECK constraint failed|\S+ value) in (?P<table>\w+)")


@dataclass(frozen=True)
class Flaw:
    """Something that is wrong. where: a table, or an arrival by number and source. repaired: whether it was now."""

    where: str
    what: str
    derivable: bool
    repaired: bool = False


@dataclass(frozen=True)
class Checked:
    """What was looked at, and what was found. spoiled: arrivals whose octets are not those that came."""

    arrivals: int
    octets: int
    records: int
    spoiled: int
    flaws: tuple[Flaw, ...]

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong (any more)."""
        return all(flaw.repaired for flaw in self.flaws)


def check(store: Store, *, repair: bool = False) -> Checked:
    """Looks at everything. repair: also makes the indexes and all that can be derived anew, all or nothing.

    What was derived from octets that are spoiled by now is not made anew: it may be all that is left of them.
    Raises StoreError when the store cannot be read or is locked; nothing has changed then.
    """
    with telling(str(store.path)):
        flaws = found = list(_file(store))
        if repair and flaws:
            store.db.execute("REINDEX")
            found = list(_file(store))
        readable = not any(flaw.where == _FILE for flaw in found)
        arrivals, octets, spoiled, raw = _raw(store)
        beside = raw + [Flaw(where, what, derivable=False) for where, what in photograph_flaws(store)]
        if readable:  # else what was read could be anything
            beside += _derived(store, repair and not spoiled, any(flaw.derivable for flaw in found))
        if repair and flaws:
            left = list(_file(store))
            flaws = [replace(flaw, repaired=flaw not in left) for flaw in flaws]
        records = int(store.db.execute("SELECT count(*) FROM records").fetchone()[0])
    return Checked(arrivals, octets, records, spoiled, (*flaws, *beside))


# -- the file ------------------------------------------------------------------------------------------------


def _file(store: Store) -> Iterator[Flaw]:
    """What SQLite itself finds: broken pages, indexes that disagree with their tables; values and references that make
    no sense. Of the first two kinds, which are the file's, what is read may be anything at all.
    """
    for (text,) in store.db.execute("PRAGMA integrity_check").fetchall():
        if value := _VALUE.search(str(text)):
            yield Flaw(value["table"], str(text), derivable=value["table"] in _MADE_AGAIN)
        elif text != "ok":
            yield Flaw(_FILE, str(text), derivable="index" in str(text))
    for table, row, parent, _ in store.db.execute("PRAGMA foreign_key_check").fetchall():
        what = "a row" if row is None else f"row {row}"  # some tables have no numbers
        yield Flaw(
            str(table),
            f"{what} refers to a row of {parent} that is not there",
            derivable=table in _MADE_AGAIN,
        )


# -- as it came ----------------------------------------------------------------------------------------------


def _raw(store: Store) -> tuple[int, int, int, list[Flaw]]:
    """(arrivals, their octets, how many are spoiled, flaws): each arrival against its digest, one at a time."""
    numbers = [row[0] for row in store.db.execute("SELECT number FROM arrivals ORDER BY number").fetchall()]
    found, size, spoiled = [], 0, 0
    for number in numbers:
        octets, what = arrived(store.db.conn, number)
        size += len(octets)
        spoiled += bool(what)
        if what := what or _noted(store, number, len(octets)):
            found.append((number, what))
    flaws = [Flaw(_name(store, number), what, derivable=False) for number, what in found[:FLAWS_NAMED]]
    if len(found) > FLAWS_NAMED:
        flaws.append(Flaw("arrivals", f"and {len(found) - FLAWS_NAMED} more are flawed", derivable=False))
    return len(numbers), size, spoiled, flaws


def _noted(store: Store, number: int, size: int) -> str:
    """What is wrong with what is noted beside the octets of an arrival, or ""."""
    (length,) = store.db.execute("SELECT length FROM arrivals WHERE number = ?", [number]).fetchone()
    if size != length:
        return f"it has {size} octets, and {length} are noted"
    if not store.db.execute("SELECT 1 FROM sightings WHERE arrival = ? LIMIT 1", [number]).fetchone():
        return "nothing tells where it came from"
    return ""


def _name(store: Store, number: int) -> str:
    row = store.db.execute("SELECT came_from FROM sightings WHERE arrival = ? LIMIT 1", [number]).fetchone()
    return f"arrival {number}" + (f" ({row[0]})" if row else "")


# -- derived -------------------------------------------------------------------------------------------------


def _derived(store: Store, repair: bool, wrong: bool) -> list[Flaw]:
    """What differs when it is derived again. repair: what was derived is kept where something does, or is wrong."""
    db = store.db
    db.execute("BEGIN IMMEDIATE")
    try:
        for table in DERIVED:
            db.execute(f"CREATE TEMP TABLE was_{table} AS {_content(store, table)}")
        store.derive_all(spoiled_too=True)
        flaws = [flaw for table in DERIVED if (flaw := _difference(store, table)) is not None]
        for table in DERIVED:
            db.execute(f"DROP TABLE temp.was_{table}")
        if repair and (flaws or wrong):
            db.commit()
            return [replace(flaw, repaired=True) for flaw in flaws]
        db.rollback()
    except BaseException:
        db.rollback()
        raise
    return flaws


def _content(store: Store, table: str) -> str:
    """SQL for what the rows of a table say: records by their id and digest, and no numbers but those of runs."""
    columns = [row[1] for row in store.db.execute(f"PRAGMA main.table_info({table})").fetchall()]
    record = "(SELECT r.id || ' ' || r.sha256 FROM records r WHERE r.number = t.record) AS record"
    said = [
        record if column == "record" else f"t.{column}"
        for column in columns
        if column != "number" or table == "runs"
    ]
    return f"SELECT {', '.join(said)} FROM main.{table} t"


def _difference(store: Store, table: str) -> Flaw | None:
    was, now = f"SELECT * FROM temp.was_{table}", _content(store, table)
    gone, new = (_count(store, f"{one} EXCEPT {other}") for one, other in ((was, now), (now, was)))
    before, after = _count(store, was), _count(store, now)
    if not gone and not new and before == after:
        return None
    doubled = "" if gone or new else f"; {before} rows before, {after} now"
    what = f"derived again, {gone} rows are gone and {new} are new{doubled}"
    return Flaw(table, what + (_schemas(store) if table == "readings" else ""), derivable=True)


def _count(store: Store, sql: str) -> int:
    return int(store.db.execute(f"SELECT count(*) FROM ({sql})").fetchone()[0])


def _schemas(store: Store) -> str:
    """Which schemas were not the same when the readings were made: that is no damage."""
    names = store.db.execute(
        "SELECT DISTINCT schema FROM (SELECT schema, schema_digest FROM temp.was_readings EXCEPT "
        "SELECT schema, schema_digest FROM main.readings) ORDER BY schema"
    ).fetchall()
    listed = ", ".join(name for (name,) in names)
    return (
        f"; these schemas have changed since, or are missing: {listed} (see readoff reread)" if listed else ""
    )
