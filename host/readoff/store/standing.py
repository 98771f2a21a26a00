"""Which of several copies of one record stands. Pure.

A record that came whole stands. Before that, the copy that its checks vouch for longest stands. Copies that
contradict one another (they differ within what the checks of both vouch for) are two different records under
one id: the one that came first stands, the other is held, and nothing changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from readoff.contract.record import CHECK_SIZE, Completeness, Record, parse_record


class Standing(StrEnum):
    """What became of one copy of a record."""

    STANDS = "stands"
    SET_ASIDE = "set aside"
    HELD = "held"


@dataclass(frozen=True)
class Weighed:
    """The new copy's standing, whether it takes the place of the one that stood, and why, in a sentence."""

    standing: Standing
    replaces: bool
    event: str


def verified_length(record: Record) -> int:
    """Octets from the record's start that a check vouches for."""
    if record.sections:
        last = record.sections[-1]
        return last.begin + len(last.payload) + CHECK_SIZE
    return int.from_bytes(record.octets[6:8], "little") + CHECK_SIZE  # header_size, see record.toml


def weigh(new: Record, old: Record | None) -> Weighed:
    """Compares a new copy with the one that stands (None where there is none yet); their octets differ."""
    if old is None:
        return Weighed(Standing.STANDS, False, f"came {_how(new)}")
    ours, theirs = verified_length(old), verified_length(new)
    shared = min(ours, theirs)
    if new.octets[:shared] != old.octets[:shared]:
        at = next(i for i in range(shared) if new.octets[i] != old.octets[i])
        return Weighed(
            Standing.HELD,
            False,
            f"two different records carry the same id {new.id}: they differ from octet {at} on; the one that "
            "came first stands",
        )
    if theirs > ours:
        return Weighed(
            Standing.STANDS,
            True,
            f"a longer copy ({theirs} verified octets, {_how(new)}) took the place of one with {ours} ({_how(old)})",
        )
    return Weighed(
        Standing.SET_ASIDE,
        False,
        f"a copy with {theirs} verified octets ({_how(new)}) came after one with {ours} ({_how(old)}), which stands",
    )


def _how(record: Record) -> str:
    if record.completeness is Completeness.WHOLE:
        return "whole"
    return f"{record.completeness}: {record.problem}"


def standing_alone(part: Record, arrival: int) -> Record:
    """A record as its own octets say, whatever follows them: the same octets mean the same everywhere.

    (One that is cut short and followed by another seems damaged, since its section runs into the next record.)
    arrival: octets of the arrival that it is a part of.
    """
    alone = part.completeness is Completeness.WHOLE or len(part.octets) == arrival
    return part if alone else parse_record(part.octets)
