"""The tables of a publication, as CSV for programs and as Markdown for articles.

CSV carries every figure whole (read again, it is the very number); Markdown rounds it for people.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from readoff.reports.publication import Publication, Told
from readoff.snapshots import Fact
from readoff.snapshots.difference import ABSENT, Snapshot, agreed, measured_alike, same_label
from readoff.store.typed import BY_HAND

Cell = str | int | float | None
DIFFERS = "(not the same in all boots)"


@dataclass(frozen=True)
class Table:
    """One table. name: of its files. title: in words."""

    name: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def tables_of(publication: Publication) -> list[Table]:
    """Every table, those without rows too: a file that is not there would leave it open whether there was nothing."""
    return [
        findings_table(publication),
        readings_table(publication),
        configurations_table(publication),
        facts_table(publication),
        left_out_table(publication),
    ]


_FINDING = (
    *("finding", "base", "other", "program", "arguments", "metric", "unit", "better", "verdict", "extent"),
    *("base_value", "other_value", "ratio", "ratio_low95", "ratio_high95", "ratio_low90", "ratio_high90"),
    *("p", "p_adjusted", "family", "looks", "df", "method", "margin", "margin_declared", "base_boots"),
    *("other_boots", "base_runs", "other_runs", "base_typed", "other_typed", "sentence"),
)


def findings_table(publication: Publication) -> Table:
    """Every comparison, with its figures where there is a finding and its sentence in any case."""
    rows = [_finding_row(each) for each in (*publication.told, *publication.overall)]
    return Table("findings", "Findings in figures", _FINDING, tuple(rows))


def _finding_row(told: Told) -> tuple[Cell, ...]:
    of = told.of
    program, arguments, name = (of.task.program, of.task.arguments, of.name) if of else ("", "", told.title)
    unit, better = told.metric.unit, str(told.metric.better)
    head: list[Cell] = [
        told.name,
        told.base,
        told.other,
        program,
        arguments,
        name,
        unit,
        better,
        told.verdict,
    ]
    typed = [sum(e.reading.schema == BY_HAND for e in told.evidence(x)) for x in (told.base, told.other)]
    finding = told.finding
    if finding is None:
        empty = len(_FINDING) - len(head) - 3
        return (*head, *[None] * empty, *typed, told.sentence)
    low95, low90 = finding.interval95, finding.interval90
    figures: list[Cell] = [
        *(str(finding.extent or ""), finding.base_value, finding.other_value, finding.ratio),
        *(low95.low, low95.high, low90.low, low90.high, finding.p, finding.p_adjusted),
        *(finding.family, finding.looks, finding.freedom if math.isfinite(finding.freedom) else None),
        *("pooled" if finding.pooled else "Welch", finding.margin, finding.margin_declared),
        *(finding.base_boots, finding.other_boots, len(finding.base_runs), len(finding.other_runs)),
    ]
    return (*head, *figures, *typed, told.sentence)


def readings_table(publication: Publication) -> Table:
    """Every reading that a finding rests on, with the line that it was read from."""
    columns = tuple("program arguments metric label boot run record repeat value unit step".split())
    rows = [
        (
            *(each.task.program, each.task.arguments, each.name, label, one.run.boot, one.run.number),
            *(one.run.id, one.run.repeat, one.reading.value, one.reading.unit, one.reading.quantum),
            *("typed" if one.reading.schema == BY_HAND else "captured", one.reading.line.strip()),
            one.reading.schema,
        )
        for each in publication.measured
        for label, side in each.evidence.items()
        for one in side
    ]
    return Table("readings", "Readings", (*columns, "how", "line", "schema"), tuple(rows))


def configurations_table(publication: Publication) -> Table:
    """The configurations as they were told, with how much there is of each."""
    columns = ("label", "changes", "words", "boots", "runs", "snapshots")
    rows = [
        (each.label, each.changes, "; ".join(each.words), len(each.boots), len(each.runs), len(each.shots))
        for each in publication.configurations
    ]
    return Table("configurations", "Configurations", columns, tuple(rows))


def facts_table(publication: Publication) -> Table:
    """The stable facts of every configuration; first those in which they differ."""
    labels = [each.label for each in publication.configurations]
    differ, same = side_by_side([each.shots for each in publication.configurations])
    rows = [
        (name, "yes" if found else "no", *values)
        for found, part in ((True, differ), (False, same))
        for name, values in part
    ]
    return Table("facts", "Measured facts", ("fact", "differs", *labels), tuple(rows))


Row = tuple[str, tuple[str, ...]]


def side_by_side(shots: Sequence[Sequence[Snapshot]]) -> tuple[list[Row], list[Row]]:
    """(facts in which configurations differ, facts that are the same in all), each with a value for each of them."""
    sides = [agreed(each) for each in shots]
    unsure = [{d.name for d in same_label(each)} for each in shots]
    names = dict.fromkeys(
        [name for side in sides for name in side] + [n for each in unsure for n in sorted(each)]
    )
    differ: list[Row] = []
    same: list[Row] = []
    for name in names:
        values = tuple(
            DIFFERS if name in doubtful else _text(side.get(name)) if snapshots else ""
            for side, doubtful, snapshots in zip(sides, unsure, shots, strict=True)
        )
        known = {value for value, snapshots in zip(values, shots, strict=True) if snapshots}
        alike = len(known) == 1 or measured_alike(side.get(name) for side in sides)
        alike = alike and DIFFERS not in known
        (same if alike else differ).append((name, values))
    return differ, same


def _text(fact: Fact | None) -> str:
    return ABSENT if fact is None else f"{fact.value} {fact.unit}".rstrip()


def left_out_table(publication: Publication) -> Table:
    """The runs that gave no evidence, or not for every metric, each with the reason."""
    rows = [
        (
            each.run.number,
            each.run.id,
            each.run.label,
            each.run.program,
            each.run.boot,
            each.metric,
            each.reason,
        )
        for each in publication.left_out
    ]
    columns = ("run", "record", "label", "program", "boot", "metric", "reason")
    return Table("left-out", "Left out", columns, tuple(rows))


# -- as files ------------------------------------------------------------------------------------------------------


def as_csv(table: Table) -> str:
    """A table as CSV (RFC 4180, UTF-8, a head line); floats so that they are the same when read again."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.columns)
    writer.writerows([_csv_cell(cell) for cell in row] for row in table.rows)
    return out.getvalue()


def _csv_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float):
        return repr(cell)
    text = str(cell)
    # Text of an old machine must not become a formula in somebody's spreadsheet: it gets an apostrophe before.
    risky = re.match(r"[=+\-@\t\r]", text) and not re.fullmatch(r"[+-]?[0-9.]+(e[+-]?[0-9]+)?", text)
    return f"'{text}" if risky else text


def as_markdown(table: Table) -> str:
    """A table as Markdown, with a heading."""
    head = [f"## {md(table.title)}", ""]
    if not table.rows:
        return "\n".join([*head, "None."])
    lines = ["| " + " | ".join(map(md, table.columns)) + " |", "|" + " --- |" * len(table.columns)]
    lines += ["| " + " | ".join(md(shown(cell)) for cell in row) + " |" for row in table.rows]
    return "\n".join([*head, *lines])


def shown(cell: Cell) -> str:
    """A cell for people."""
    return "" if cell is None else f"{cell:.5g}" if isinstance(cell, float) else str(cell)


def md(text: str) -> str:
    """Text that stays text in Markdown and in the HTML that is made of it, on one line."""
    out = "".join(c if c.isprintable() else " " for c in text)
    for character in "\\`*_{}[]<>#|":
        out = out.replace(character, "\\" + character)
    return out


def brief(table: Table, columns: Iterable[str]) -> Table:
    """The same table with some of its columns."""
    places = [table.columns.index(name) for name in columns]
    return Table(
        table.name,
        table.title,
        tuple(table.columns[at] for at in places),
        tuple(tuple(row[at] for at in places) for row in table.rows),
    )
