"""What the commands about schemas find out, before it is shown."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from readoff.cli import looks
from readoff.cli.captures import Shot, beside
from readoff.cli.common import Place, load_all_schemas, read_schema_files, writing
from readoff.errors import SchemaError, UsageError
from readoff.readings import Hold, Reading, Readout, Schema, Verdict, explain, load_schemas, read_run
from readoff.readings.likeness import likeness
from readoff.readings.marking import Marked, mark
from readoff.readings.proposing import candidates, missed, propose
from readoff.readings.samples import check_samples
from readoff.readings.wordless import wordless

if TYPE_CHECKING:
    from readoff.store import Store
    from readoff.store.find import RunInFull, RunRow

_GLYPHS = ".glyphs.toml"
# What a likeness is known by in a list: its first lines.
_FIRST_LINES = 3


@dataclass(frozen=True)
class Judged:
    """Which schema reads each capture of a shot, and why. verdicts: for each capture, one for each schema.

    holds: of whole captures, among them those that two schemas recognise.
    """

    shot: Shot
    verdicts: tuple[tuple[Verdict, ...], ...]
    holds: tuple[Hold, ...]

    def claims(self, index: int) -> list[str]:
        """The schemas that recognise one capture."""
        return [verdict.schema for verdict in self.verdicts[index] if verdict.recognised]

    @property
    def settled(self) -> bool:
        """Whether some schema reads something here, and nothing is held."""
        return not self.holds and any(self.claims(index) for index in range(len(self.verdicts)))


def judge(shot: Shot, schemas: Sequence[Schema]) -> Judged:
    """Holds every capture of a shot against every schema, all conditions looked at."""
    verdicts = explain(shot.captures, schemas, program=shot.program)
    of = tuple(
        tuple(verdict for verdict in verdicts if verdict.capture == index)
        for index in range(len(shot.captures))
    )
    readout = read_run(shot.captures, schemas, program=shot.program)
    return Judged(shot, of, tuple(hold for hold in readout.holds if not hold.metric))


@dataclass(frozen=True)
class Attempt:
    """One shot as one schema reads it: its captures together, and each marked on its own."""

    shot: Shot
    readout: Readout
    marked: tuple[Marked, ...]
    verdicts: tuple[Verdict, ...]

    @property
    def clean(self) -> bool:
        """Whether something was read and nothing is held."""
        return bool(self.readout.readings) and not self.readout.holds


def attempt(shot: Shot, schema: Schema) -> Attempt:
    """Reads a shot by one schema."""
    return Attempt(
        shot,
        read_run(shot.captures, [schema], program=shot.program),
        tuple(mark(capture, [schema], program=shot.program) for capture in shot.captures),
        explain(shot.captures, [schema], program=shot.program),
    )


@dataclass(frozen=True)
class Unknown:
    """Captures that nothing recognises and that are alike.

    seen: how often. lines: the first that they show, numbers as 0. sort: what they are instead of text, or "".
    """

    seen: int
    programs: tuple[str, ...]
    runs: tuple[int, ...]
    lines: tuple[str, ...]
    sort: str = ""


def unrecognised(store: Store, schemas: Sequence[Schema]) -> list[Unknown]:
    """What no schema recognises in any capture of its run, by likeness, the most often seen first."""
    from readoff.store import find

    groups: dict[tuple[str, str], list[RunRow]] = {}
    for row in find.runs(store, state="complete"):
        full = find.run_in_full(store, row.id)
        if alike := _unread_likeness(full, schemas):
            groups.setdefault(alike, []).append(row)
    made = [
        Unknown(
            len(rows),
            tuple(sorted({row.program or row.path for row in rows})),
            tuple(row.number for row in rows),
            () if sort else tuple(text.split("\n")[:_FIRST_LINES]),
            sort,
        )
        for (sort, text), rows in groups.items()
    ]
    return sorted(made, key=lambda each: (-each.seen, each.runs[0]))


def _unread_likeness(full: RunInFull, schemas: Sequence[Schema]) -> tuple[str, str] | None:
    """(sort, likeness) of a run's first capture that shows something, where nothing recognises the run; else None."""
    captures = [each.capture for each in full.captures if each.settled and not each.problem]
    readout = read_run(captures, schemas, program=full.run.program)
    if readout.readings or any(verdict.recognised for verdict in readout.recognised):
        return None
    return next(((wordless(each), alike) for each in captures if (alike := likeness(each))), None)


@dataclass(frozen=True)
class Checked:
    """What came of checking schemas. bare: files of those without samples."""

    schemas: int
    samples: int
    bare: tuple[str, ...]
    faults: tuple[str, ...]


def check_files(files: Sequence[Path]) -> Checked:
    """Loads schemas, together and each by itself, and tries the samples of all that load."""
    texts, faults = read_schema_files(files)
    named = {path.name for path in files}
    around = {name: text for path in files for name, text in beside(path) if name not in named}
    try:
        load_schemas([*around.items(), *((str(path), text) for path, text in texts)])
    except SchemaError as error:
        faults += error.faults
    schemas: list[Schema] = []
    for path, text in texts:
        if not path.name.lower().endswith(_GLYPHS):
            try:
                schemas += load_schemas([*beside(path), (str(path), text)])
            except SchemaError:
                continue  # its faults have been told already
    for schema in schemas:
        faults += check_samples(schema)
    bare = tuple(schema.file for schema in schemas if not schema.samples)
    return Checked(
        len(schemas), sum(len(schema.samples) for schema in schemas), bare, tuple(dict.fromkeys(faults))
    )


@dataclass(frozen=True)
class Started:
    """A schema that was begun. others: schemas that recognise the capture as well; problems: what could not be done."""

    file: Path
    schema: str
    readings: tuple[Reading, ...]
    problems: tuple[str, ...]
    others: tuple[str, ...]

    @property
    def clean(self) -> bool:
        """Whether everything asked for is read, and by this schema alone."""
        return not (self.problems or self.others)


def started(shot: Shot, out: Path | None, number: int | None, place: Place) -> Started:
    """Asks about a capture and writes its schema. number: which capture, from 1.

    Raises UsageError before anything is asked where the file is there already or there is nothing to read.
    """
    from readoff.cli.schema_start import ask

    if out is not None and out.exists():
        raise UsageError("there is such a file already", where=str(out), next_step="Name a new one.")
    folder = out.parent if out else place.schemas or Path()
    _check_folder(folder)
    if number is not None and number > len(shot.captures):
        raise UsageError(f"it has {looks.counted(len(shot.captures), 'capture')}", where=shot.name)
    numbered = [index for index, each in enumerate(shot.captures) if candidates(each)]
    index = number - 1 if number is not None else next(iter(numbered), 0)
    capture = shot.captures[index]
    known = load_all_schemas(place.schemas)
    verdicts = explain([capture], known, program=shot.program)
    others = tuple(verdict.schema for verdict in verdicts if verdict.recognised)
    draft = ask(capture, _suggestion(shot, out), {each.name for each in known}, others)
    made = propose(draft, capture, program=shot.program)
    problems = missed(draft, made)
    problems += check_samples(made.schema)
    if not made.carries_sample:
        problems.append("the capture is too long to be carried as a sample; add a shorter one by hand")
    file = out or folder / f"{draft.name}.toml"
    _write(file, made.text)
    return Started(file, draft.name, made.readings, tuple(problems), others)


def _suggestion(shot: Shot, out: Path | None) -> str:
    """A name for the schema: that of its file, or of the program, or of the capture's file; "" where none would do."""
    stem = (out.stem if out else shot.program or Path(shot.name).stem).lower()
    return stem if stem.isascii() and stem.isidentifier() and stem[0].isalpha() else ""


def _check_folder(folder: Path) -> None:
    """Raises UsageError where no file can be written into a folder, or it cannot be made."""
    there = next(each for each in (folder.absolute(), *folder.absolute().parents) if each.exists())
    if not (there.is_dir() and os.access(there, os.W_OK | os.X_OK)):
        raise UsageError(
            "the schema cannot be written there", where=str(folder), next_step="Name another with --out."
        )


def _write(file: Path, text: str) -> None:
    with writing(file, "the schema"):
        file.parent.mkdir(parents=True, exist_ok=True)
        with file.open("x", encoding="utf-8", newline="\n") as opened:
            opened.write(text)
