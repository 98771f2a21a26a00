"""readoff compare: did it make a difference?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from readoff.cli.common import Place, echo_json, margin_option, store_options

if TYPE_CHECKING:
    from readoff.reports.comparison import Compared, Comparison, LeftOut
    from readoff.store import Store


@click.command()
@click.argument("base")
@click.argument("other")
@click.option("--metric", default="", help="Only this metric; without it each schema's headline metrics.")
@click.option("--every-metric", is_flag=True, help="All metrics of which one way is better.")
@click.option("--program", default="", help="Only readings of this program.")
@margin_option()
@click.option("--with-typed", is_flag=True, help="Count numbers that a person typed (readoff enter), too.")
@click.option(
    "--report",
    "folder",
    type=click.Path(path_type=Path),
    help="Also write the report of it into this folder, as readoff report does.",
)
@store_options
def compare(  # noqa: PLR0913, PLR0917 - one for each option
    base: str,
    other: str,
    metric: str,
    every_metric: bool,
    program: str,
    margin: float,
    with_typed: bool,
    folder: Path | None,
    place: Place,
) -> None:
    """Compare configuration OTHER with configuration BASE (labels), and say what may be said.

    Only complete runs count; whatever is left out is listed with the reason. Ends with status 1 when no
    finding could be given.

    \b
    Example:
      readoff compare as-found zero-ws --margin 1
    """
    from readoff.reports import compare_labels

    with place.open_to_look() as store:
        result = compare_labels(
            store,
            base,
            other,
            metric=metric,
            program=program,
            margin=margin / 100,
            every_metric=every_metric,
            with_typed=with_typed,
        )
        path = _report(store, result, folder, quiet=place.as_json) if folder else None
    if place.as_json:
        echo_json(as_values(result))
    else:
        show_comparison(result)
        if path:
            click.echo(f"\nReport: {path}")
    click.get_current_context().exit(0 if result.findings else 1)


def _report(store: Store, result: Comparison, folder: Path, *, quiet: bool) -> Path:
    from readoff.cli.progress import Progress
    from readoff.reports.publication import of_comparisons, with_more
    from readoff.reports.writing import write_report

    publication = with_more(store, of_comparisons(store, [result]))
    tell = Progress(quiet=quiet, first=0.0)
    try:
        return write_report(publication, folder, step=tell)
    finally:
        tell.clear()


def as_values(result: Comparison) -> dict[str, object]:
    """A comparison for programs."""
    return {
        "base": result.base,
        "other": result.other,
        "margin": result.margin,
        "compared": [
            {
                "program": each.task.program,
                "arguments": each.task.arguments,
                "metric": each.metric.name,
                "unit": each.metric.unit,
                "sentence": each.sentence,
                "finding": each.finding.as_dict() if each.finding else None,
                "refusal": each.refusal or None,
                "base_readings": _readings(each, base=True),
                "other_readings": _readings(each, base=False),
            }
            for each in result.compared
        ],
        "left_out": [
            {"run": each.run.number, "label": each.run.label, "metric": each.metric, "reason": each.reason}
            for each in result.left_out
        ],
        "differences": [
            {"fact": d.name, "base": d.base_text, "other": d.other_text, "detail": d.detail()}
            for d in result.differences
        ],
        "base_disagrees": [each.sentence() for each in result.base_disagrees],
        "other_disagrees": [each.sentence() for each in result.other_disagrees],
        "unmatched": result.unmatched,
        "warnings": result.warnings,
        "unasked": result.unasked,
    }


def _readings(each: Compared, *, base: bool) -> list[dict[str, object]]:
    side = each.base if base else each.other
    return [
        {"run": e.run.number, "boot": e.run.boot, "value": e.reading.value, "line": e.reading.line}
        for e in side
    ]


def show_comparison(result: Comparison) -> None:
    """Prints a comparison: findings first, then what they rest on."""
    from readoff.cli import looks

    looks.heading(f"{result.other} against {result.base}")
    if not result.compared:
        looks.say()
        looks.say(
            "Nothing can be compared: no metric was read on both sides, from one program and its arguments."
        )
    for each in result.compared:
        looks.say()
        looks.say(f"{each.task.title}: {each.metric.name} ({each.metric.unit})")
        looks.say(each.sentence, indent=2)
    for task in dict.fromkeys(each.task for each in result.compared if each.finding):
        looks.heading(f"{task.title} in figures (from, to: 95 % interval of the ratio)")
        looks.print_table(
            ("metric", result.base, result.other, "ratio", "from", "to", "boots", "runs"),
            [_row(each) for each in result.compared if each.finding and each.task == task],
            right=(result.base, result.other, "ratio", "from", "to"),
        )
    _lines("Before you believe it", result.warnings)
    _lines("What differs between the two, by their snapshots", [d.sentence() for d in result.differences])
    _lines(f"In what {result.base} disagrees with itself", [d.sentence() for d in result.base_disagrees])
    _lines(f"In what {result.other} disagrees with itself", [d.sentence() for d in result.other_disagrees])
    _lines("Not compared", result.unmatched)
    if result.unasked:
        _lines("Read as well, not asked for (--metric NAME, or --every-metric)", [", ".join(result.unasked)])
    _lines("Left out", list(grouped(result.left_out)))


def _row(each: Compared) -> Sequence[str]:
    from readoff.judge.sentence import plain_number

    finding = each.finding
    assert finding is not None  # the caller's choice
    return (
        each.metric.name,
        plain_number(finding.base_value),
        plain_number(finding.other_value),
        f"{finding.ratio:.4f}",
        f"{finding.interval95.low:.4f}",
        f"{finding.interval95.high:.4f}",
        f"{finding.base_boots} + {finding.other_boots}",
        f"{len(finding.base_runs)} + {len(finding.other_runs)}",
    )


def _lines(title: str, lines: Sequence[str]) -> None:
    from readoff.cli import looks

    if lines:
        looks.heading(title)
        for line in lines:
            looks.say(line, indent=2)


def grouped(left_out: Sequence[LeftOut]) -> Iterable[str]:
    """Runs that were left out for the same reason, in one line."""
    reasons: dict[tuple[str, str], list[LeftOut]] = {}
    for each in left_out:
        reasons.setdefault((each.metric, each.reason), []).append(each)
    for (metric, reason), group in reasons.items():
        numbers = ", ".join(str(each.run.number) for each in group)
        which = "run" if len(group) == 1 else "runs"
        yield f"{which} {numbers}{f' for {metric}' if metric else ''}: {reason}"
