"""readoff report: everything that is published of a study, or of some labels, in one folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from readoff.cli.common import (
    Place,
    echo_json,
    margin_option,
    own_schemas,
    plain,
    store_options,
    study_option,
)
from readoff.cli.progress import Progress
from readoff.errors import UsageError

if TYPE_CHECKING:
    from readoff.reports.publication import Publication
    from readoff.store import Store


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.argument("labels", nargs=-1, metavar="[BASE OTHER…]")
@study_option("The study to publish; without it, labels are compared, the first being the base.")
@margin_option("With labels: the smallest difference that matters. A study has its own.")
@click.option("--every-metric", is_flag=True, help="With labels: all metrics of which one way is better.")
@click.option("--with-typed", is_flag=True, help="With labels: count numbers that a person typed, too.")
@click.option("--invented", is_flag=True, help="With labels: mark all of it as invented data.")
@click.option("--bundle", is_flag=True, help="Add bundle.zip, from which anybody can check the findings.")
@store_options
def report(  # noqa: PLR0913, PLR0917 - one for each option
    folder: Path,
    labels: tuple[str, ...],
    study: Path | None,
    margin: float,
    every_metric: bool,
    with_typed: bool,
    invented: bool,
    bundle: bool,
    place: Place,
) -> None:
    """Write what is to be published into FOLDER: a page, charts, tables, and a bundle to check it by.

    The page is one HTML file that asks for nothing outside. Charts come as SVG, as PNG of 1920 by 1080, and with a
    transparent ground. FOLDER is written whole or not at all; an earlier report is replaced, anything else never is.
    Ends with status 1 when no finding could be given.

    \b
    Examples:
      readoff report published --study wait-states.toml --bundle
      readoff report published as-found zero-ws fast-card --margin 1
    """
    from readoff.reports.folder import check_replaceable

    check_replaceable(folder)
    asked = {
        "margin": margin / 100,
        "every_metric": every_metric,
        "with_typed": with_typed,
        "invented": invented,
    }
    with place.open_to_look() as store:
        if study is not None:
            _refuse_both(labels)
            subject = of_study_file(store, study)
        else:
            subject = _of_labels(store, labels, asked)
        own = own_schemas(place.schemas)
        page = write(store, subject, folder, own if bundle else None, quiet=place.as_json)
    bundle_path = page.with_name("bundle.zip") if bundle else None
    if place.as_json:
        told = {"folder": str(folder), "page": str(page), "bundle": bundle_path, "findings": subject.findings}
        echo_json(told)
    else:
        show(subject.publication, page, bundle_path)
    found = any(each.finding for each in subject.publication.told)
    click.get_current_context().exit(0 if found else 1)


@dataclass(frozen=True)
class Subject:
    """What is published. asked, findings, study: as a bundle carries them (reports.bundle)."""

    publication: Publication
    asked: dict[str, Any]
    findings: Any
    study: str = ""


def write(
    store: Store, subject: Subject, folder: Path, bundled: dict[str, str] | None, *, quiet: bool = False
) -> Path:
    """Writes the folder, with a bundle where schemas for it are given ({} for none), and gives the page's path."""
    from readoff.reports.writing import write_report

    def make() -> bytes:
        from readoff.reports.bundle import Made, make_bundle

        made = Made(subject.asked, subject.findings, subject.study, bundled or {})
        return make_bundle(store, subject.publication, made)

    tell = Progress(quiet=quiet, first=0.0)  # it takes some seconds, always
    try:
        return write_report(subject.publication, folder, bundle=None if bundled is None else make, step=tell)
    finally:
        tell.clear()


def _refuse_both(labels: tuple[str, ...]) -> None:
    if labels:
        raise UsageError(
            "a study names its own configurations",
            next_step="Give --study FILE, or labels, not both.",
        )


def of_study_file(store: Store, file: Path) -> Subject:
    """A study as it is published. Raises StudyError, UsageError, StoreError."""
    from readoff.cli import verdicts_shown
    from readoff.cli.study import read_file
    from readoff.reports.publication import of_study, with_more
    from readoff.reports.study import read_study

    seen = read_study(store, read_file(file))
    verdicts = seen.verdicts()
    publication = with_more(store, of_study(seen, verdicts, file.name))
    findings = plain(verdicts_shown.as_values(seen, verdicts))
    return Subject(publication, {"study": "study.toml"}, findings, file.read_text(encoding="utf-8-sig"))


def _of_labels(store: Store, labels: tuple[str, ...], asked: dict[str, Any]) -> Subject:
    """Labels as they are published, the first being the base."""
    from readoff.cli.compare import as_values
    from readoff.reports.publication import compare_all, of_comparisons, with_more

    if len(labels) < 2:
        raise UsageError(
            "there is nothing to compare", next_step="Name a study with --study, or two labels or more."
        )
    results = compare_all(store, labels[0], labels[1:], **_rules(asked))
    publication = with_more(store, of_comparisons(store, results, invented=asked["invented"]))
    findings = plain([as_values(each) for each in results])
    return Subject(publication, {"labels": list(labels), **asked}, findings)


def label_findings(store: Store, labels: tuple[str, ...], asked: dict[str, Any]) -> Any:
    """The findings of labels, the first being the base, as plain values."""
    from readoff.cli.compare import as_values
    from readoff.reports.publication import compare_all

    return plain([as_values(each) for each in compare_all(store, labels[0], labels[1:], **_rules(asked))])


def _rules(asked: dict[str, Any]) -> dict[str, Any]:
    return {name: asked[name] for name in ("margin", "every_metric", "with_typed")}


def show(publication: Publication, page: Path, bundle: Path | None) -> None:
    """Prints what was found, and where it was written."""
    from readoff.cli import looks

    every = (*publication.told, *publication.overall)
    for each in every:
        if each.finding:
            looks.say(each.sentence)
    without = [each for each in every if not each.finding]
    if without:
        ways = ", ".join(dict.fromkeys(each.verdict for each in without))
        said = looks.counted(len(without), "comparison")
        looks.say(f"{said} without a finding ({ways}); the report says why.")
    looks.say()
    click.echo(f"Report: {page}")
    if bundle is not None:
        click.echo(f"Bundle: {bundle} (check it with: readoff take {bundle} --store check.db)")
