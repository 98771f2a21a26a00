"""A publication as files: the page, the charts, the tables, the photographs, and a bundle where one is asked for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from readoff.reports.figures import figures_of
from readoff.reports.folder import check_replaceable, write_folder
from readoff.reports.page import as_html, as_markdown, figures_table
from readoff.reports.publication import Publication
from readoff.reports.tables import as_csv, tables_of
from readoff.reports.tables import as_markdown as table_as_markdown

PAGE = "report.html"
TEXT = "report.md"
BUNDLE = "bundle.zip"

Step = Callable[[str], None]


def write_report(
    publication: Publication,
    folder: Path,
    *,
    bundle: Callable[[], bytes] | None = None,
    step: Step = lambda said: None,
) -> Path:
    """Writes a report into a folder, whole or not at all. Gives the path of its page.

    bundle: makes the bundle's octets. step: called with what is being made. Raises UsageError where the folder holds
    anything that readoff report did not write, or cannot be written; nothing has changed then.
    """
    check_replaceable(folder)  # before the work, too: it takes some seconds
    write_folder(folder, report_files(publication, bundle=bundle, step=step))
    return folder / PAGE


def report_files(
    publication: Publication,
    *,
    bundle: Callable[[], bytes] | None = None,
    step: Step = lambda said: None,
) -> dict[str, bytes]:
    """Path in the folder -> octets. The same publication gives the same octets."""
    files: dict[str, bytes] = {}
    drawn = []
    step("charts")
    for chart in figures_of(publication):
        step(f"chart {chart.name}")
        drawn.append(chart)
        files[f"charts/{chart.name}.svg"] = chart.svg.encode("utf-8")
        files[f"charts/{chart.name}.png"] = chart.png
        files[f"charts/{chart.name}-clear.png"] = chart.clear
    for table in tables_of(publication):
        files[f"tables/{table.name}.csv"] = as_csv(table).encode("utf-8")
        for_people = figures_table(publication) if table.name == "findings" else table
        files[f"tables/{table.name}.md"] = (table_as_markdown(for_people) + "\n").encode("utf-8")
    for each in publication.attached:
        if each.photograph is not None:
            files[f"photographs/{each.attachment.file_name}"] = each.photograph.octets
    name = ""
    if bundle is not None:
        step("bundle")
        name = BUNDLE
        files[name] = bundle()
    step("page")
    files[PAGE] = as_html(publication, drawn, name).encode("utf-8")
    files[TEXT] = as_markdown(publication, drawn, name).encode("utf-8")
    return files
