"""A TOML table being checked: every wrong key or type becomes a fault, and a harmless value stands in for it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from readoff.readings.faults import Faults, key_lines
from readoff.readings.schema import Pattern, compile_pattern


def described(value: object) -> str:
    """A value for a sentence, never longer than a line."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    if isinstance(value, int) and abs(value) > 10**18:
        return "a huge number"
    return f"{value!r:.60}"


@dataclass(frozen=True)
class Table:
    """One table, the key that leads to it, and where faults go."""

    data: dict[str, Any]
    path: str
    faults: Faults

    def key(self, name: str) -> str:
        """The full key of one of the table's keys."""
        return f"{self.path}.{name}" if self.path and name else self.path or name

    def fault(self, name: str, what: str, right: str) -> None:
        """Note a fault at one of the table's keys."""
        self.faults.add(self.key(name), what, right)

    def only(self, known: Iterable[str]) -> None:
        """Every key that is not known is a fault."""
        for name in self.data:
            if name not in known:
                self.faults.unknown(self.key(name), name, known)

    def text(self, name: str, *, needed: bool = True, empty: bool = False) -> str:
        """A text; "" where it is missing or of another type. empty: whether "" is allowed."""
        value = self.data.get(name)
        if value is None:
            if needed:
                self.fault(name, "missing", f'{name} = "…"')
            return ""
        if not isinstance(value, str) or not (value or empty):
            self.fault(name, described(value), "a text in quotes")
            return ""
        return value

    def texts(self, name: str) -> tuple[str, ...]:
        """A list of texts; () where it is missing."""
        value = self.data.get(name, [])
        if not isinstance(value, list) or not all(isinstance(item, str) and item for item in value):
            self.fault(name, described(value), 'a list of texts: ["…", "…"]')
            return ()
        return tuple(value)

    def pattern(self, name: str, *, needed: bool = True) -> Pattern | None:
        """A pattern without a named group; None where it is missing or wrong."""
        text = self.text(name, needed=needed)
        pattern = compile_pattern(text, named_group=False) if text else None
        if isinstance(pattern, tuple):
            self.fault(name, *pattern)
            return None
        return pattern

    def flag(self, name: str, default: bool = False) -> bool:
        """True or false; the default where it is missing."""
        value = self.data.get(name, default)
        if not isinstance(value, bool):
            self.fault(name, described(value), "true or false")
            return default
        return value

    def whole(self, name: str, largest: int) -> int:
        """A whole number from 0 to largest; 0 where it is missing."""
        value = self.data.get(name, 0)
        if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= largest:
            self.fault(name, described(value), f"a whole number from 0 to {largest}")
            return 0
        return value

    def choice(self, name: str, value: str, known: Iterable[str]) -> bool:
        """Whether value is one of the known; a fault when it is not."""
        if value in known:
            return True
        self.faults.unknown(self.key(name), value, known)
        return False

    def table(self, name: str) -> Table:
        """A table inside this one; empty where it is missing or of another type."""
        value = self.data.get(name)
        if not isinstance(value, dict):
            self.fault(name, "missing" if value is None else described(value), f"a table [{self.key(name)}]")
            value = {}
        return Table(value, self.key(name), self.faults)

    def named(self) -> dict[str, Table]:
        """The tables that this one is made of, by name."""
        return {name: self.table(name) for name in self.data}

    def tables(self, name: str) -> list[Table]:
        """A list of tables; empty where it is missing."""
        value = self.data.get(name, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.fault(name, described(value), f"tables [[{self.key(name)}]]")
            return []
        return [Table(item, f"{self.key(name)}[{number}]", self.faults) for number, item in enumerate(value)]


def top_table(text: str, faults: Faults, longest: int) -> Table | None:
    """The table that a TOML file is; None, and a fault, where it is none. longest: characters that it may have."""
    if len(text) > longest:
        faults.add("", f"{len(text)} characters", f"at most {longest}")
        return None
    try:
        data = tomllib.loads(text)
        text.encode("utf-8")  # half a character, as an escape can make one, is no text
    except (tomllib.TOMLDecodeError, UnicodeEncodeError, RecursionError, ValueError) as error:
        faults.add("", f"not TOML: {error or 'nested too deeply'}", "a TOML file (toml.io, version 1.0)")
        return None
    faults.lines = key_lines(text)
    return Table(data, "", faults)
