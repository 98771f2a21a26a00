"""From the text of schema files to schemas: every fault found is told at once, none is passed over.

Works on (name, text) pairs and opens nothing. The keys of a schema are described in docs/schemas-reference.md.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from functools import partial

from readoff.errors import SchemaError
from readoff.readings.binary import BINARY
from readoff.readings.faults import Faults, key_lines
from readoff.readings.formula import Formula, parse_formula
from readoff.readings.kinds import Kind
from readoff.readings.loading_samples import SAMPLE_KEYS, load_samples
from readoff.readings.numbers import Style
from readoff.readings.picture import picture_kind
from readoff.readings.picture.glyphs import GLYPH_FILES, read_glyphs
from readoff.readings.rules import Rule, parse_rule
from readoff.readings.schema import Metric, Pattern, Recognition, Schema, compile_pattern
from readoff.readings.screen import SCREEN
from readoff.readings.shown import CaptureKind
from readoff.readings.table import Table, top_table
from readoff.readings.text import TEXT
from readoff.readings.units import UNITS, factor_between, unit_named

LONGEST_SCHEMA = 65536
MOST_RULES = 50
_NAME = re.compile(r"[a-z][a-z0-9_]{0,40}")
_DOS_NAME = re.compile(r"[A-Z0-9!#$%&'()@^_`{}~*?-]{1,8}(?:\.[A-Z0-9!#$%&'()@^_`{}~*?-]{0,3})?")
_BETTER = ("higher", "lower", "neither")
# The kinds of schema, by the word that stands for them in `kind`; "text" where nothing is said.
KINDS = {kind.name: kind for kind in (TEXT, SCREEN, BINARY, picture_kind({}))}
# The keys that all kinds share; each kind adds its own.
_TOP = ("schema", "kind", "title", "units", "headline", "recognise", "metrics", "rules", "samples")
_RECOGNISE = ("all", "none", "programs", "captures", "files")
_SHOWN_KEYS = "unit better shown_in spelled kilo comma blank clock once optional exact".split()
_DERIVED_KEYS = ("formula", "unit", "better", "optional")
# The keys of each kind of table, for the guide.
TABLES = (
    *(_TOP, _RECOGNISE, _SHOWN_KEYS, _DERIVED_KEYS, SAMPLE_KEYS),
    *(keys for kind in KINDS.values() for keys in (kind.top, kind.recognise, kind.shown)),
)


def load_schemas(texts: Iterable[tuple[str, str]]) -> list[Schema]:
    """Read schemas from (file name, TOML text) pairs, in that order.

    Files named *.glyphs.toml are glyph sets for the picture schemas among them. Raises SchemaError for all faults of
    all files at once; its `faults` has one sentence for each.
    """
    files = list(texts)
    glyphs, told = read_glyphs([each for each in files if each[0].lower().endswith(GLYPH_FILES)])
    kinds = {**KINDS, "picture": picture_kind(glyphs)}
    schemas: list[Schema] = []
    for file, text in files:
        if file.lower().endswith(GLYPH_FILES):
            continue
        faults = Faults(file)
        schema = _load(text, faults, kinds)
        told += faults.told
        if not schema:
            continue
        other = next((known for known in schemas if known.name == schema.name), None)
        if other:
            faults = Faults(file, key_lines(text))
            faults.add("schema", f"{schema.name!r} is taken by {other.file}", "a name of its own")
            told += faults.told
        schemas.append(schema)
    if told:
        raise SchemaError.of(told)
    return schemas


def _load(text: str, faults: Faults, kinds: Mapping[str, Kind]) -> Schema | None:
    """One schema, or None where it has faults (some is then told)."""
    top = top_table(text, faults, LONGEST_SCHEMA)
    if top is None:
        return None
    kind = _kind(top, kinds)
    top.only(_TOP + kind.top)
    name = top.text("schema")
    if name and not _NAME.fullmatch(name):
        faults.add("schema", f"{name!r}", "a small letter, then small letters, digits and _")
    title = top.text("title")
    own_units = top.texts("units")
    recognise_table, metrics_table = top.table("recognise"), top.table("metrics")
    recognise = _recognition(recognise_table, kind)
    tables = metrics_table.named()
    metrics = _metrics(metrics_table, tables, own_units, kind)
    shown = {name: table for name, table in tables.items() if "formula" not in table.data}
    way = kind.load(top, recognise_table, shown)
    headline = top.texts("headline")
    known = {metric.name: metric for metric in metrics}
    if not headline:
        faults.add("headline", "no metric is named", 'the metrics that a study asks for: headline = ["…"]')
    for metric in headline:
        if metric not in known:
            faults.unknown("headline", metric, known)
        elif known[metric].better == "neither":
            faults.add(
                "headline", f"{metric!r} is better neither way", "a metric that is better higher or lower"
            )
    rules = _rules(top, known)
    draw = partial(kind.draw, way) if kind.draw and way and not faults.told else None
    samples = load_samples(top.tables("samples"), known, faults, draw)
    if faults.told or way is None:
        return None
    digest = hashlib.sha256(text.encode("utf-8") + kind.also(way).encode("ascii")).hexdigest()
    return Schema(
        name, title, faults.file, digest, recognise, metrics, headline, way, samples, rules, kind.name
    )


def _kind(top: Table, kinds: Mapping[str, Kind]) -> Kind:
    """The kind of schema that the top table names."""
    name = top.text("kind", needed=False) or "text"
    return kinds[name] if top.choice("kind", name, kinds) else kinds["text"]


def _recognition(table: Table, kind: Kind) -> Recognition:
    table.only(_RECOGNISE + kind.recognise)
    wanted = _patterns(table, "all")
    if kind.patterns and not wanted:
        table.fault("all", "no pattern is given", "at least one pattern that the output always matches")
    programs, files = table.texts("programs"), table.texts("files")
    for key, names in (("programs", programs), ("files", files)):
        for name in names:
            if not _DOS_NAME.fullmatch(name.upper()):
                table.fault(
                    key,
                    f"{name!r} is not a DOS name",
                    "up to 8 characters, a point, up to 3; * and ? allowed",
                )
    known = [capture.value for capture in kind.captures]
    kinds = tuple(
        CaptureKind(name) for name in table.texts("captures") if table.choice("captures", name, known)
    )
    kinds = kinds or kind.unasked or kind.captures
    if files and CaptureKind.FILE not in kinds:
        table.fault("files", "the schema reads no files", 'captures with "file" among them, or no files')
    barred = _patterns(table, "none")
    if kind.own_patterns:
        wanted = barred = ()
    return Recognition(
        wanted,
        barred,
        tuple(program.upper() for program in programs),
        kinds,
        tuple(file.upper() for file in files),
    )


def _patterns(table: Table, key: str) -> tuple[Pattern, ...]:
    patterns = []
    for text in table.texts(key):
        pattern = compile_pattern(text, named_group=False)
        if isinstance(pattern, Pattern):
            patterns.append(pattern)
        else:
            table.fault(key, *pattern)
    return tuple(patterns)


def _metrics(
    table: Table, tables: Mapping[str, Table], own_units: Sequence[str], kind: Kind
) -> tuple[Metric, ...]:
    """All metrics, each derived one after its inputs."""
    metrics: dict[str, Metric] = {}
    for name, each in tables.items():
        if not _NAME.fullmatch(name):
            table.fault(name, f"{name!r} is not a name", "a small letter, then small letters, digits and _")
        metrics[name] = _metric(name, each, own_units, kind)
    if not metrics:
        table.fault("", "no metric", "at least one table [metrics.NAME]")
    for metric in metrics.values():
        for used in metric.formula.names if metric.formula else ():
            if used not in metrics:
                table.faults.unknown(f"metrics.{metric.name}.formula", used, metrics)
    return _in_order(metrics, table.faults)


def _metric(name: str, table: Table, own_units: Sequence[str], kind: Kind) -> Metric:
    derived = "formula" in table.data
    table.only(_DERIVED_KEYS if derived else (*_SHOWN_KEYS, *kind.shown))
    unit, better = table.text("unit", empty=True), table.text("better")
    units = UNITS.union(own_units)
    _known_unit(table, "unit", unit, units)
    if better:
        table.choice("better", better, _BETTER)
    optional = table.flag("optional")
    if derived:
        return Metric(name, unit, better, _formula(table), optional=optional)
    shown_in = table.text("shown_in", needed=False)
    _known_unit(table, "shown_in", shown_in, units)
    once, exact, kilo = table.flag("once"), table.flag("exact"), _kilo(table)
    factor = factor_between(shown_in or unit, unit, kilo)
    if isinstance(factor, str):
        table.fault("shown_in", factor, "a unit with an exact factor to the metric's unit")
    spelled = {each: each for each in own_units} | _spelled(table, units)
    style, section = _style(table, shown_in or unit), kind.section(table)
    return Metric(name, unit, better, None, once, optional, exact, style, shown_in, kilo, spelled, section)


def _known_unit(table: Table, key: str, unit: str, units: frozenset[str]) -> None:
    if unit not in units:
        near = unit_named(unit, {}, UNITS) or next(iter(get_close_matches(unit, sorted(units), 1)), "")
        known = f"{near!r}, or " if near else ""
        table.fault(
            key, f"{unit!r} is not known", f"{known}units = [{unit!r}] at the top, for one of its own"
        )


def _kilo(table: Table) -> int:
    kilo = table.whole("kilo", 1024)
    if kilo not in (0, 1000, 1024) or (kilo == 0 and "kilo" in table.data):
        table.fault("kilo", f"{kilo}", "1000 or 1024")
        return 0
    return kilo


def _spelled(table: Table, units: frozenset[str]) -> dict[str, str]:
    """The schema's own spellings of units, for where a unit is read beside its number."""
    if "spelled" not in table.data:
        return {}
    written = table.table("spelled")
    spelled = {name: written.text(name, empty=True) for name in written.data}
    for name, unit in spelled.items():
        _known_unit(written, name, unit, units)
    return spelled


def _style(table: Table, unit: str) -> Style:
    comma, blank, clock = (table.text(key, needed=False) for key in ("comma", "blank", "clock"))
    style = Style(comma, clock, unit == "s", blank)
    if style.comma:
        table.choice("comma", style.comma, ("thousands", "decimal"))
    if style.blank:
        table.choice("blank", style.blank, ("thousands", "apart"))
    if style.clock:
        table.choice("clock", style.clock, ("mm:ss", "hh:mm"))
        if not style.time:
            table.fault("clock", f"a time in {unit!r}", 'unit = "s": times are read in seconds')
    return style


def _rules(top: Table, metrics: Mapping[str, Metric]) -> tuple[Rule, ...]:
    rules = []
    texts = top.texts("rules")
    if len(texts) > MOST_RULES:
        top.fault("rules", f"{len(texts)} rules", f"at most {MOST_RULES}")
        return ()
    for text in texts:
        try:
            rule = parse_rule(text)
        except SchemaError as error:
            right = error.next_step.removeprefix("There should be ").rstrip(".")
            top.fault("rules", f"{text!r:.80}: {error.what}", right)
            continue
        for name in rule.names:
            if name not in metrics:
                top.faults.unknown("rules", name, metrics)
        if not rule.names:
            top.fault("rules", f"{text!r} names no metric", "a rule of this schema's metrics")
        rules.append(rule)
    return tuple(rules)


def _formula(table: Table) -> Formula | None:
    text = table.text("formula")
    if not text:
        return None
    try:
        formula = parse_formula(text)
    except SchemaError as error:
        table.fault("formula", error.what, error.next_step.removeprefix("There should be ").rstrip("."))
        return None
    if not formula.names:
        table.fault("formula", f"{text!r} names no metric", "a formula of this schema's metrics")
    return formula


def _in_order(metrics: dict[str, Metric], faults: Faults) -> tuple[Metric, ...]:
    """Inputs before what is derived from them; a circle is a fault."""
    ordered: dict[str, Metric] = {}
    waiting = dict(metrics)
    while waiting:
        ready = [
            metric
            for metric in waiting.values()
            if not metric.formula or not any(name in waiting for name in metric.formula.names)
        ]
        for metric in ready:
            used = metric.formula.names if metric.formula else ()
            sections = {ordered[name].section for name in used if name in ordered} - {""}
            section = sections.pop() if len(sections) == 1 else metric.section
            ordered[metric.name] = replace(waiting.pop(metric.name), section=section)
        if not ready:
            circle = ", ".join(waiting)
            for name in waiting:
                faults.add(
                    f"metrics.{name}.formula", f"derived in a circle ({circle})", "a formula that ends"
                )
            break
    return tuple(ordered.values())
