"""Faults of schema files, gathered so that all can be told at once, each with its file, line, key and remedy."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches

_KEY = re.compile(r"\s*([A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')\s*=(.*)")
_TRIPLE = re.compile(r'"""|' + r"'''")

_ALIKE = 0.75  # a slip of the finger; what is less alike was not meant ("printer" is not "integer")


def key_lines(text: str) -> dict[str, int]:
    """Line (from 1) of every table and key of a TOML text: "metrics.rate.unit", "samples[0].text".

    A plain scan of the usual layout; a key written another way (inline, dotted) has no entry of its own.
    """
    lines: dict[str, int] = {}
    tables: dict[str, int] = {}
    table = ""
    inside = ""  # the quotes of a text of several lines that we are in
    for number, line in enumerate(text.splitlines(), 1):
        rest = line
        if inside:
            _, found, rest = line.partition(inside)
            inside = "" if found else inside
        elif line.lstrip().startswith("["):
            table = re.sub(r"[\"' ]", "", line.lstrip(" \t[").partition("]")[0])
            if line.lstrip().startswith("[["):
                tables[table] = tables.get(table, -1) + 1
                table = f"{table}[{tables[table]}]"
            lines.setdefault(table, number)
        elif key := _KEY.fullmatch(line):
            name = key.group(1).strip("\"'")
            lines.setdefault(f"{table}.{name}" if table else name, number)
        if not inside:
            inside = _left_open(rest)
    return lines


def _left_open(line: str) -> str:
    """The triple quotes that a line opens and does not close, or ""."""
    inside = ""
    for mark in _TRIPLE.findall(line):
        if not inside:
            inside = mark
        elif inside == mark:
            inside = ""
    return inside


def _short(text: str, most: int) -> str:
    """A text of at most so many characters: what a schema says may be of any length, and is quoted in its faults."""
    return text if len(text) <= most else f"{text[: most - 40]} … {text[-37:]}"


@dataclass
class Faults:
    """The faults found so far in one schema file."""

    file: str
    lines: dict[str, int] = field(default_factory=dict)
    _found: list[tuple[int, str]] = field(default_factory=list)

    @property
    def told(self) -> list[str]:
        """A sentence for each, by their lines."""
        return [sentence for _, sentence in sorted(self._found, key=lambda each: each[0])]

    def add(self, key: str, what: str, right: str) -> None:
        """Note a fault: the key where it is, what is wrong, and what would be right."""
        line = self.line(key)
        place = f"{self.file}, line {line}" if line else self.file
        key, what, right = _short(key or "the whole file", 150), _short(what, 300), _short(right, 500)
        self._found.append((line or 0, f"{place}, {key}: {what}; right would be {right}"))

    def line(self, key: str) -> int | None:
        """Line of a key, else of the nearest table around it, else None."""
        while key and key not in self.lines:
            key = key.rpartition(".")[0]
        return self.lines.get(key)

    def unknown(self, key: str, name: str, known: Iterable[str]) -> None:
        """Note a name that is not among the known ones, with the nearest of them."""
        known = sorted(known)
        near = get_close_matches(name, known, 1, _ALIKE)
        self.add(
            key, f"{name!r} is not known", repr(near[0]) if near else f"one of {', '.join(map(repr, known))}"
        )
