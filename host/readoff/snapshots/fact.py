"""One fact, and how decoded values read as text. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any


@dataclass(frozen=True)
class Fact:
    """One named value. value: as text, octets in hex. volatile: may differ without meaning anything.

    measured: found out by a probe, not read off the machine. A boot without the probe says nothing about it, and a
    size is known between two bounds ("8 to 9.5") only.
    """

    name: str
    value: str
    unit: str = ""
    volatile: bool = False
    measured: bool = False


def as_text(value: Any) -> str:
    """A decoded value as the text of a fact: octets in hex, yes and no, lists with commas."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, bytes):
        return value.hex(" ").upper()
    if isinstance(value, list):
        return ", ".join(map(as_text, value))
    if isinstance(value, Mapping):
        return " ".join(f"{key}={as_text(each)}" for key, each in value.items())
    return format(value, "f") if isinstance(value, Decimal) else str(value)


def printable(octets: bytes, least: int = 4) -> str:
    """Runs of printable ASCII of at least so many characters, with " | " between them."""
    runs = "".join(chr(octet) if 0x20 <= octet < 0x7F else "\0" for octet in octets).split("\0")
    return " | ".join(run.strip() for run in runs if len(run.strip()) >= least)
