"""A study as the text of its file, for people to go on writing in. ``load_study`` of it gives the study back."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from readoff.studies.study import Study

_HEAD = """\
# A study of Readoff. Written before the first number is looked at; docs/studies.md explains every key.
"""


def study_text(study: Study) -> str:
    """TOML text of a study."""
    parts = [_HEAD + "\n".join(_pairs(_top(study)))]
    parts += _tables(
        "configurations",
        study.configurations,
        "label changes how may_differ price minutes? specimen? machine? caches",
    )
    parts += _tables("programs", study.programs, "name path arguments? minutes keys? files?")
    for wanted in study.wanted:
        parts.append(
            _table("metrics", metric=wanted.metric, program=wanted.program, margin=_per_cent(wanted.margin))
        )
    parts += _tables("targets", study.targets, "metric program at words?")
    parts += _tables("earlier", study.earlier, "joins label? ids? why?")
    parts += _tables("explanations", study.explanations, "about why")
    parts += _tables("excluded", study.excluded, "boot why")
    return "\n\n".join(parts) + "\n"


def _top(study: Study) -> dict[str, Any]:
    return {
        "study": study.title,
        "machine": study.machine,
        "agents": study.agents or None,
        "begun": _Bare(study.begun) if study.begun else None,
        "boots": study.boots,
        "repeats": study.repeats,
        "cold": study.cold,
        "probes": study.probes or None,
        "probe_once": study.probe_once or None,
        "send_programs": study.send_programs or None,
        "with_typed": study.with_typed or None,
        "invented": study.invented or None,
        "seed": study.seed,
        "looks": study.looks,
        "noise": _per_cent(study.noise),
        "minutes_a_boot": study.minutes_a_boot,
        "currency": study.currency or None,
    }


class _Bare(str):
    """A text that TOML writes without quotes (a time)."""


def _per_cent(share: float) -> float:
    return float(f"{share * 100:.12g}")


def _tables(key: str, items: Iterable[object], keys: str) -> Iterable[str]:
    """A table for each item, its attributes under their names; with ``?`` only those that say something."""
    for item in items:
        values = {name.rstrip("?"): getattr(item, name.rstrip("?")) for name in keys.split()}
        quiet = [name[:-1] for name in keys.split() if name.endswith("?") and not values[name[:-1]]]
        yield _table(key, **values | dict.fromkeys(quiet))


def _table(key: str, /, **values: Any) -> str:
    return "\n".join([f"[[{key}]]", *_pairs(values)])


def _pairs(values: dict[str, Any]) -> Iterable[str]:
    for key, value in values.items():
        if value is not None:
            yield f"{key} = {_value(value)}"


def _value(value: Any) -> str:
    if isinstance(value, _Bare):
        return str(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # A path is easier to read in single quotes, where a backslash is one.
        if "\\" in value and "'" not in value and value.isprintable():
            return f"'{value}'"
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return repr(value)
