"""TOML tables with something else at one of their places, for what must load or be refused."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

Path = tuple[str | int, ...]


def as_toml(value: Any) -> str:
    """TOML of a value, tables inline."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {as_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    if isinstance(value, float):
        return {"inf": "inf", "-inf": "-inf", "nan": "nan"}.get(str(value), f"{value!r}")
    return json.dumps(value, ensure_ascii=True)


def as_document(table: dict[str, Any]) -> str:
    """A whole file, one line for each key at the top."""
    return "\n".join(f"{json.dumps(key)} = {as_toml(value)}" for key, value in table.items())


def places(value: Any, path: Path = ()) -> Iterator[Path]:
    """Every place in a table, as keys and indexes that lead to it."""
    for key, each in value.items() if isinstance(value, dict) else enumerate(value):
        yield (*path, key)
        if isinstance(each, dict | list):
            yield from places(each, (*path, key))


def changed(value: Any, path: Path, new: Any) -> Any:
    """A copy with something else at one place."""
    copy = dict(value) if isinstance(value, dict) else list(value)
    copy[path[0]] = changed(copy[path[0]], path[1:], new) if path[1:] else new
    return copy
