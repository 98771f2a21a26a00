"""The short report of a comparison: one page of HTML that opens from a stick and prints, and the same as text.

Nothing in it asks for an outside address. Whatever came from outside (labels, lines, facts) is escaped.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path

from readoff.errors import UsageError
from readoff.judge import DEFAULT_MARGIN
from readoff.reports.comparison import Compared, Comparison, Evidence, compare_labels
from readoff.store import Store

HTML_NAME = "report.html"
TEXT_NAME = "report.md"


def write_short_report(
    store: Store, base: str, other: str, folder: Path, *, margin: float = DEFAULT_MARGIN, note: str = ""
) -> Path:
    """Compares two labels and writes the report. note: a paragraph before everything else (invented data, say).

    Gives the path of the HTML page. Raises UsageError when the labels cannot be compared, or the folder not
    be written.
    """
    return write_report(compare_labels(store, base, other, margin=margin), folder, note=note)


def write_report(result: Comparison, folder: Path, *, note: str = "") -> Path:
    """Writes report.html and report.md into a folder, which is made if need be. Gives the HTML page's path."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / TEXT_NAME).write_text(as_text(result, note=note), encoding="utf-8")
        page = folder / HTML_NAME
        page.write_text(as_html(result, note=note), encoding="utf-8")
    except OSError as error:
        raise UsageError(f"the report cannot be written ({error.strerror})", where=str(folder)) from error
    return page


def title_of(result: Comparison) -> str:
    """The report's title."""
    return f"{result.other} against {result.base}"


_METHOD = (
    "The boot is the unit of evidence: readings of one boot are averaged in logarithms, and the interval of the "
    "ratio comes from how much the boots differ, and from the rounding of the numbers shown. The smallest "
    "difference that matters was set to {margin:g} %. Several metrics together are judged as one family (Holm)."
)


def _method(result: Comparison) -> str:
    return _METHOD.format(margin=result.margin * 100)


# -- text ----------------------------------------------------------------------------------------------------


def as_text(result: Comparison, *, note: str = "") -> str:
    """The report in Markdown."""
    parts = [f"# {_md(title_of(result))}", *([_md(note)] if note else [])]
    for each in result.compared:
        parts += [
            f"## {_md(each.metric.name)} of {_md(each.task.title)}",
            _md(each.sentence),
            _text_runs(result, each),
        ]
    parts += list(_text_lists(result))
    parts += ["## How it was judged", _method(result)]
    return "\n\n".join(parts) + "\n"


def _text_runs(result: Comparison, each: Compared) -> str:
    rows = [("configuration", "boot", "run", f"{each.metric.name} ({each.metric.unit})", "read from")]
    rows += [_cells(label, e) for label, e in _sides(result, each)]
    head, *body = ["| " + " | ".join(map(_md, row)) + " |" for row in rows]
    return "\n".join([head, "|" + " --- |" * len(rows[0]), *body])


def _text_lists(result: Comparison) -> Iterable[str]:
    for heading, lines in _lists(result):
        if lines:
            yield f"## {_md(heading)}"
            yield "\n".join(f"- {_md(line)}" for line in lines)


def _md(text: str) -> str:
    """Text that stays text in Markdown and in the HTML that is made of it, on one line."""
    out = "".join(c if c.isprintable() else " " for c in text)
    for character in "\\`*_{}[]<>#|":
        out = out.replace(character, "\\" + character)
    return out


# -- what both tell --------------------------------------------------------------------------------------------


def _sides(result: Comparison, each: Compared) -> Iterable[tuple[str, Evidence]]:
    for evidence in each.base:
        yield result.base, evidence
    for evidence in each.other:
        yield result.other, evidence


def _cells(label: str, evidence: Evidence) -> tuple[str, str, str, str, str]:
    run, reading = evidence.run, evidence.reading
    return label, run.boot, f"{run.number} ({run.id})", reading.shown, reading.line.strip()


def _lists(result: Comparison) -> Sequence[tuple[str, Sequence[str]]]:
    left = [f"run {e.run.number}{f', {e.metric}' if e.metric else ''}: {e.reason}" for e in result.left_out]
    return (
        ("Before you believe it", result.warnings),
        (f"In what {result.base} disagrees with itself", [d.sentence() for d in result.base_disagrees]),
        (f"In what {result.other} disagrees with itself", [d.sentence() for d in result.other_disagrees]),
        ("Not compared", result.unmatched),
        ("Left out", left),
        ("What differs, by the snapshots", [d.sentence() for d in result.differences]),
    )


# -- HTML ------------------------------------------------------------------------------------------------------

_STYLE = """
:root { color-scheme: light dark; --line: #8886; --weak: #767676; --warn: #b45309; }
body { font: 1rem/1.5 system-ui, sans-serif; max-width: 60rem; margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.6rem; margin: 0 0 .5rem; } h2 { font-size: 1.1rem; margin: 2rem 0 .4rem; }
.finding { border-left: .3rem solid currentColor; padding: .2rem 0 .2rem .9rem; font-size: 1.1rem; }
.note, .warn { border: 1px solid var(--warn); padding: .5rem .9rem; }
.wide { overflow-x: auto; } table { border-collapse: collapse; width: 100%; font-size: .9rem; }
th, td { text-align: left; padding: .25rem .6rem; border-bottom: 1px solid var(--line); vertical-align: top; }
td.number { text-align: right; font-variant-numeric: tabular-nums; } code { font-family: ui-monospace, monospace; }
svg text { font: 12px system-ui, sans-serif; fill: currentColor; } footer { margin-top: 2rem; color: var(--weak); }
@media print { body { margin: 0; max-width: none; } h2 { break-after: avoid; } tr { break-inside: avoid; } }
"""


def as_html(result: Comparison, *, note: str = "") -> str:
    """The report as one self-contained page."""
    title = escape(title_of(result))
    parts = [f"<h1>{title}</h1>"]
    if note:
        parts.append(f'<p class="note">{escape(note)}</p>')
    for each in result.compared:
        parts += [
            f"<h2>{escape(each.metric.name)} of {escape(each.task.title)}</h2>",
            f'<p class="finding">{escape(each.sentence)}</p>',
            _interval(each),
            _html_runs(result, each),
        ]
    for heading, lines in _lists(result):
        if lines:
            items = "".join(f"<li>{escape(line)}</li>" for line in lines)
            parts.append(f"<h2>{escape(heading)}</h2><ul>{items}</ul>")
    parts.append(f"<footer><p>{escape(_method(result))}</p></footer>")
    body = "\n".join(part for part in parts if part)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        f"<title>{title}</title><style>{_STYLE}</style></head>\n<body>\n{body}\n</body></html>\n"
    )


def _html_runs(result: Comparison, each: Compared) -> str:
    head = ("configuration", "boot", "run", f"{each.metric.name} ({each.metric.unit})", "read from")
    rows = "".join(_html_row(_cells(label, e)) for label, e in _sides(result, each))
    cells = "".join(f"<th>{escape(cell)}</th>" for cell in head)
    return f'<div class="wide"><table><thead><tr>{cells}</tr></thead><tbody>{rows}</tbody></table></div>'


def _html_row(cells: tuple[str, str, str, str, str]) -> str:
    label, boot, run, value, line = map(_visible, cells)
    return (
        f"<tr><td>{label}</td><td>{boot}</td><td>{run}</td>"
        f'<td class="number">{value}</td><td><code>{line}</code></td></tr>'
    )


def _visible(text: str) -> str:
    return escape("".join(c if c.isprintable() else "·" for c in text))


def _interval(each: Compared) -> str:
    """The 95 % interval of the ratio against the margin, drawn; "" where there is no finding."""
    finding = each.finding
    if finding is None:
        return ""
    low, high, ratio = finding.interval95.low, finding.interval95.high, finding.ratio
    least, most = 1 / (1 + finding.margin), 1 + finding.margin
    start, stop = min(low, least), max(high, most)
    room = (stop - start) * 0.08

    def at(value: float) -> float:
        return 20 + 560 * (value - start + room) / (stop - start + 2 * room)

    words = f"ratio {ratio:.4f}, 95 % interval {low:.4f} to {high:.4f}"
    return (
        f'<svg viewBox="0 0 600 70" role="img" aria-label="{escape(words)}" width="100%">'
        f'<rect x="{at(least):.1f}" y="14" width="{at(most) - at(least):.1f}" height="26" fill="currentColor" '
        f'fill-opacity=".12"/><line x1="{at(1):.1f}" x2="{at(1):.1f}" y1="10" y2="44" stroke="currentColor" '
        f'stroke-dasharray="3 3"/><line x1="{at(low):.1f}" x2="{at(high):.1f}" y1="27" y2="27" '
        f'stroke="currentColor" stroke-width="3"/><circle cx="{at(ratio):.1f}" cy="27" r="5" fill="currentColor"/>'
        f'<text x="{at(1):.1f}" y="60" text-anchor="middle">1 = equal; shaded: too small to matter</text></svg>'
    )
