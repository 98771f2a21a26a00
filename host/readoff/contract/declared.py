"""The two contracts of protocols/: record.toml and link.toml, read once."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

from readoff import resources
from readoff.contract.codec import Codec
from readoff.contract.language import Declarations, declare
from readoff.errors import ContractError


@dataclass(frozen=True)
class Kind:
    """One section kind or frame kind: its number, its layout, and for sections the name of its facts."""

    name: str
    number: int
    layout: str
    facts: str = ""


@dataclass(frozen=True)
class Contract:
    """One file of protocols/: constants, declarations, their codec, and the kinds of sections or frames."""

    title: str
    constants: Mapping[str, int]
    declarations: Declarations
    codec: Codec
    kinds: Mapping[str, Kind]

    def by_number(self, number: int) -> Kind | None:
        """The kind with this number, or None for one that this contract does not know."""
        return self._by_number.get(number)

    @cached_property
    def _by_number(self) -> dict[int, Kind]:
        return {kind.number: kind for kind in self.kinds.values()}


def read_contract(text: str, where: str) -> Contract:
    """A contract from the text of its TOML. Raises ContractError naming every mistake."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ContractError(f"not TOML: {error}", where=where) from error
    declarations = declare(table, where)
    constants = {name: int(entry["value"]) for name, entry in table.get("constants", {}).items()}
    kinds = {**_kinds(table.get("sections", {}), "tag"), **_kinds(table.get("frames", {}), "kind")}
    for kind in kinds.values():
        if kind.layout not in declarations.layouts:
            raise ContractError(
                f"{kind.name} names a layout {kind.layout!r} that is not declared", where=where
            )
    if len({kind.number for kind in kinds.values()}) != len(kinds):
        raise ContractError("two kinds have the same number", where=where)
    return Contract(str(table["title"]), constants, declarations, Codec(declarations), kinds)


def _kinds(table: Mapping[str, Any], number: str) -> dict[str, Kind]:
    return {
        name: Kind(name, int(each[number]), each["layout"], each.get("facts", ""))
        for name, each in table.items()
    }


@cache
def record_contract() -> Contract:
    """protocols/record.toml."""
    return _read("record.toml")


@cache
def link_contract() -> Contract:
    """protocols/link.toml."""
    return _read("link.toml")


def _read(name: str) -> Contract:
    return read_contract((resources.protocols() / name).read_text(encoding="utf-8"), f"protocols/{name}")
