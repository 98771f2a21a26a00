"""readoff take, of a bundle: what it carries goes into the store, its study and schemas beside it, and its findings are
judged again and held against those that it brings.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from readoff.cli.common import Place, load_all_schemas, own_and_shipped, plain, read_schema_file
from readoff.cli.progress import Progress
from readoff.errors import MalformedError, StudyError, UsageError

if TYPE_CHECKING:
    from readoff.readings import Schema
    from readoff.reports.bundle import Bundle
    from readoff.store import Store
    from readoff.store.gather import Gathered

_UNPACKED = ("study.toml", "findings.json", "README.txt")


@dataclass(frozen=True)
class TakenBundle:
    """What came of a bundle. unpacked: the folder with its study and schemas. differ: names of the findings that are
    not those of the bundle; trouble: why they could not be judged again, or "". findings: how many it brings.
    """

    bundle: Bundle
    gathered: Gathered
    unpacked: Path
    findings: int
    differ: tuple[str, ...]
    trouble: str

    @property
    def good(self) -> bool:
        """Whether all of it came, and the findings are the same."""
        return not (self.gathered.spoiled or self.differ or self.trouble)


def take_bundle(path: Path, unpack: Path | None, place: Place) -> TakenBundle:
    """Takes a bundle, and says on a terminal how far it is.

    Raises MalformedError where anything in it is wrong; nothing is taken then.
    """
    tell = Progress(quiet=place.as_json)
    try:
        return _take(path, unpack, place, tell)
    finally:
        tell.clear()


def _take(path: Path, unpack: Path | None, place: Place, tell: Progress) -> TakenBundle:
    from readoff.reports.bundle import read_bundle
    from readoff.store import open_store
    from readoff.store.carry import as_tables
    from readoff.store.gather import gather_from

    bundle = read_bundle(path, tell.count("files read"))
    folder = unpack or place.store.parent / f"{path.resolve().stem}-unpacked"
    schemas = _schemas(bundle, place)
    with closing(as_tables(bundle.carried, f"{path}: store.json")) as source:
        _unpack(bundle, folder)
        with open_store(place.store, schemas) as store:
            store.step = tell.count("arrivals")
            gathered = gather_from(store, source, path)
            tell(f"{gathered.arrivals} arrivals taken; judging again")
            differ, trouble, count = _judged_again(store, bundle, folder)
    return TakenBundle(bundle, gathered, folder, count, differ, trouble)


def _schemas(bundle: Bundle, place: Place) -> list[Schema]:
    """The shipped schemas, the user's own, and those of the bundle that are not among them."""
    from readoff.readings import load_schemas

    files = [(path.name, read_schema_file(path)) for path in own_and_shipped(place.schemas)]
    known = {text for _, text in files}
    brought = [(f"{bundle.path}: {name}", text) for name, text in bundle.schemas.items() if text not in known]
    return load_schemas([*files, *brought]) if brought else load_all_schemas(place.schemas)


def _unpack(bundle: Bundle, folder: Path) -> None:
    """Writes the study, the schemas and what is to be read into a folder; never over a file that says otherwise.

    Only names that a bundle may have come here (reports.bundle), so none leads out of the folder.
    """
    wanted = {
        name: octets
        for name, octets in bundle.files.items()
        if name in _UNPACKED or name.startswith("schemas/")
    }
    try:
        for name, octets in wanted.items():
            path = folder / name
            if path.is_symlink() or (path.exists() and path.read_bytes() != octets):
                raise UsageError(
                    "there is another file already",
                    where=str(path),
                    next_step="Name a new folder with --unpack.",
                )
        for name, octets in wanted.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(octets)
    except OSError as error:
        raise UsageError(f"cannot be written ({error.strerror or error})", where=str(folder)) from error


# -- judged again --------------------------------------------------------------------------------------------------


def _judged_again(store: Store, bundle: Bundle, folder: Path) -> tuple[tuple[str, ...], str, int]:
    """(findings that differ, why they could not be judged again, how many there are)."""
    try:
        now = _findings(store, bundle, folder)
    except (StudyError, UsageError, MalformedError) as error:
        return (), error.sentence(), 0
    ours, theirs = by_name(now), by_name(bundle.findings)
    differ = [name for name in {**theirs, **ours} if theirs.get(name) != ours.get(name)]
    return tuple(differ), "", sum(not name.startswith("(") for name in theirs)


def _findings(store: Store, bundle: Bundle, folder: Path) -> Any:
    if "study" in bundle.asked:
        from readoff.cli import verdicts_shown
        from readoff.reports.study import read_study
        from readoff.studies import load_study

        study = load_study(str(folder / "study.toml"), bundle.study)
        seen = read_study(store, study)
        return plain(verdicts_shown.as_values(seen, seen.verdicts()))
    from readoff.cli.report import label_findings

    return label_findings(store, *_asked(bundle))


def _asked(bundle: Bundle) -> tuple[tuple[str, ...], dict[str, Any]]:
    labels, margin = bundle.asked.get("labels"), bundle.asked.get("margin")
    if not (
        isinstance(labels, list) and all(isinstance(each, str) for each in labels) and 1 < len(labels) <= 50
    ):
        raise MalformedError("it does not say what was compared", where=str(bundle.path))
    if not (isinstance(margin, int | float) and 0 < margin < 1):
        raise MalformedError("it does not say which difference matters", where=str(bundle.path))
    flags = {name: bundle.asked.get(name) is True for name in ("every_metric", "with_typed")}
    return tuple(labels), {"margin": float(margin), **flags}


def by_name(findings: Any) -> dict[str, Any]:
    """Findings as JSON has them, by a name each; whatever belongs to them besides under names in brackets."""
    every = findings if isinstance(findings, list) else [findings]
    out: dict[str, Any] = {}
    for each in every:
        whole = json.loads(json.dumps(each)) if isinstance(each, Mapping) else {"unknown": each}
        pair = f"{whole.get('base', '')}~{whole.get('other', '')}" if "compared" in whole else ""
        for key in ("findings", "overall", "compared"):
            for one in whole.pop(key, None) or []:
                named = isinstance(one, dict)
                name = one.get("name") if named else None
                made = f"{pair}:{one.get('program')}:{one.get('metric')}" if named else str(one)
                out[str(name or made)] = one
        out |= {f"({key}{' of ' + pair if pair else ''})": value for key, value in whole.items()}
    return out


# -- shown ---------------------------------------------------------------------------------------------------------


def values(taken: TakenBundle) -> dict[str, Any]:
    """What came of a bundle, for programs."""
    return {
        "path": str(taken.bundle.path),
        "title": taken.bundle.title,
        "made_with": taken.bundle.made_with,
        "gathered": taken.gathered,
        "unpacked": str(taken.unpacked),
        "findings": taken.findings,
        "same": not (taken.differ or taken.trouble),
        "differ": taken.differ,
        "trouble": taken.trouble,
    }


def show(taken: TakenBundle, place: Place) -> None:
    """Prints what came of a bundle, and how to go on."""
    from readoff.cli import looks

    got = taken.gathered
    looks.say(f"Bundle: {taken.bundle.title} ({taken.bundle.made_with})")
    parts = [f"{looks.counted(got.records, 'record')} new"]
    parts += [looks.counted(got.notes, "note")] if got.notes else []
    parts += [looks.counted(got.typed, "typed number")] if got.typed else []
    parts += [looks.counted(got.attachments, "attachment")] if got.attachments else []
    known = got.arrivals - got.new - len(got.spoiled)
    parts += [f"{known} known already"] if known else []
    looks.say(f"{looks.counted(got.arrivals, 'arrival')}: {', '.join(parts)}. Every file is as it was made.")
    for number, what in got.spoiled:
        looks.say(f"arrival {number} was left out: {what}", indent=2)
    _say_findings(taken)
    own = f" --schemas {taken.unpacked / 'schemas'}" if taken.bundle.schemas else ""
    if taken.bundle.study:
        click.echo(f"Judge:  readoff study judge {taken.unpacked / 'study.toml'} --store {place.store}{own}")
    click.echo(f"Look:   readoff runs --store {place.store}{own}")


def _say_findings(taken: TakenBundle) -> None:
    from readoff.cli import looks

    if taken.trouble:
        looks.say(f"The findings could not be judged again: {taken.trouble}")
    elif taken.differ:
        looks.say(
            "Judged again, these are not the same as in the bundle; this store holds other runs of these labels, or "
            f"the bundle was made with another version ({taken.bundle.made_with}):"
        )
        for name in taken.differ:
            looks.say(name, indent=2)
    else:
        looks.say(f"Judged again: {looks.counted(taken.findings, 'finding')}, the same as in the bundle.")
