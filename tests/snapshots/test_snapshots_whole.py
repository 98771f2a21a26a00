"""Facts of processors, ROM tables, DOS and PCI against published figures; hostile tables; who owns an address."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readoff.box.extras import dmi_table
from readoff.contract.record import build_record, parse_record
from readoff.snapshots import Difference, Fact, facts_of
from readoff.snapshots.dos_facts import device_name
from readoff.snapshots.firmware_facts import bcd_version, structures
from readoff.snapshots.processor_facts import caches, descriptors, family_model_stepping
from support import store_samples as samples


def facts(**sections: Any) -> Mapping[str, Fact]:
    record = build_record(
        "snapshot", samples.ident(), [("snapshot_start", {"label": "x"}), *sections.items()]
    )
    parsed = parse_record(record)
    assert not [section.problem for section in parsed.sections if section.problem]
    return facts_of(parsed)


def leaf(
    number: int, subleaf: int = 0, eax: int = 0, ebx: int = 0, ecx: int = 0, edx: int = 0
) -> dict[str, int]:
    return {"leaf": number, "subleaf": subleaf, "eax": eax, "ebx": ebx, "ecx": ecx, "edx": edx}


# ---- processors


@pytest.mark.parametrize(
    ("signature", "expected"),
    [
        (0x524, (5, 2, 4)),  # a boot log at 90 MHz
        (0x52C, (5, 2, 12)),  # at 133 MHz
        (0x543, (5, 4, 3)),
        (0x480, (4, 8, 0)),
        (0x000306A9, (6, 0x3A, 9)),  # extended model (from memory)
        (0x00100F42, (0x10, 4, 2)),  # extended family (from memory)
    ],
)
def test_signature(signature: int, expected: tuple[int, int, int]) -> None:
    assert family_model_stepping(signature) == expected


def test_names_of_models_as_in_linux_tables() -> None:
    cpu = {
        "class": "cpuid", "fpu": "present", "v86": "absent", "msw": 0, "features": 1, "vendor": "GenuineIntel"
    }  # fmt: skip
    assert facts(cpu=cpu | {"signature": 0x0435})["cpu.name"].value == "486 DX2"
    assert facts(cpu=cpu | {"signature": 0x0524})["cpu.name"].value == "Pentium 75-200"
    assert "cpu.name" not in facts(cpu=cpu | {"signature": 0x0435, "vendor": "SomeoneElse!"})
    assert "cpu.family" not in facts(cpu=cpu | {"signature": 0})


def test_leaf_2_of_the_published_fixture() -> None:
    """EAX 03020101 EDX 06040A42: 8 KB and 8 KB, L2 256 KB (Linux's table of descriptors)."""
    second = leaf(2, eax=0x03020101, edx=0x06040A42)
    assert caches({(2, 0): second}) == {"l2": 256, "l1_data": 8, "l1_code": 8}
    assert descriptors(leaf(2, eax=0x01, ebx=0x80000045)) == []  # bit 31: nothing in that register


def test_leaf_4_and_the_extended_leaves() -> None:
    """Leaf 4 (from memory): ways × partitions × line × sets: 8 × 1 × 64 × 64 = 32 KB, 8 × 1 × 64 × 512 = 256 KB."""
    fourth = {
        (4, 0): leaf(4, 0, eax=0x121, ebx=0x01C0003F, ecx=63),
        (4, 1): leaf(4, 1, eax=0x122, ebx=0x01C0003F, ecx=63),
        (4, 2): leaf(4, 2, eax=0x143, ebx=0x01C0003F, ecx=511),
        (4, 3): leaf(4, 3),
    }
    assert caches(fourth) == {"l1_data": 32, "l1_code": 32, "l2": 256}
    extended = {
        (0x80000005, 0): leaf(0x80000005, ecx=0x20020220, edx=0x40020140),
        (0x80000006, 0): leaf(0x80000006, ecx=0x01006140),
    }
    assert caches(extended) == {"l1_data": 32, "l1_code": 64, "l2": 256}
    assert caches({}) == {}


def test_brand_and_the_number_of_the_processor() -> None:
    text = b"A processor of the tests, at 1 MHz".ljust(48, b"\0")
    words = [int.from_bytes(text[i : i + 4], "little") for i in range(0, 48, 4)]
    leaves = [leaf(0x80000002 + i, 0, *words[4 * i : 4 * i + 4]) for i in range(3)]
    found = facts(cpuid={"leaves": [leaf(1, ebx=0x07AABBCC), *leaves]})
    assert found["cpuid.brand"].value == "A processor of the tests, at 1 MHz"
    assert "EBX 00AABBCC" in found["cpuid.00000001"].value  # which processor it ran on says nothing


@pytest.mark.parametrize(
    ("kind", "signature", "blocks", "counts", "mhz"),
    [
        # clocks of a block by the makers' tables (from memory) at a known clock, as counts of 315/264 MHz
        ("i8086", 0, 4, 4997 * 4 * 1193182 / 4772727, "4.773"),
        ("i80286", 0, 16, 970 * 16 * 1193182 / 12000000, "12.00"),
        ("i80386", 0, 32, 1033 * 32 * 1193182 / 33000000, "33.00"),
        ("cpuid", 0x0480, 64, 907 * 64 * 1193182 / 100000000, "100.00"),
        ("i80186", 0, 4, 1000, None),  # an 80186 or a V20: not told
    ],
)
def test_loop_to_clock(kind: str, signature: int, blocks: int, counts: float, mhz: str | None) -> None:
    cpu = {
        "class": kind, "fpu": "absent", "v86": "absent", "msw": 0, "signature": signature, "features": 0, "vendor": ""
    }  # fmt: skip
    speed = {"method": "loop", "clocks": blocks, "counts": round(counts), "resolution": 2}
    found = facts(cpu=cpu, speed=speed)
    if mhz is None:
        assert "speed.mhz" not in found
        return
    within = Decimal(found["speed.mhz_within"].value)
    assert abs(Decimal(found["speed.mhz"].value) - Decimal(mhz)) <= within
    assert found["speed.mhz"].volatile and found["speed.mhz"].unit == "MHz"
    assert within == max(
        Decimal("0.001"), (Decimal(found["speed.mhz"].value) * 2 / round(counts)).quantize(Decimal("0.001"))
    )


# ---- ROM tables


def test_dmi_of_a_board() -> None:
    """Offsets of the published specification (from memory): processor speed at 16h, memory size at 0Ch."""
    processor = bytes([1, 3, 6, 2]) + bytes(8) + bytes([3]) + bytes(1) + (133).to_bytes(2, "little")
    processor += (133).to_bytes(2, "little") + (120).to_bytes(2, "little")
    memory = bytes(8) + (16).to_bytes(2, "little") + bytes(2) + bytes([1, 2])
    table = dmi_table(
        [
            (2, bytes([1, 2, 3]), ("Box works", "Board 5", "B")),
            (4, processor, ("Socket", "Maker", "One of the tests")),
            (17, memory, ("DIMM 0", "Bank 0")),
            (17, memory, ("DIMM 1", "Bank 1")),
        ]
    )
    dmi = {"version": 0x23, "address": 0xF0800, "length": len(table), "structures": 4, "table": table}
    found = facts(dmi=dmi)
    assert found["dmi.board.product"].value == "Board 5"
    assert found["dmi.memory.size"] == Fact("dmi.memory.size", "16", "MB")
    assert found["dmi.memory.1.place"].value == "DIMM 1"
    assert found["dmi.processor.socket"].value == "Socket"
    cut = facts(dmi=dmi | {"table": table[:40]})
    assert cut["dmi.table"].value == f"40 of {len(table)} octets could be had"


@given(table=st.binary(max_size=300))
def test_any_table_is_taken_apart_without_a_fault(table: bytes) -> None:
    total = sum(len(body) for _kind, body, _texts in structures(table))
    assert total <= len(table)
    facts(dmi={"version": 0, "address": 0, "length": len(table), "structures": 1, "table": table})


@given(oem=st.binary(min_size=4, max_size=4))
def test_any_identifier_of_plug_and_play(oem: bytes) -> None:
    found = facts(pnp={"offset": 0, "version": 0x10, "control": 0, "oem": oem})
    assert ("pnp.oem" in found) == any(oem)


def test_the_identifier_of_a_pci_bus() -> None:
    """PNP0A03 is 41 D0 0A 03: five bits a letter, A = 1 (from memory of the EISA identifiers)."""
    assert (
        facts(pnp={"offset": 0, "version": 0x10, "control": 0, "oem": bytes.fromhex("41D00A03")})[
            "pnp.oem"
        ].value
        == "PNP0A03"
    )


@pytest.mark.parametrize(("word", "text"), [(0x0102, "1.2"), (0x0310, "3.10"), (0x0200, "2.0")])
def test_versions(word: int, text: str) -> None:
    assert bcd_version(word) == text


# ---- DOS


def block(segment: int, owner: int, paragraphs: int, name: str = "") -> dict[str, Any]:
    return {"segment": segment, "owner": owner, "paragraphs": paragraphs, "name": name}


def driver(segment: int, name: bytes, attributes: int = 0x8000) -> dict[str, Any]:
    return {"segment": segment, "offset": 0, "attributes": attributes, "name": name.ljust(8)}


def test_owners_of_vectors() -> None:
    table = bytearray(1024)
    places = {
        0x08: (0xF000, 0xFEA5),
        0x10: (0xC000, 0x0100),
        0x21: (0x0116, 0x0123),  # DOS's own block
        0x33: (0x0300, 0x0010),
        0x15: (0x02F0, 0x0200),  # the same program by another segment
        0x2F: (0x0250, 0x0020),  # a driver's segment within a block of DOS's
        0x67: (0xD100, 0x0000),
        0x20: (0xFFFF, 0x0100),
        0x70: (0x0070, 0x0000),
        0x71: (0x2100, 0x0000),
    }
    for number, (segment, offset) in places.items():
        table[4 * number : 4 * number + 4] = offset.to_bytes(2, "little") + segment.to_bytes(2, "little")
    blocks = [block(0x0115, 8, 0x180, "SD"), block(0x02FF, 0x300, 0x100, "MOUSE"), block(0x0400, 0, 0x9000)]
    drivers = [
        driver(0x0070, b"CON"),
        driver(0x0070, b"AUX"),
        driver(0x0250, b"SETVERXX"),
        driver(0x0116, b"\1", 0),
    ]
    rom = {"blocks": 64, "sum": 0, "head": b""}
    found = facts(
        residents={"blocks": blocks},
        devices={"drivers": drivers},
        display_rom=rom,
        vectors={"table": bytes(table)},
    )
    owners = {
        name[8:]: fact.value
        for name, fact in found.items()
        if name.startswith("vectors.") and not fact.volatile
    }
    assert owners == {
        "system_BIOS": "08",
        "display_BIOS": "10",
        "DOS": "21 70",
        "MOUSE": "15 33",
        "driver_SETVERXX": "2F",
        "memory_at_D000h": "67",
        "high_memory": "20",
        "free_memory": "71",
    }


def test_devices_of_one_name_and_block_devices() -> None:
    found = facts(devices={"drivers": [driver(1, b"CON"), driver(2, b"CON"), driver(3, b"\x03", 0x0842)]})
    assert list(found) == ["devices.CON", "devices.CON.2", "devices.block"]
    assert found["devices.block"].value == "block, 3 units, attributes 0842h"
    assert device_name(b"\0" * 8) == "00" * 8


def test_what_an_old_dos_does_not_tell_is_no_fact() -> None:
    untold = {
        "files": 0xFFFF, "fcbs": 0xFFFF, "buffers": 0xFFFF, "lookahead": 0xFFFF, "last_drive": 0xFF,
        "block_devices": 0xFF, "largest_sector": 0xFFFF, "in_high_memory": "unknown",
    }  # fmt: skip
    assert list(facts(dos_setup=untold)) == ["dos_setup.in_high_memory"]


def test_sizes_have_units() -> None:
    drive = {
        "letter": ord("C"), "kind": "fixed", "sector_octets": 512, "cluster_sectors": 4, "clusters": 20000,
        "free_clusters": 500,
    }  # fmt: skip
    found = facts(drives={"drives": [drive]})
    assert found["drives.C.size"] == Fact("drives.C.size", "40000", "KB")
    assert found["drives.C.free"] == Fact("drives.C.free", "1000", "KB", True)


def test_a_register_that_differs_is_told_by_its_own_number() -> None:
    """A wait state set in a chip set's register 50h is what a tester looks for."""
    one = Fact("pci.00:00.0.registers", bytes(192).hex(" ").upper())
    other = Fact("pci.00:00.0.registers", (bytes(16) + b"\x12" + bytes(175)).hex(" ").upper())
    assert Difference(one.name, one, other).detail() == ("octet 50h 00 → 12",)
