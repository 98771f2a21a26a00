"""The store's tables, and the steps by which older stores become newer ones.

The version is SQLite's own user_version: how many of MIGRATIONS have been applied. Looking what is pending
only reads; each step shares a transaction with the version that records it. A step that has been released is
never changed: a further change is a further step.

Three layers of tables, and nothing flows upwards:

- as it came: arrivals, sightings, pending. Never changed (octets that a disk spoiled are put right), never deleted.
- for good: numbers (a run keeps its number through every re-reading); history, notes, typed, attachments
  and photographs (they only ever grow).
- derived: records, places, runs, captures, snapshots, facts, measured, readings, holds. All of it can be made
  again from the arrivals.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from readoff.store.rows import content_of
from readoff.store.sqlite import writing

if TYPE_CHECKING:
    from sqlite_utils import Database

APPLICATION_ID = 0x524F6666  # "ROff": marks an SQLite file as a store of Readoff

_AS_IT_CAME = """
CREATE TABLE arrivals (
  number INTEGER PRIMARY KEY,
  sha256 TEXT NOT NULL UNIQUE,
  length INTEGER NOT NULL,
  octets BLOB NOT NULL
) STRICT;
CREATE TABLE sightings (
  number INTEGER PRIMARY KEY,
  arrival INTEGER NOT NULL REFERENCES arrivals,
  came_from TEXT NOT NULL,
  came_at TEXT NOT NULL
) STRICT;
CREATE INDEX sightings_of ON sightings (arrival);
CREATE INDEX sightings_from ON sightings (came_from, arrival);
CREATE TABLE pending (
  arrival INTEGER PRIMARY KEY REFERENCES arrivals
) STRICT;
"""

_FOR_GOOD = """
CREATE TABLE numbers (
  number INTEGER PRIMARY KEY AUTOINCREMENT,
  id TEXT NOT NULL UNIQUE
) STRICT;
CREATE TABLE history (
  number INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  id TEXT NOT NULL,
  arrival INTEGER NOT NULL REFERENCES arrivals,
  what TEXT NOT NULL CHECK (what IN ('replaced', 'set aside', 'held', 'outgrown')),
  event TEXT NOT NULL,
  UNIQUE (arrival, id, event)
) STRICT;
CREATE INDEX history_of ON history (id);
"""

_DERIVED = """
CREATE TABLE records (
  number INTEGER PRIMARY KEY,
  id TEXT NOT NULL,
  boot TEXT NOT NULL,
  ordinal INTEGER NOT NULL,
  kind TEXT NOT NULL,
  version INTEGER NOT NULL,
  length INTEGER NOT NULL,
  verified INTEGER NOT NULL,
  tail INTEGER NOT NULL,
  sha256 TEXT NOT NULL,
  completeness TEXT NOT NULL,
  problem TEXT NOT NULL,
  dos_time TEXT NOT NULL,
  standing TEXT NOT NULL CHECK (standing IN ('stands', 'set aside', 'held')),
  UNIQUE (id, sha256)
) STRICT;
CREATE UNIQUE INDEX records_one_stands ON records (id) WHERE standing = 'stands';
CREATE INDEX records_boot ON records (boot, ordinal);
CREATE TABLE places (
  arrival INTEGER NOT NULL REFERENCES arrivals,
  begin INTEGER NOT NULL,
  record INTEGER NOT NULL REFERENCES records,
  PRIMARY KEY (arrival, begin)
) STRICT, WITHOUT ROWID;
CREATE INDEX places_of ON places (record);
CREATE TABLE runs (
  number INTEGER PRIMARY KEY REFERENCES numbers,
  record INTEGER NOT NULL UNIQUE REFERENCES records,
  kind TEXT NOT NULL CHECK (kind IN ('run', 'file')),
  label TEXT NOT NULL,
  program TEXT NOT NULL,
  path TEXT NOT NULL,
  arguments TEXT NOT NULL,
  boot TEXT NOT NULL,
  repeat INTEGER,
  repeats INTEGER,
  snapshot_ordinal INTEGER,
  state TEXT NOT NULL,
  outcome TEXT NOT NULL,
  exit_kind TEXT NOT NULL,
  exit_code INTEGER,
  flags TEXT NOT NULL
) STRICT;
CREATE INDEX runs_label ON runs (label, program);
CREATE INDEX runs_snapshot ON runs (boot, snapshot_ordinal);
CREATE TABLE captures (
  record INTEGER NOT NULL REFERENCES records,
  position INTEGER NOT NULL,
  kind TEXT NOT NULL,
  moment TEXT NOT NULL,
  name TEXT NOT NULL,
  columns INTEGER NOT NULL,
  rows INTEGER NOT NULL,
  length INTEGER NOT NULL,
  problem TEXT NOT NULL,
  PRIMARY KEY (record, position)
) STRICT, WITHOUT ROWID;
CREATE TABLE snapshots (
  record INTEGER PRIMARY KEY REFERENCES records,
  label TEXT NOT NULL,
  boot TEXT NOT NULL,
  ordinal INTEGER NOT NULL
) STRICT;
CREATE INDEX snapshots_boot ON snapshots (boot, ordinal);
CREATE TABLE facts (
  record INTEGER NOT NULL REFERENCES snapshots,
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  unit TEXT NOT NULL,
  volatile INTEGER NOT NULL CHECK (volatile IN (0, 1)),
  PRIMARY KEY (record, name)
) STRICT, WITHOUT ROWID;
CREATE TABLE readings (
  number INTEGER PRIMARY KEY,
  run INTEGER NOT NULL REFERENCES runs,
  record INTEGER NOT NULL REFERENCES records,
  capture INTEGER,
  metric TEXT NOT NULL,
  occurrence INTEGER NOT NULL,
  value TEXT NOT NULL,
  approximate REAL NOT NULL,
  unit TEXT NOT NULL,
  better TEXT NOT NULL,
  decimals INTEGER NOT NULL,
  quantum TEXT NOT NULL,
  roundings INTEGER NOT NULL,
  derived INTEGER NOT NULL CHECK (derived IN (0, 1)),
  headline INTEGER NOT NULL CHECK (headline IN (0, 1)),
  line TEXT NOT NULL,
  begin INTEGER NOT NULL,
  end INTEGER NOT NULL,
  schema TEXT NOT NULL,
  schema_digest TEXT NOT NULL
) STRICT;
CREATE INDEX readings_of ON readings (run);
CREATE INDEX readings_record ON readings (record);
CREATE TABLE holds (
  number INTEGER PRIMARY KEY,
  kind TEXT NOT NULL CHECK (kind IN ('octets', 'record', 'capture', 'metric', 'failure')),
  arrival INTEGER NOT NULL REFERENCES arrivals,
  begin INTEGER NOT NULL,
  length INTEGER NOT NULL,
  record INTEGER REFERENCES records,
  capture INTEGER,
  metric TEXT NOT NULL,
  reason TEXT NOT NULL
) STRICT;
CREATE INDEX holds_arrival ON holds (arrival);
CREATE INDEX holds_record ON holds (record);
"""

# Derived tables, those that refer to others first: the order in which they can be emptied.
DERIVED = ("holds", "readings", "measured", "facts", "snapshots", "captures", "runs", "places", "records")


def _first(db: Database) -> None:
    db.executescript(_AS_IT_CAME)
    db.executescript(_FOR_GOOD)
    db.executescript(_DERIVED)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")


# What a tester wrote down about a configuration. A note is taken back by a further one that refers to it.
_NOTES = """
CREATE TABLE notes (
  number INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  machine TEXT NOT NULL,
  label TEXT NOT NULL,
  program TEXT NOT NULL,
  what TEXT NOT NULL CHECK (what IN ('failure', 'remark', 'withdrawn')),
  refers INTEGER REFERENCES notes,
  text TEXT NOT NULL
) STRICT
"""


def _second(db: Database) -> None:
    db.execute(_NOTES)


# Numbers that a person typed for what is held. They hang on the record's id, which a re-reading does not change.
_TYPED = """
CREATE TABLE typed (
  number INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  person TEXT NOT NULL,
  id TEXT NOT NULL,
  metric TEXT NOT NULL,
  value TEXT NOT NULL,
  unit TEXT NOT NULL,
  better TEXT NOT NULL CHECK (better IN ('higher', 'lower', 'neither')),
  headline INTEGER NOT NULL CHECK (headline IN (0, 1)),
  hold TEXT NOT NULL
) STRICT
"""


def _third(db: Database) -> None:
    db.execute(_TYPED)
    db.execute("CREATE INDEX typed_for ON typed (id, metric)")


# What a person attached to a configuration (its label) or to a run (its record's id); photographs by their content.
_ATTACHMENTS = """
CREATE TABLE photographs (
  sha256 TEXT PRIMARY KEY,
  kind TEXT NOT NULL CHECK (kind IN ('image/jpeg', 'image/png')),
  width INTEGER NOT NULL,
  height INTEGER NOT NULL,
  octets BLOB NOT NULL
) STRICT;
CREATE TABLE attachments (
  number INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  person TEXT NOT NULL,
  label TEXT NOT NULL,
  id TEXT NOT NULL,
  refers INTEGER REFERENCES attachments,
  text TEXT NOT NULL,
  sha256 TEXT REFERENCES photographs,
  CHECK ((label = '') <> (id = ''))
) STRICT;
CREATE INDEX attachments_of_label ON attachments (label);
CREATE INDEX attachments_of_run ON attachments (id);
CREATE INDEX attachments_refer ON attachments (refers);
CREATE INDEX attachments_show ON attachments (sha256);
"""


def _attachments(db: Database) -> None:
    for statement in _ATTACHMENTS.strip().rstrip(";").split(";"):
        db.execute(statement)  # one by one: a script would commit what came before it


# Facts that a probe measured. They are true of the boot, and so of all its snapshots.
_MEASURED = """
CREATE TABLE measured (
  record INTEGER NOT NULL REFERENCES records,
  boot TEXT NOT NULL,
  ordinal INTEGER NOT NULL,
  probe TEXT NOT NULL,
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  unit TEXT NOT NULL,
  volatile INTEGER NOT NULL CHECK (volatile IN (0, 1)),
  PRIMARY KEY (record, name)
) STRICT, WITHOUT ROWID
"""


def _measured(db: Database) -> None:
    db.execute(_MEASURED)
    db.execute("CREATE INDEX measured_boot ON measured (boot, ordinal)")


def _contents(db: Database) -> None:
    """Snapshots that say the same are known by their content, so that nobody need read the facts of each."""
    db.execute("ALTER TABLE snapshots ADD COLUMN content TEXT NOT NULL DEFAULT ''")
    db.execute("CREATE INDEX snapshots_label ON snapshots (label)")
    numbers = db.execute("SELECT record FROM snapshots").fetchall()
    sql = "SELECT name, value, unit FROM facts WHERE record = ? AND NOT volatile"
    contents = [(content_of(db.execute(sql, [number]).fetchall()), number) for (number,) in numbers]
    db.conn.executemany("UPDATE snapshots SET content = ? WHERE record = ?", contents)


MIGRATIONS: tuple[Callable[[Database], None], ...] = (
    _first,
    _second,
    _third,
    _attachments,
    _measured,
    _contents,
)


def version_of(db: Database) -> int:
    """How many steps have been applied to the store; reads only."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def pending(db: Database) -> tuple[Callable[[Database], None], ...]:
    """Steps that are yet to be applied, in order; reads only."""
    return MIGRATIONS[version_of(db) :]


def migrate(db: Database, where: str) -> int:
    """Applies what is pending, each step in a transaction of its own. Gives the number of steps applied."""
    applied = 0
    while pending(db):
        with writing(db, where):
            # Looked at again behind the lock: another program may have been quicker.
            for step in pending(db)[:1]:
                step(db)
                db.execute(f"PRAGMA user_version = {version_of(db) + 1}")
                applied += 1
    return applied
