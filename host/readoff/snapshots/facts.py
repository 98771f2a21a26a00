"""A snapshot's sections -> named facts, by the contract's own names and marks.

Each field of a section that declares ``facts = "prefix"`` becomes the fact ``prefix.field``; a field that the
contract marks volatile gives a volatile fact, which may differ without meaning anything. A new kind of section
needs nothing here. Some kinds read better otherwise and are told in a way of their own: the environment
(``environment.PATH``), the startup files (``startup.AUTOEXEC.BAT``), the resident programs (``residents.MOUSE``), and
those of processor_facts, firmware_facts and dos_facts.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from readoff.contract import cp437
from readoff.contract.declared import Contract, Kind, record_contract
from readoff.contract.language import Field
from readoff.contract.record import Record, Section
from readoff.snapshots import dos_facts, firmware_facts, processor_facts
from readoff.snapshots.fact import Fact, as_text

# The agent itself is in the chain of memory blocks while it looks; how much of it there is says nothing.
_AGENT = "READOFF"
# What the agent writes where nothing answered, and the facts of which that is true.
_SILENCE = 0xFFFF
_SILENT = frozenset({"memory.extended_88_kb", "memory.e801_low_kb", "memory.e801_high_64kb", "cpu.msw"})
_CMOS_SUMMED = slice(0x00, 0x1E)  # 10h to 2Dh, counted from 10h
_CMOS_SUM = slice(0x1E, 0x20)  # 2Eh high octet, 2Fh low octet


def facts_of(record: Record) -> dict[str, Fact]:
    """All facts of a record's sections by name, in the order of its sections. Never fails."""
    contract = record_contract()
    facts: dict[str, Fact] = {}
    for section in record.sections:
        kind = contract.kinds.get(section.name)
        if kind is None or not kind.facts:
            continue
        for fact in _known_of(contract, kind, section, record):
            facts.setdefault(fact.name, fact)
    return facts


_KEPT, _SMALL = 1024, 4096  # sections remembered, and the octets of the longest
_kept: dict[tuple[Any, ...], tuple[Fact, ...]] = {}


def _known_of(contract: Contract, kind: Kind, section: Section, record: Record) -> Iterable[Fact]:
    """The facts of a section. Snapshots of one machine say much the same: what was told lately is remembered.

    Where its facts depend on other sections of its record, those must be the same too.
    """
    if kind.name == "speed" or len(section.payload) > _SMALL:
        return _of_section(contract, kind, section, record)
    key: tuple[Any, ...] = (kind.name, section.payload)
    if kind.name in _AMONG_OTHERS:
        key += tuple(each.payload for name in dos_facts.OWNERS_FROM for each in record.all(name))
    known = _kept.get(key)
    if known is None:
        known = tuple(_of_section(contract, kind, section, record))
        if len(_kept) >= _KEPT:
            _kept.clear()
        _kept[key] = known
    return known


def _of_section(contract: Contract, kind: Kind, section: Section, record: Record) -> Iterator[Fact]:
    if section.values is None:
        said = "absent" if not section.payload else f"unreadable ({section.problem})"
        yield Fact(kind.facts, said)
        return
    special = _SPECIAL.get(kind.name)
    if special is not None:
        yield from special(kind.facts, section.values)
        return
    among = _AMONG_OTHERS.get(kind.name)
    if among is not None:
        yield from among(kind.facts, section.values, record)
        return
    for field in contract.declarations.layouts[kind.layout].fields:
        yield from _of_field(contract, f"{kind.facts}.{field.name}", field, section.values[field.name])
    derived = _DERIVED.get(kind.name)
    if derived is not None:
        yield from derived(kind.facts, section.values)
    if kind.name == "speed":
        yield from processor_facts.of_speed(kind.facts, section.values, record)


def _of_field(contract: Contract, name: str, field: Field, value: Any) -> Iterator[Fact]:
    if field.type == "layout":
        for inner in contract.declarations.layouts[field.layout].fields:
            yield from _of_field(contract, f"{name}.{inner.name}", inner, value[inner.name])
    elif isinstance(value, Mapping):
        for bit, state in value.items():
            yield Fact(f"{name}.{bit}", as_text(state), "", field.volatile)
    elif value == _SILENCE and name in _SILENT:
        yield Fact(name, "no answer", "", field.volatile)
    else:
        yield Fact(name, as_text(value), field.unit, field.volatile)


def _environment(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    # An empty string ends it; what follows is where the program that looked was started from.
    for string in itertools.takewhile(bool, str(values["strings"]).split("\0")):
        name, equals, value = string.partition("=")
        if name:
            yield Fact(f"{prefix}.{name}", value if equals else string)


def _startup_file(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    # DOS ends a text at 1Ah.
    text = cp437.decode(bytes(values["octets"]).split(b"\x1a")[0])
    yield Fact(f"{prefix}.{values['name']}", text.replace("\r\n", "\n").rstrip("\n"))


def _residents(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """Memory in use by name; blocks of one name (a program and its environment) are added up."""
    blocks: dict[str, list[int]] = {}
    for block in values["blocks"]:
        if block["owner"] != 0:
            name = str(block["name"]) or ("DOS" if block["owner"] == 8 else "(no name)")
            blocks.setdefault(name, []).append(int(block["paragraphs"]))
    for name, sizes in blocks.items():
        yield Fact(
            f"{prefix}.{name}", str(sum(sizes)), "paragraphs", volatile=name.upper().startswith(_AGENT)
        )


def _cmos_sum(prefix: str, values: Mapping[str, Any]) -> Iterator[Fact]:
    """The AT's check sum: the octets 10h to 2Dh added up, kept at 2Eh (high) and 2Fh (low)."""
    settings = bytes(values["settings"])
    total = cmos_sum(settings)
    kept = int.from_bytes(settings[_CMOS_SUM], "big")
    yield Fact(f"{prefix}.sum", f"{total:04X}h")
    yield Fact(f"{prefix}.sum_valid", as_text(total == kept))


def cmos_sum(settings: bytes) -> int:
    """Sum (mod 65536) of CMOS octets 10h to 2Dh; settings begins with octet 10h."""
    return sum(settings[_CMOS_SUMMED]) & 0xFFFF


_Teller = Callable[[str, Mapping[str, Any]], Iterator[Fact]]
_SPECIAL: dict[str, _Teller] = {
    "environment": _environment,
    "startup_file": _startup_file,
    "residents": _residents,
    "cpuid": processor_facts.of_cpuid,
    "e820": firmware_facts.of_e820,
    "devices": dos_facts.of_devices,
    "dos_setup": dos_facts.of_dos_setup,
    "drives": dos_facts.of_drives,
    "disks": dos_facts.of_disks,
    "display_rom": firmware_facts.of_display_rom,
    "vbe": firmware_facts.of_vbe,
    "dmi": firmware_facts.of_dmi,
    "pnp": firmware_facts.of_pnp,
    "pci_bios": firmware_facts.of_pci_bios,
    "pci_device": firmware_facts.of_pci_device,
}
# Those that need to know what stands in other sections.
_AMONG_OTHERS: dict[str, Callable[[str, Mapping[str, Any], Record], Iterator[Fact]]] = {
    "xms": dos_facts.of_xms,
    "ems": dos_facts.of_ems,
    "vectors": dos_facts.of_vectors,
}
_DERIVED: dict[str, _Teller] = {"cmos": _cmos_sum, "cpu": processor_facts.of_cpu}
