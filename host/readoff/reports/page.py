"""A publication as one page of HTML that opens from a stick, and as Markdown.

Nothing in it asks for an outside address: charts stand in it as SVG, photographs as their octets, and a strict policy
forbids the rest. There are no scripts. Whatever came from outside is text.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from importlib import resources
from typing import TYPE_CHECKING

from readoff.judge import Verdict
from readoff.judge.sentence import probability
from readoff.reports import tables
from readoff.reports.charts import Drawn
from readoff.reports.publication import INVENTED, Attached, Publication, Told
from readoff.reports.tables import Table, md
from readoff.snapshots import Difference, Fact
from readoff.snapshots.difference import brief

if TYPE_CHECKING:
    from jinja2 import Environment

# Words and signs, so that colour is never all there is; the bench page has the same.
_TONES = {
    Verdict.FASTER: ("gain", "▲"),
    Verdict.HIGHER: ("gain", "▲"),
    Verdict.SLOWER: ("loss", "▼"),
    Verdict.LOWER: ("loss", "▼"),
    Verdict.NO_DIFFERENCE: ("same", "＝"),
    Verdict.UNDECIDED: ("open", "?"),
}
# Columns of the findings as the page shows them -> what they are called there.
_FIGURES = {
    "finding": "finding",
    "verdict": "verdict",
    "base_value": "base",
    "other_value": "other",
    "unit": "unit",
    "ratio": "ratio",
    "ratio_low95": "from (95 %)",
    "ratio_high95": "to (95 %)",
    "p_adjusted": "p",
    "base_boots": "boots",
}
_NUMBERS = tuple(name for key, name in _FIGURES.items() if key not in ("finding", "verdict", "unit"))


def as_html(publication: Publication, drawn: Sequence[Drawn], bundle: str = "") -> str:
    """The page. bundle: the name of the bundle beside it, or ""."""
    differ, same = _facts(publication)
    page = _environment().get_template("report.html")
    return page.render(
        it=publication,
        invented=INVENTED,
        style=_text("report.css"),
        drawn=drawn,
        bundle=bundle,
        typed=publication.typed,
        numbers=_NUMBERS,
        figures=figures_table(publication),
        configurations=tables.configurations_table(publication),
        differ=differ,
        same=same,
        left_out=tables.brief(
            tables.left_out_table(publication), ("run", "label", "program", "boot", "metric", "reason")
        ),
        readings=_readings(publication),
    )


def _readings(publication: Publication) -> Table:
    columns = ("label", "program", "metric", "boot", "run", "value", "unit", "how", "line")
    return tables.brief(tables.readings_table(publication), columns)


def figures_table(publication: Publication) -> Table:
    """The findings in the columns that people read: p adjusted for the family, boots of base and other in one."""
    made = tables.brief(tables.findings_table(publication), [*_FIGURES, "other_boots"])
    p = list(_FIGURES).index("p_adjusted")
    rows = tuple((*row[:p], _probability(row[p]), f"{row[-2]} + {row[-1]}") for row in made.rows)
    return Table(made.name, made.title, tuple(_FIGURES.values()), rows)


def _probability(p: tables.Cell) -> str:
    return probability(p).removeprefix("p ").removeprefix("= ") if isinstance(p, float) else ""


def _facts(publication: Publication) -> tuple[Table, Table]:
    whole = tables.facts_table(publication)
    labels = whole.columns[2:]
    differ = tuple((row[0], *_told(str(row[0]), row[2:])) for row in whole.rows if row[1] == "yes")
    same = tuple(
        (row[0], next((cell for cell in row[2:] if cell), "")) for row in whole.rows if row[1] == "no"
    )
    return (
        Table("facts", "In what they differ, by the snapshots", ("fact", *labels), differ),
        Table("facts", "The same in all, by the snapshots", ("fact", "value"), same),
    )


def _told(name: str, values: Sequence[tables.Cell]) -> list[str]:
    """A fact in each configuration; of a long one, what exactly differs from the first."""
    first, *others = map(str, values)
    details = [Difference(name, Fact(name, first), Fact(name, each)).detail() for each in others]
    told = ["\n".join(detail) if detail else each for each, detail in zip(others, details, strict=True)]
    return [brief(first) if any(details) else first, *told]


def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader  # noqa: PLC0415 - only who writes a report waits for it
    from markupsafe import Markup  # noqa: PLC0415

    made = Environment(loader=FunctionLoader(_text), autoescape=True, trim_blocks=True)
    made.filters |= {
        "cell": lambda cell: seen(tables.shown(cell)),
        "seen": seen,
        "tone": lambda told: _tone(told)[0],
        "sign": lambda told: _tone(told)[1],
        "picture": lambda each: Markup(_picture(each)),
    }
    return made


def _text(name: str) -> str:
    return (resources.files("readoff.reports") / "look" / name).read_text(encoding="utf-8")


def _tone(told: Told) -> tuple[str, str]:
    return _TONES[told.finding.verdict] if told.finding else ("open", "—")


def _picture(each: Attached) -> str:
    """A photograph as an address that holds its octets. Its kind is one of the store's own words."""
    assert each.photograph is not None  # the template's choice
    return f"data:{each.photograph.kind};base64,{base64.b64encode(each.photograph.octets).decode('ascii')}"


def seen(text: str) -> str:
    """Text whose control characters are seen, its line ends kept."""
    return "".join(c if c.isprintable() or c == "\n" else "·" for c in text)


# -- Markdown ------------------------------------------------------------------------------------------------------


def as_markdown(publication: Publication, drawn: Sequence[Drawn], bundle: str = "") -> str:
    """The same as Markdown, with the charts as files beside it."""
    return "\n\n".join(_parts(publication, drawn, bundle)) + "\n"


def _parts(publication: Publication, drawn: Sequence[Drawn], bundle: str) -> Iterable[str]:
    yield f"# {md(publication.title)}"
    yield md(publication.machine)
    if publication.invented:
        yield f"**{INVENTED}**"
    yield "## What was found"
    for each in (*publication.told, *publication.overall):
        yield f"### {md(each.title)}: {md(each.other)} against {md(each.base)}"
        yield f"**{md(each.verdict)}.** {md(each.sentence)}"
        yield from map(md, each.remarks)
        yield f"`{each.name.replace('`', ' ')}`"
    for chart in drawn:
        yield f"![{md(chart.words)}](charts/{chart.name}.svg)"
    yield tables.as_markdown(figures_table(publication))
    yield "## How it was done"
    yield md(" ".join(publication.how))
    for heading, lines in publication.lists:
        yield f"## {md(heading)}"
        yield "\n".join(f"- {md(line)}" for line in lines)
    yield tables.as_markdown(tables.configurations_table(publication))
    differ, _ = _facts(publication)
    yield tables.as_markdown(differ)
    if publication.attached:
        yield "## Notes and photographs"
        yield "\n".join(_attached(each) for each in publication.attached)
    yield tables.as_markdown(tables.left_out_table(publication))
    yield tables.as_markdown(_readings(publication))
    if bundle:
        yield "## Check it"
        yield f"`readoff take {bundle}` in an empty store gives the same findings."


def _attached(each: Attached) -> str:
    name = each.attachment.file_name
    shown = f"![{md(each.attachment.alt)}](photographs/{name}) " if each.photograph else ""
    who = f"({md(each.attachment.person)}, {each.attachment.at})"
    return f"- {shown}{md(each.about)}: {md(each.attachment.text)} {who}"
