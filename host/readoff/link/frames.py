"""The payloads of frames, by protocols/link.toml: octets <-> kind and values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from readoff.contract.declared import link_contract
from readoff.contract.record import RecordId
from readoff.errors import MalformedError


@dataclass(frozen=True)
class Message:
    """One frame's payload, read. kind: its name in link.toml."""

    kind: str
    values: Mapping[str, Any]

    @property
    def id(self) -> RecordId:
        """The record that the message is about. Raises KeyError for a kind that is about none."""
        ident = self.values["id"]
        return RecordId(ident["agent_serial"], ident["boot_nonce"], ident["ordinal"])


def parse_message(payload: bytes) -> Message:
    """Reads a frame's payload. Raises MalformedError, with the place, for an unknown kind or a bad layout.

    A hello or welcome of another version may be longer than ours: what we know of it is read.
    """
    contract = link_contract()
    kind = contract.by_number(payload[0]) if payload else None
    if kind is None:
        what = f"kind {payload[0]:02X}h" if payload else "no octets"
        raise MalformedError(f"no frame of this contract has {what}", where="frame")
    greeting = kind.name in ("hello", "welcome")
    parse = contract.codec.parse_prefix if greeting else contract.codec.parse
    return Message(kind.name, parse(kind.layout, payload[1:]))


def build_message(kind: str, **values: Any) -> bytes:
    """The payload of a frame; a RecordId may be given as ``id``. Raises ContractError where a value does not fit."""
    contract = link_contract()
    plain = {name: each.values() if isinstance(each, RecordId) else each for name, each in values.items()}
    return bytes([contract.kinds[kind].number]) + contract.codec.build(contract.kinds[kind].layout, plain)


def limit_of(name: str) -> int:
    """A constant of link.toml."""
    return link_contract().constants[name]
