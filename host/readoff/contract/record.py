"""Octets -> records, and back. Everything that a check vouches for is kept; nothing else is believed.

A record is a header and sections, each followed by a check: the CRC-32 of all octets of the record so far,
earlier checks left out. (A CRC that runs over its own value ends in a constant, whatever came before; leaving
the checks out makes the last one speak for the whole record.) So a file that was cut short keeps each section
whose octets are all there, and a flipped bit is found in the section where it happened.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, cached_property
from typing import Any

from readoff.contract.declared import Contract, record_contract
from readoff.errors import MalformedError

MAGIC = bytes.fromhex("524F661A")
CHECK_SIZE = 4


class Completeness(StrEnum):
    """How much of a record is there."""

    WHOLE = "whole"
    CUT_SHORT = "cut short"
    DAMAGED = "damaged"


@dataclass(frozen=True, order=True)
class RecordId:
    """Names one record among all records of all machines."""

    agent_serial: int
    boot_nonce: int
    ordinal: int

    def __str__(self) -> str:
        return self._text

    @cached_property
    def _text(self) -> str:
        return f"{self.boot}-{self.ordinal:04X}"

    @cached_property
    def boot(self) -> str:
        """The boot that the record belongs to, as text."""
        return f"{self.agent_serial:08X}-{self.boot_nonce:08X}"

    def values(self) -> dict[str, int]:
        """As the contract's layout record_id."""
        return {"agent_serial": self.agent_serial, "boot_nonce": self.boot_nonce, "ordinal": self.ordinal}


@dataclass(frozen=True)
class Section:
    """One section whose check held. begin: offset of its payload from the start of the record.

    name is "" for a kind that this contract does not know; values is None for those, and for a payload that
    does not fit its layout (problem then says where).
    """

    tag: int
    name: str
    begin: int
    payload: bytes
    values: Mapping[str, Any] | None = None
    problem: str = ""


@dataclass(frozen=True)
class Record:
    """One record: its header, the sections whose checks hold, and its octets as they came."""

    id: RecordId
    kind: str
    version: int
    date: int
    time: int
    sections: tuple[Section, ...]
    completeness: Completeness
    problem: str
    octets: bytes

    def all(self, name: str) -> list[Section]:
        """All sections of a kind, in order."""
        return [section for section in self.sections if section.name == name]

    def values(self, name: str) -> Mapping[str, Any] | None:
        """Values of the first readable section of a kind, or None."""
        return next((section.values for section in self.all(name) if section.values is not None), None)

    @cached_property
    def check(self) -> int | None:
        """The last check of a whole record, or None."""
        if self.completeness is not Completeness.WHOLE:
            return None
        return int.from_bytes(self.octets[-CHECK_SIZE:], "little")


@dataclass(frozen=True)
class Unreadable:
    """Octets that are no record. begin: offset from the start of the arrival."""

    begin: int
    octets: bytes
    reason: str


def parse_records(octets: bytes) -> list[Record | Unreadable]:
    """Takes an arrival apart: records one after another, and what is none. Never fails, loses no octet.

    ``b"".join(part.octets for part in parse_records(octets)) == octets`` holds for any octets.
    """
    parts: list[Record | Unreadable] = []
    at = 0
    while at < len(octets):
        begin = _next_record(octets, at)
        if begin > at:
            rest = octets[at:begin]
            parts.append(Unreadable(at, rest, _why_none(rest, at)))
        if begin < len(octets):
            parts.append(_one_record(octets, begin))
            begin += len(parts[-1].octets)
        at = begin
    return parts


def parse_record(octets: bytes) -> Record:
    """Exactly one record, whole or not. Raises MalformedError when the octets are none, or more than one."""
    parts = parse_records(octets)
    if not parts:
        raise MalformedError("no octets")
    first = parts[0]
    if isinstance(first, Unreadable):
        raise MalformedError(first.reason, where=f"octet {first.begin}")
    if len(parts) > 1:
        raise MalformedError("octets follow the record", where=f"octet {len(first.octets)}")
    return first


def _next_record(octets: bytes, at: int) -> int:
    """Offset of the next header whose check holds, or the end."""
    while True:
        begin = octets.find(MAGIC, at)
        if begin < 0:
            return len(octets)
        if _header_end(octets, begin) is not None:
            return begin
        at = begin + 1


@cache
def _header_places() -> tuple[int, int]:
    """(offset of header_size in a header, octets in the shortest header), by the contract."""
    declared = record_contract().declarations
    header = declared.layouts["header"]
    before = header.fields[: [field.name for field in header.fields].index("header_size")]
    return sum(declared.fixed_size(field) or 0 for field in before), declared.fixed_size(header) or 0


def _header_end(octets: bytes, begin: int) -> int | None:
    """Offset after the header's check, or None where no header's check holds. Decodes nothing: it runs often."""
    place, shortest = _header_places()
    size = int.from_bytes(octets[begin + place : begin + place + 2], "little")
    end = begin + size
    if not shortest <= size <= record_contract().constants["header_limit"]:
        return None
    if _check_at(octets, end) != zlib.crc32(octets[begin:end]):
        return None
    return end + CHECK_SIZE


def _check_at(octets: bytes, at: int) -> int:
    """The check stored at an offset; -1 where its octets are not all there."""
    stored = octets[at : at + CHECK_SIZE]
    return int.from_bytes(stored, "little") if len(stored) == CHECK_SIZE else -1


def _why_none(octets: bytes, at: int) -> str:
    if octets.startswith(MAGIC):
        return f"at octet {at} a record begins, but its header's check does not hold"
    if MAGIC.startswith(octets[: len(MAGIC)]) and octets:
        return f"at octet {at} there is the beginning of a record's first word, and nothing after it"
    if not octets.strip(b"\x1a\0"):
        return f"at octet {at} there is only padding (1Ah or 00h)"
    return (
        f"at octet {at} there are {len(octets)} octets that are no record (a record begins with 52 4F 66 1A)"
    )


def _one_record(octets: bytes, begin: int) -> Record:
    contract = record_contract()
    at = _header_end(octets, begin)
    assert at is not None  # the caller found it here
    values = contract.codec.parse_prefix("header", octets[begin : at - CHECK_SIZE])
    walker = _Walker(contract, octets, begin, at)
    walker.walk()
    end = walker.end
    if walker.completeness is not Completeness.WHOLE:
        end = _next_record(octets, begin + len(MAGIC))
    ident = values["id"]
    return Record(
        id=RecordId(ident["agent_serial"], ident["boot_nonce"], ident["ordinal"]),
        kind=str(values["kind"]),
        version=int(values["version"]),
        date=int(values["date"]),
        time=int(values["time"]),
        sections=tuple(walker.sections),
        completeness=walker.completeness,
        problem=walker.problem,
        octets=octets[begin:end],
    )


class _Walker:
    """Goes through the sections of one record until its END, a check that fails, or the end of the octets."""

    def __init__(self, contract: Contract, octets: bytes, begin: int, at: int) -> None:
        self.contract, self.octets, self.begin, self.end = contract, octets, begin, at
        self.running = zlib.crc32(octets[begin : at - CHECK_SIZE])
        self.sections: list[Section] = []
        self.completeness = Completeness.CUT_SHORT
        self.problem = ""

    def walk(self) -> None:
        while self._section():
            pass

    def _stop(self, completeness: Completeness, what: str) -> bool:
        self.completeness = completeness
        place = f"section {len(self.sections) + 1} at octet {self.end - self.begin}"
        self.problem = f"{place}: {what}"
        return False

    def _section(self) -> bool:
        at = self.end
        head = self.octets[at : at + 4]
        if len(head) < 4:
            return self._stop(Completeness.CUT_SHORT, "the octets end here")
        tag, length = head[0], int.from_bytes(head[2:4], "little")
        kind = self.contract.by_number(tag)
        name = kind.name if kind else ""
        payload_end = at + 4 + length
        if payload_end + CHECK_SIZE - self.begin > self.contract.constants["record_limit"]:
            return self._stop(Completeness.DAMAGED, "the record would be longer than a record may be")
        if payload_end + CHECK_SIZE > len(self.octets):
            return self._stop(
                Completeness.CUT_SHORT, f"the octets end within it ({name or f'kind {tag:02X}h'})"
            )
        running = zlib.crc32(self.octets[at:payload_end], self.running)
        if _check_at(self.octets, payload_end) != running:
            return self._stop(Completeness.DAMAGED, f"its check does not hold ({name or f'kind {tag:02X}h'})")
        self.running = running
        section = self._read(tag, name, at + 4 - self.begin, self.octets[at + 4 : payload_end])
        self.sections.append(section)
        self.end = payload_end + CHECK_SIZE
        if name == "end":
            return self._close(section)
        return True

    def _read(self, tag: int, name: str, begin: int, payload: bytes) -> Section:
        if not name:
            return Section(
                tag, "", begin, payload, None, "a kind of section that this contract does not know"
            )
        try:
            values = self.contract.codec.parse_prefix(self.contract.kinds[name].layout, payload, where=name)
        except MalformedError as error:
            return Section(tag, name, begin, payload, None, error.sentence())
        return Section(tag, name, begin, payload, values)

    def _close(self, section: Section) -> bool:
        told = section.values["length"] if section.values else None
        if told != self.end - self.begin:
            return self._stop(
                Completeness.DAMAGED, f"END says {told} octets, there are {self.end - self.begin}"
            )
        self.completeness = Completeness.WHOLE
        return False


def build_record(
    kind: str,
    ident: RecordId,
    sections: Iterable[tuple[str | int, Mapping[str, Any] | bytes]],
    *,
    date: int = 0x21,
    time: int = 0,
    captured_all: bool = True,
) -> bytes:
    """A whole record, as the agent would write it; END is added.

    sections: (name or tag, values or payload). Raises ContractError when values do not fit their layout.
    """
    contract = record_contract()
    codec = contract.codec
    header = codec.build(
        "header",
        {
            "magic": MAGIC,
            "version": contract.constants["record_version"],
            "kind": kind,
            "header_size": contract.declarations.layouts["header"].size,
            "id": ident.values(),
            "time": time,
            "date": date,
            "reserved": 0,
        },
    )
    running = zlib.crc32(header)
    out = bytearray(header + running.to_bytes(CHECK_SIZE, "little"))
    count = 0
    for name, content in sections:
        running = _add_section(out, running, name, content)
        count += 1
    end_size = 4 + len(codec.build("end", {"length": 0, "sections": 0, "captured_all": 0})) + CHECK_SIZE
    end = {"length": len(out) + end_size, "sections": count, "captured_all": int(captured_all)}
    _add_section(out, running, "end", end)
    return bytes(out)


def _add_section(out: bytearray, running: int, name: str | int, content: Mapping[str, Any] | bytes) -> int:
    """Appends one section and its check; gives the new running sum."""
    contract = record_contract()
    kind = contract.kinds[name] if isinstance(name, str) else None
    tag = kind.number if kind else int(name)
    payload = (
        content if isinstance(content, bytes) else contract.codec.build(kind.layout if kind else "", content)
    )
    head = contract.codec.build("section_head", {"tag": tag, "flags": 0, "length": len(payload)})
    running = zlib.crc32(head + payload, running)
    out += head + payload + running.to_bytes(CHECK_SIZE, "little")
    return running
