"""readoff study: plan a study, see how far it is, judge it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, store_options, writing
from readoff.cli.listing import Listing
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.reports.study import StudyInStore
    from readoff.studies import Study

_FILE = click.Path(path_type=Path, dir_okay=False)


@click.group(cls=Listing)
def study() -> None:
    """Plan a study, see what it still needs, and judge it.

    A study is one file that says beforehand what is compared and what would matter. Everything else is found
    in the store.

    \b
    Example:
      readoff study start wait-states.toml
      readoff study plan wait-states.toml
      readoff study status wait-states.toml
      readoff study judge wait-states.toml
    """


def read_file(path: Path) -> Study:
    """The study in a file. Raises UsageError where it cannot be read, StudyError for its faults."""
    from readoff.studies import load_study

    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise UsageError(
            "the study cannot be read (it is not UTF-8 text)", where=str(path), next_step="Save it as UTF-8."
        ) from error
    except OSError as error:
        raise UsageError(
            f"the study cannot be read ({error.strerror})",
            where=str(path),
            next_step=f"Write one with: readoff study start {quote(str(path))}",
        ) from error
    return load_study(str(path), text)


def look(place: Place, declared: Study) -> StudyInStore:
    """What the store has of a study; nothing where there is no store yet."""
    from readoff.reports.study import read_study, unread

    if not place.store.exists():
        return unread(declared)
    with place.open_to_look() as store:
        return read_study(store, declared)


@study.command()
@click.argument("file", type=_FILE)
def start(file: Path) -> None:
    """Ask what the study is about, and write it into FILE.

    An empty answer ends a list. Go on writing in the file by hand; docs/studies.md explains every key.

    \b
    Example:
      readoff study start wait-states.toml
    """
    from readoff.cli.study_start import ask
    from readoff.studies import load_study, study_text

    if file.exists():
        raise UsageError("there is such a file already", where=str(file), next_step="Name a new one.")
    text = study_text(ask(datetime.now(UTC)))
    with writing(file, "the study"):
        file.write_text(text, encoding="utf-8")
    click.echo(f"\nWritten: {file}")
    load_study(str(file), text)  # what is wrong is told by its line; no answer is lost
    click.echo(f"Next: readoff study plan {quote(str(file))}")


@study.command()
@click.argument("file", type=_FILE)
@store_options
def plan(file: Path, place: Place) -> None:
    """Print the order of the boots, the time they take, and what they can and cannot show.

    The noise is taken from the runs in the store; where there are none, from the study file.

    \b
    Example:
      readoff study plan wait-states.toml
    """
    from readoff.cli import study_shown
    from readoff.studies import make_plan

    declared = read_file(file)
    made = make_plan(declared, look(place, declared).noise)
    if place.as_json:
        echo_json(study_shown.plan_values(made))
    else:
        study_shown.show_plan(made)


@study.command()
@click.argument("file", type=_FILE)
@store_options
def status(file: Path, place: Place) -> None:
    """Say what is done, what is missing, and what to do next, with its cautions.

    All of it comes from the runs in the store, so it is the same after any reset or power cut.

    \b
    Example:
      readoff study status wait-states.toml
    """
    from readoff.cli import study_shown

    declared = read_file(file)
    seen = look(place, declared)
    if place.as_json:
        echo_json(study_shown.status_values(seen))
    else:
        study_shown.show_status(seen, f"{quote(str(file))}{place.options}")


@study.command()
@click.argument("file", type=_FILE)
@store_options
def judge(file: Path, place: Place) -> None:
    """Say what may be said: every finding, what stands against it, and what could not be judged.

    Ends with status 1 when no finding could be given.

    \b
    Example:
      readoff study judge wait-states.toml
    """
    from readoff.cli import verdicts_shown

    declared = read_file(file)
    seen = look(place, declared)
    verdicts = seen.verdicts()
    if place.as_json:
        echo_json(verdicts_shown.as_values(seen, verdicts))
    else:
        verdicts_shown.show(seen, verdicts, f"{quote(str(file))}{place.options}")
    click.get_current_context().exit(0 if verdicts.findings else 1)


@study.command()
@click.argument("file", type=_FILE)
@click.argument("text")
@click.option("--label", default="", help="The configuration that the note is about.")
@click.option("--program", default="", help="The program that fails there; without it, all of them.")
@click.option("--remark", is_flag=True, help="Only a remark: nothing failed, and the plan stays as it is.")
@click.option(
    "--take-back", type=int, metavar="NUMBER", help="Take a note back; TEXT says why. The store keeps both."
)
@store_options
def note(
    file: Path, text: str, label: str, program: str, remark: bool, take_back: int | None, place: Place
) -> None:
    """Write down a failure, which is a result: it stands in the findings, and the plan goes on without it.

    \b
    Example:
      readoff study note wait-states.toml --label zero-ws "does not start at the fastest setting"
    """
    from readoff.store.notes import add_note, withdraw
    from readoff.studies.noting import check_note

    declared = read_file(file)
    now = datetime.now(UTC)
    if take_back is None:
        check_note(declared, label, program, text)
    elif not text.strip():
        raise UsageError("the note is empty", next_step="Say what happened.")
    with place.open_to_write() as store:
        if take_back is not None:
            gone = withdraw(store, take_back, machine=declared.machine, text=text, at=now)
            number, said = take_back, f"Taken back: note {take_back} on {gone.label} ({gone.text})."
        else:
            what = "remark" if remark else "failure"
            number = add_note(
                store, machine=declared.machine, label=label, program=program, what=what, text=text, at=now
            )
            said = f"Noted as {number}: {label}{f', {program}' if program else ''}: {text}"
    if place.as_json:
        echo_json({"note": number, "taken_back": take_back is not None})
    else:
        click.echo(said)


@study.command()
@click.argument("file", type=_FILE)
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--drive", default="A:", show_default=True, metavar="LETTER:", help="The disk's drive on the old machine."
)
@click.option("--send-programs", is_flag=True, help="Each boot also brings home the programs' files.")
@store_options
def disk(file: Path, folder: Path, drive: str, send_programs: bool, place: Place) -> None:
    """Write what is still to be done as batch files into FOLDER, for a bench without a line, and the agent beside.

    Start one in each boot on the old machine; its records gather in SPOOL on the same disk. Bring them home with
    readoff take; the status then knows them.

    \b
    Example:
      readoff study disk wait-states.toml /media/floppy
    """
    from readoff import resources
    from readoff.studies import batch_files, progress_of

    declared = read_file(file)
    if len(drive) != 2 or not drive[0].isalpha() or not drive.isascii() or drive[1] != ":":
        raise UsageError(f"{drive!r} is no drive", next_step="Give a letter and a colon, such as A:")
    todo = [each.planned for each in progress_of(declared, look(place, declared).done).open]
    files = batch_files(declared, todo, drive.upper(), send_programs=send_programs or declared.send_programs)
    with writing(folder, "the disk"):
        folder.mkdir(parents=True, exist_ok=True)
        for old in folder.glob("B[0-9][0-9][0-9]*.BAT"):
            if old.name not in files:
                old.unlink()  # of an earlier plan: its boot is done
        for name, octets in files.items():
            (folder / name).write_bytes(octets)
        (folder / "READOFF.COM").write_bytes(resources.agent().read_bytes())
    if place.as_json:
        echo_json({"folder": str(folder), "boots": len(todo), "files": sorted([*files, "READOFF.COM"])})
    else:
        boots = "1 boot" if len(todo) == 1 else f"{len(todo)} boots"
        click.echo(
            f"{boots} to do, one batch file each, in {folder}. Begin with PLAN.TXT."
            if todo
            else f"Nothing is left to do. See: readoff study judge {quote(str(file))}{place.options}"
        )
